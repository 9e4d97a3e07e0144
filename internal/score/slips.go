package score

import (
	"maps"
	"math"
	"slices"
)

// Checked is one record sheet after the check: the code of the slip in it ("" = clean), the code that
// the check named, and its ln odds that there is a slip.
type Checked struct {
	Slip, Named string
	Odds        float64
}

// Slips is how well slips in record sheets are found when 1 or 2 % of the clean sheets are called
// wrong too.
type Slips struct {
	Clean, Wrong int     // sheets
	Odds1, Odds2 float64 // a sheet is called wrong above these ln odds
	Kinds        []SlipKind
	Mean1, Mean2 float64 // per cent found, mean over the kinds that Counted tells
}

// SlipKind is what was found of one kind of slip: in per cent of its sheets, and how many of those
// found were called by their name.
type SlipKind struct {
	Slip           string
	N              int
	Found1, Found2 float64
	Named          float64 // per cent of those found at 1 % false alarms; NaN if none was
}

// extraSlip is the kind that the demanded mean leaves out: the 22 kinds of the demand were all in copper.
const extraSlip = "material_wrong"

// Counted tells whether the kind is one of those whose mean is demanded.
func (k *SlipKind) Counted() bool { return k.Slip != extraSlip }

// JudgeSlips measures the check on sheets whose truth is known. It gives nil without a clean sheet,
// from which the thresholds come, or without a wrong one.
func JudgeSlips(sheets []Checked) *Slips {
	var clean []float64
	byKind := map[string][]Checked{}
	for _, c := range sheets {
		if c.Slip == "" {
			clean = append(clean, c.Odds)
		} else {
			byKind[c.Slip] = append(byKind[c.Slip], c)
		}
	}
	if len(clean) == 0 || len(byKind) == 0 {
		return nil
	}
	s := &Slips{Clean: len(clean), Wrong: len(sheets) - len(clean), Odds1: Quantile(clean, 0.99), Odds2: Quantile(clean, 0.98)}
	counted := 0.0
	for _, slip := range slices.Sorted(maps.Keys(byKind)) {
		k := s.kind(slip, byKind[slip])
		s.Kinds = append(s.Kinds, k)
		if k.Counted() {
			counted++
			s.Mean1 += k.Found1
			s.Mean2 += k.Found2
		}
	}
	s.Mean1, s.Mean2 = s.Mean1/counted, s.Mean2/counted
	return s
}

func (s *Slips) kind(slip string, list []Checked) SlipKind {
	found1, found2, named := 0, 0, 0
	for _, c := range list {
		if c.Odds > s.Odds2 {
			found2++
		}
		if c.Odds > s.Odds1 {
			found1++
			if c.Named == slip {
				named++
			}
		}
	}
	k := SlipKind{Slip: slip, N: len(list), Named: math.NaN()}
	k.Found1, _ = Percent(found1, len(list))
	k.Found2, _ = Percent(found2, len(list))
	if found1 > 0 {
		k.Named, _ = Percent(named, found1)
	}
	return k
}
