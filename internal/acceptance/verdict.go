package acceptance

import (
	"fmt"
	"math"
	"slices"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// Reading is what was read in one test. Which fields a test wants is told by the Record of its
// step; a field that the test does not use is refused.
type Reading struct {
	Test        string
	Role        winding.Role
	Pair        string          // lead pair of a resistance
	Ohms        []unit.Measured // one, or one for each pair, group or winding
	Megohm      unit.Measured
	Volts       []unit.Measured
	Amps        []unit.Measured
	Watts       unit.Measured
	Seconds     unit.Measured
	UF          unit.Measured
	Count       *int          // poles counted, or slots at which a growler draws the strip
	OK          *bool         // held, free, alternate, agree
	WindingC    unit.Measured // temperature of the winding at this reading, °C
	ColdOhm     unit.Measured // of a temperature rise
	ColdC       unit.Measured
	CoolantEndC unit.Measured
}

// Session is a set of readings with the day's temperatures.
type Session struct {
	AmbientC unit.Celsius
	WindingC *unit.Celsius // nil: taken as the ambient
	Readings []Reading
}

// Word is what a verdict says.
type Word string

// The words. Pass and fail are for a standard's limit whose scope fits.
const (
	Pass            Word = "pass"
	Fail            Word = "fail"
	InsideGuidance  Word = "inside_guidance"
	OutsideGuidance Word = "outside_guidance"
	NotJudged       Word = "not_judged"
)

// Verdict is what is said of one reading. Figure is the figure that was compared with the limit.
type Verdict struct {
	Reading Reading
	Figure  *float64
	Limit   *Limit
	Word    Word
	Reason  string
}

// Result is the verdict on a whole session.
type Result struct {
	Tests    []Verdict
	Overall  Word
	Reason   string
	Assumed  []winding.Assumption
	Cautions []winding.Caution
}

// Judge compares readings with the limits of the machine. A reading that lacks what its test needs,
// or that no instrument can show, is KindImpossible with a pointer into readings; an unknown test likewise.
func Judge(m Machine, t Tables, s Session) (Result, error) {
	f := figuresOf(m, t)
	r := Result{Assumed: f.assumed, Cautions: winding.StandardCautions(winding.TestCautions...)}
	var fields []errs.Field
	for i, reading := range s.Readings {
		j := judge{m: m, f: f, s: s, r: reading, at: fmt.Sprintf("/readings/%d", i)}
		do, known := judges[reading.Test]
		if !known {
			fields = append(fields, errs.Field{Pointer: j.at + "/test", Code: "UNKNOWN_TEST", Detail: "there is no such test; choose one of the list", Allowed: Tests(), Got: reading.Test})
			continue
		}
		j.unused()
		do(&j)
		fields = append(fields, j.fields...)
		j.v.Reading = reading
		r.Tests = append(r.Tests, j.v)
	}
	if len(fields) > 0 {
		return Result{}, errs.New(errs.KindImpossible, "These readings cannot be judged.", fields...)
	}
	r.Overall, r.Reason = overall(r.Tests)
	return r, nil
}

// overall is the gravest word of all tests.
func overall(tests []Verdict) (Word, string) {
	for _, w := range []Word{Fail, OutsideGuidance} {
		for _, v := range tests {
			if v.Word == w {
				return w, "because of " + v.Reading.Test + ": " + v.Reason
			}
		}
	}
	judged := 0
	word := Pass
	for _, v := range tests {
		if v.Word != NotJudged {
			judged++
		}
		if v.Word == InsideGuidance {
			word = InsideGuidance
		}
	}
	if judged == 0 {
		return NotJudged, "no reading could be judged"
	}
	return word, fmt.Sprintf("%d of %d readings judged, none outside its limit", judged, len(tests))
}

// judge is the work on one reading.
type judge struct {
	m      Machine
	f      figures
	s      Session
	r      Reading
	at     string
	v      Verdict
	fields []errs.Field
}

var judges map[string]func(*judge)

func init() {
	judges = map[string]func(*judge){
		TestRotorFree:      func(j *judge) { j.yesNo("the rotor is free all round", "the rotor rubs or is tight") },
		TestResistance:     (*judge).resistance,
		TestBalance:        func(j *judge) { j.spread("ohms", j.r.Ohms, 3, 3, balanceStep(Machine{Core: j.m.Core}, j.f)) },
		TestPoleResistance: func(j *judge) { j.spread("ohms", j.r.Ohms, 2, 120, poleResistanceStep(j.m, j.f)) },
		TestMainAuxiliary:  (*judge).mainAuxiliary,
		TestPoleDrop:       func(j *judge) { j.spread("volts", j.r.Volts, 2, 120, poleDropStep(j.m, j.f)) },
		TestPolarity:       (*judge).polarity,
		TestGrowler:        (*judge).growler,
		TestSurge:          (*judge).surge,
		TestEarth:          (*judge).earth,
		TestInsulation:     (*judge).insulation,
		TestWithstand:      (*judge).withstand,
		TestCapacitor:      (*judge).capacitor,
		TestNoLoad:         (*judge).noLoad,
		TestDirection: func(j *judge) {
			j.yesNo("the direction is as wanted", "the direction is wrong: "+directionStep(j.m, j.f).Method)
		},
		TestRise:        (*judge).rise,
		TestPerformance: func(j *judge) { j.yesNo("the run was sound", "the run was not sound") },
	}
}

// compare sets the verdict of a figure against a limit.
func (j *judge) compare(figure float64, limit Limit) {
	j.v.Figure, j.v.Limit = &figure, &limit
	good := (limit.Low == nil || figure >= *limit.Low) && (limit.High == nil || figure <= *limit.High)
	j.say(good, limit.Kind, fmt.Sprintf("%s: %s %s, %s", limit.Figure, short(figure), limit.Unit, band(limit)))
}

// say picks the word that the kind of limit allows.
func (j *judge) say(good bool, kind LimitKind, reason string) {
	words := [2]Word{OutsideGuidance, InsideGuidance}
	if kind == KindStandard {
		words = [2]Word{Fail, Pass}
	}
	j.v.Word, j.v.Reason = words[0], reason
	if good {
		j.v.Word = words[1]
	}
}

func (j *judge) notJudged(reason string) { j.v.Word, j.v.Reason = NotJudged, reason }

// yesNo takes an answer that has no published limit: common practice judges it.
func (j *judge) yesNo(yes, no string) {
	if !j.need(j.r.OK != nil, "ok", "this test needs ok: true or false") {
		return
	}
	j.say(*j.r.OK, KindGuidance, map[bool]string{true: yes, false: no}[*j.r.OK]+" (common practice, no source)")
	j.v.Limit = &Limit{Figure: yes, Unit: "1", Kind: KindGuidance, Source: sourcePractice}
}

// windingTemperature is the temperature of the winding at this reading.
func (j *judge) windingTemperature() unit.Celsius {
	if j.r.WindingC.Given {
		return unit.Celsius(j.r.WindingC.Value)
	}
	if j.s.WindingC != nil {
		return *j.s.WindingC
	}
	return j.s.AmbientC
}

// metal is the conductor of the reading's role, copper if that is not known.
func (j *judge) metal() wire.Conductor {
	if metal, ok := j.f.metal[j.r.Role]; ok {
		return metal
	}
	return wire.Copper
}

func (j *judge) resistance() {
	if !j.list("ohms", j.r.Ohms, 1, 1) || !j.need(j.r.Role != "" || j.r.Pair != "", "role", "say the role of the winding, or the pair of leads") {
		return
	}
	at := slices.IndexFunc(j.f.windings, func(w windingFigure) bool {
		return j.r.Pair != "" && w.pair == j.r.Pair || j.r.Pair == "" && w.role == j.r.Role
	})
	if at < 0 {
		j.notJudged("there is no resistance on record for this winding or pair, and none can be computed")
		return
	}
	t := j.windingTemperature()
	j.compare(j.r.Ohms[0].Value/wire.TemperatureFactor(j.metal(), t), j.f.windings[at].limit())
	j.v.Reason += fmt.Sprintf("; read %s ohm at %s °C", short(j.r.Ohms[0].Value), short(float64(t)))
}

// spread judges the greatest deviation from the mean of like readings.
func (j *judge) spread(name string, values []unit.Measured, low, high int, step Step) {
	if len(step.Limits) == 0 {
		j.notJudged("this test is for three-phase motors")
		return
	}
	if !j.list(name, values, low, high) {
		return
	}
	if !slices.ContainsFunc(values, func(v unit.Measured) bool { return v.Value > 0 }) {
		j.outOfRange(name, 0, "all of them are 0, so that nothing was measured; read them again", 0)
		return
	}
	j.compare(deviation(values), step.Limits[0])
}

// deviation is the greatest deviation from the mean, in per cent of the mean.
func deviation(values []unit.Measured) float64 {
	mean := 0.0
	for _, v := range values {
		mean += v.Value / float64(len(values))
	}
	worst := 0.0
	for _, v := range values {
		worst = math.Max(worst, math.Abs(v.Value-mean)/mean*100)
	}
	return worst
}

func (j *judge) mainAuxiliary() {
	if !j.positive("ohms", j.r.Ohms, 2, 2) {
		return
	}
	step := mainAuxiliaryStep(j.m, j.f)
	if len(step.Limits) == 0 {
		j.notJudged("the resistance of main and auxiliary is not on record and cannot be computed")
		return
	}
	j.compare(j.r.Ohms[1].Value/j.r.Ohms[0].Value, step.Limits[0])
}

func (j *judge) polarity() {
	if !j.need(j.r.Count != nil, "count", "say how many poles the compass showed") || !j.need(j.r.OK != nil, "ok", "say whether north and south alternate") {
		return
	}
	step := polarityStep(j.m, j.f)
	if len(step.Limits) == 0 {
		j.notJudged(step.NotJudged)
		return
	}
	j.compare(float64(*j.r.Count), step.Limits[0])
	if !*j.r.OK {
		j.say(false, KindDerived, "north and south do not alternate: a group is joined the wrong way round")
	}
}

func (j *judge) growler() {
	step := growlerStep(j.m, j.f)
	if len(step.Limits) == 0 {
		j.notJudged(step.NotJudged)
		return
	}
	if j.need(j.r.Count != nil, "count", "say at how many slots the strip was drawn") {
		j.compare(float64(*j.r.Count), step.Limits[0])
	}
}

func (j *judge) surge() {
	if j.need(j.r.OK != nil, "ok", "say whether the waves of like windings agree") {
		limit := surgeStep(j.m, j.f).Limits[0]
		j.v.Limit = &limit
		j.say(*j.r.OK, KindGuidance, map[bool]string{true: "the waves of like windings agree", false: "a wave differs: shorted turns or a wrong joint"}[*j.r.OK])
	}
}

func (j *judge) earth() {
	step := earthStep(j.m, j.f)
	if len(step.Limits) == 0 {
		j.notJudged(step.NotJudged)
		return
	}
	if j.list("ohms", j.r.Ohms, 1, 1) {
		j.compare(j.r.Ohms[0].Value, step.Limits[0])
	}
}

// short writes a figure with four significant digits.
func short(v float64) string { return fmt.Sprintf("%.4g", v) }

// band writes a limit's band in words.
func band(l Limit) string {
	switch {
	case l.Low != nil && l.High != nil && *l.Low == *l.High:
		return "wanted " + short(*l.Low)
	case l.Low != nil && l.High != nil:
		return "wanted " + short(*l.Low) + " to " + short(*l.High)
	case l.Low != nil:
		return "wanted at least " + short(*l.Low)
	case l.High != nil:
		return "wanted at most " + short(*l.High)
	}
	return "no band"
}
