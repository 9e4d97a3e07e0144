package score

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// Standard uncertainties in mm of a technician's calliper, where he states none, and of a catalogue
// sheet (common practice, no source).
var readingSD = [nDims]float64{figGap: 0.10, figBack: 0.15, figStack: 0.5, figTooth: 0.10, figDepth: 0.20, figOpening: 0.12, figIron: 0.25}

const sheetSD = 0.1

// The constants of the Gaussian matcher (common practice, no source).
const (
	shareNone  = 0.3  // of the stators on the bench that no record fits
	noneZ      = 3.0  // a stator that is not catalogued reads as likely as a record this many deviations off
	plateSame  = 0.9  // a figure of the plate is that of the record, to 2 %
	plateOther = 0.1  // it is another one
	plateNone  = 0.3  // it is that of any record, by chance
	sameLog    = 0.02 // to 2 %
	lackZ      = 2.0  // a dimension that the record lacks counts as this many deviations off
	listed     = 50   // records in an answer
)

// Gaussian answers by Bayes' rule with normal reading errors, records weighed by how often they were
// seen, and a constant for "none": a prior share, and for each figure a constant likelihood. It has no
// idea of wrong readings, of other windings on a known core, or of what stators there may be.
func (s *Simple) Gaussian(q *Question) Answer {
	asked := figuresOf(&q.Core, q.Nameplate)
	sd := deviations(&q.Core)
	list := s.among(q)
	logs := make([]float64, len(list))
	seen := 0.0
	for _, e := range list {
		seen += e.seen
	}
	for i, e := range list {
		logs[i] = math.Log(e.seen/seen) + ratio(&asked, &e.figures, &sd)
	}
	top := math.Inf(-1)
	for _, l := range logs {
		top = math.Max(top, l)
	}
	weights, sum := make([]float64, len(list)), 0.0
	for i, l := range logs {
		weights[i] = math.Exp(l - top)
		sum += weights[i]
	}
	none := 1.0
	if sum > 0 {
		// In units of the none likelihood, which is 1 by the way that ratio counts.
		odds := math.Log((1-shareNone)/shareNone) + top + math.Log(sum)
		none = 1 / (1 + math.Exp(odds))
	}
	return compose(list, weights, listed, none)
}

// ratio is the ln likelihood ratio of a record against none.
func ratio(asked, on *figures, sd *[nDims]float64) float64 {
	l := 0.0
	for i, v := range asked {
		switch {
		case v == 0:
		case i < nDims && on[i] == 0:
			l += (noneZ*noneZ - lackZ*lackZ) / 2
		case i < nDims:
			z := (v - on[i]) / sd[i]
			l += (noneZ*noneZ - z*z) / 2
		case on[i] > 0 && math.Abs(math.Log(v/on[i])) <= sameLog:
			l += math.Log(plateSame / plateNone)
		default:
			l += math.Log(plateOther / plateNone)
		}
	}
	return l
}

// deviations are the standard deviations of readings against sheets.
func deviations(c *stator.Core) [nDims]float64 {
	out := readingSD
	for i, m := range []*unit.Measured{&c.GapDiameter, &c.BackDiameter, &c.StackLength, &c.ToothWidth, &c.SlotDepth, &c.SlotOpening, &c.BackIron} {
		if m.Uncertainty > 0 {
			out[i] = m.Uncertainty
		}
		out[i] = math.Hypot(out[i], sheetSD)
	}
	return out
}
