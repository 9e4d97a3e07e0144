package match

import (
	"math"
	"slices"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/winding"
)

// beyondMatching is what a finding says of a figure outside 5 W to 3 kW, 12 to 690 V and 45 to 65 Hz.
const beyondMatching = "matching answers for; no stator is named and no winding proposed: correct the figure if it was mistyped"

// A machine that matching does not answer for comes to the bench now and then, and its plate then
// says some figure outside: one of those in use, or an odd one (common practice, no source).
const (
	outsideShare = 0.005 // of all machines that somebody asks about
	outsideUsual = 0.15  // chance of the very figure, given that
	outsideOdd   = 0.003 // likewise
)

// usualOutside are figures beyond the range that real machines have: frequencies, voltages, powers.
var usualOutside = []float64{16.7, 25, 100, 150, 200, 300, 400, 6, 9, 700, 750, 1000, 3000, 3300, 6000, 6600, 3700, 4000, 5500, 7500, 11000, 15000, 18500, 22000, 30000, 37000, 45000, 55000, 75000}

// beyondService tells whether figures outside the range stand as read, rather than being slips: the
// evidence of an unlisted machine of another kind against that of all hypotheses with a slip. The supply
// on site is told and not read off a worn plate: it stands, so that nothing is proposed for 400 Hz.
func (b *beliefs) beyondService(p *prepared, outside []errs.Finding) bool {
	if slices.ContainsFunc(outside, func(f errs.Finding) bool { return strings.HasPrefix(f.Fields[0], "supply.") }) {
		return true
	}
	other := 0.0
	for i := range b.contexts {
		if b.contexts[i].hyp == hypNew {
			other += outsideShare * b.contexts[i].weight
		}
	}
	for i := range outside {
		other *= pick(slices.Contains(usualOutside, *outside[i].Found), outsideUsual, outsideOdd)
	}
	return other*p.otherMachine() >= b.total
}

// otherMachine is the density of what else the plate says, and of the remains, for a machine of which
// nothing is known: any figure is as good as another, except that its speed goes with its poles.
func (p *prepared) otherMachine() float64 {
	pl := &p.plate
	l := 1.0
	for _, f := range [...]*figure{&pl.current, &pl.speed} {
		if f.given {
			l *= wildDensity
		}
	}
	if v := math.Exp(pl.power.ln); pl.power.given && v >= winding.ServicePowerLow && v <= winding.ServicePowerHigh {
		l *= pl.powerShare
	}
	if pl.cap.given {
		l *= pl.capShare
	}
	if pl.speed.given && pl.freq.given && pl.poles > 0 {
		if speed := math.Exp(pl.speed.ln - pl.freq.ln); speed*float64(pl.poles) > 120 {
			l *= plateWild // faster than its field
		}
	}
	for i := range p.remains.scraps {
		l *= wildDensity / p.remains.scraps[i].x
	}
	return l * math.Pow(wildDensity, float64(len(p.remains.masses)+len(p.remains.coils)))
}

// misread turns findings of figures outside the range into findings of doubtful figures.
func misread(findings []errs.Finding) []errs.Finding {
	for i := range findings {
		f := &findings[i]
		f.Code = "figure_doubtful"
		said, _, _ := strings.Cut(f.Message, ";")
		f.Message = said + "; the other readings speak for a slip, so it is taken as misread"
	}
	return findings
}

// anotherKind tells whether slots, kind or speed of the machine already say that matching does not answer for it.
func anotherKind(findings []errs.Finding) bool {
	return slices.ContainsFunc(findings, func(f errs.Finding) bool { return f.Code == "outside_service_range" })
}

// abstain is the answer where matching has no business.
func abstain(findings []errs.Finding) Answer {
	return Answer{None: Unlisted{1, 1, 1}, Findings: findings, Status: "estimated", Cautions: winding.StandardCautions(winding.ProposalCautions...)}
}
