package acceptance

import (
	"fmt"
	"math"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// InsulationAt40 brings an insulation resistance in megohm from t to 40 °C by halving for each 10 K
// (IEEE 43 as quoted; charts of other texts differ by more than 10 %).
func InsulationAt40(megohm float64, t unit.Celsius) float64 {
	return megohm * math.Exp2((float64(t)-40)/10)
}

func (j *judge) insulation() {
	step := insulationStep(j.m, j.f)
	if len(step.Limits) == 0 {
		j.notJudged(step.NotJudged)
		return
	}
	if !j.need(j.r.Megohm.Given && j.r.Megohm.Value >= 0, "megohm", "say the megohms after 60 s") {
		return
	}
	t := j.windingTemperature()
	j.compare(InsulationAt40(j.r.Megohm.Value, t), step.Limits[0])
	j.v.Reason += fmt.Sprintf("; read %s megohm at %s °C, halved for each 10 K", short(j.r.Megohm.Value), short(float64(t)))
}

func (j *judge) withstand() {
	w := withstandOf(j.m, j.f)
	if w.reason != "" {
		j.withoutRule(w.reason)
		return
	}
	held := j.need(j.r.OK != nil, "ok", "say whether the winding held without breakdown")
	volts := j.positive("volts", j.r.Volts, 1, 1)
	seconds := j.need(j.r.Seconds.Given, "seconds", "say for how many seconds the voltage was held")
	if !held || !volts || !seconds {
		return
	}
	v := j.r.Volts[0].Value
	j.compare(v, w.limit)
	want := *w.limit.Low
	switch {
	case !*j.r.OK:
		j.say(false, w.limit.Kind, fmt.Sprintf("breakdown at %s V", short(v)))
	case v < want || j.r.Seconds.Value < withstandSeconds:
		j.notJudged(fmt.Sprintf("%s V for %s s is less than the %s V for %d s of the rule: the winding held, but the rule was not applied", short(v), short(j.r.Seconds.Value), short(want), withstandSeconds))
	default:
		j.say(true, w.limit.Kind, fmt.Sprintf("held %s V for %s s; the rule asks for %s V for %d s", short(v), short(j.r.Seconds.Value), short(want), withstandSeconds))
	}
}

// withoutRule is for machines that no rule here fits: nothing that held is judged, but what broke
// down is unfit by any rule.
func (j *judge) withoutRule(reason string) {
	if j.r.OK == nil || *j.r.OK {
		j.notJudged(reason)
		return
	}
	j.v.Limit = &Limit{Figure: "no breakdown", Unit: "1", Kind: KindGuidance, Source: sourcePractice}
	j.say(false, KindGuidance, "breakdown: a winding that breaks down is not fit for use, whatever the rule. "+reason)
}

// withstandSeconds is how long the voltage is held (EASA AR100-2020 draft pages: 60 s).
const withstandSeconds = 60

func (j *judge) capacitor() {
	step := capacitorStep(j.m, j.f)
	if len(step.Limits) == 0 {
		j.notJudged("the nameplate tells no capacitor")
		return
	}
	if j.need(j.r.UF.Given && j.r.UF.Value >= 0, "uf", "say the microfarads") {
		j.compare(j.r.UF.Value, step.Limits[0])
	}
}

func (j *judge) noLoad() {
	lines := 1
	if j.m.Core.Phases == 3 {
		lines = 3
	}
	if !j.list("amps", j.r.Amps, lines, lines) {
		return
	}
	step := noLoadStep(j.m, j.f)
	if len(step.Limits) == 0 {
		j.notJudged(step.NotJudged)
		return
	}
	mean := 0.0
	for _, a := range j.r.Amps {
		mean += a.Value / float64(lines)
	}
	j.compare(mean, step.Limits[0])
	if lines == 3 && j.v.Word == InsideGuidance {
		if d := deviation(j.r.Amps); d > noLoadBalancePct {
			j.compare(d, step.Limits[1])
		}
	}
}

// rise judges a temperature rise by resistance: (R2−R1)/R1·(K+t1) − (t2−t1), IEC 60034-1 form.
func (j *judge) rise() {
	hot := j.positive("ohms", j.r.Ohms, 1, 1)
	cold := j.need(j.r.ColdOhm.Given && j.r.ColdOhm.Value > 0, "cold_ohm", "say the cold resistance, above 0")
	t1 := j.need(j.r.ColdC.Given, "cold_c", "say the winding's temperature at the cold reading")
	t2 := j.need(j.r.CoolantEndC.Given, "coolant_end_c", "say the temperature of the air at the end of the run")
	if !hot || !cold || !t1 || !t2 {
		return
	}
	k := wire.ZeroResistance(j.metal())
	rise := float64(winding.RiseByResistance(unit.Ohm(j.r.ColdOhm.Value), unit.Ohm(j.r.Ohms[0].Value), k, unit.Celsius(j.r.ColdC.Value), unit.Celsius(j.r.CoolantEndC.Value)))
	limit, reason := riseLimit(j.m, j.f)
	if reason != "" {
		j.v.Figure = &rise
		j.notJudged(fmt.Sprintf("rise %s K; %s", short(rise), reason))
		return
	}
	j.compare(rise, limit)
}
