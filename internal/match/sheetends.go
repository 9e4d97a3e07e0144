package match

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// The features of a set's length check beside the common ones: how much of the formula's mean turn its
// parts make. What a part is wrong by, over or under by a share, is wrong in the whole by so much of it.
const (
	endArc   = iota // of the arcs of both ends
	endFixed        // of the straight runs
	endTooth        // of the tooth, for a coil close round one
	endFull         // 1 where a coil sits on every tooth: two sides share a slot
	endBack         // 1 on the back ring
	endGuess        // 1 where the depth of the slots had to be guessed, and with it the arcs
	nEnds
)

// nLengthX is the number of features of the length check.
const nLengthX = nSheetX + nEnds

// meanTurn is the mean length of turn in mm by winding.SheetMeanTurn, before the catalogue corrects it.
func (f *sheetFacts) meanTurn(s *setFacts) float64 {
	return 2*f.stack + s.arcs() + float64(winding.SheetMeanTurn.Straight)
}

// arcs are those of both ends in mm, by the same form.
func (s *setFacts) arcs() float64 { return 2 * winding.SheetMeanTurn.Ke * s.arcPitch * s.span }

// ends are the shares that the features name.
func (f *sheetFacts) ends(s *setFacts) (out [nEnds]float64) {
	turn := f.meanTurn(s)
	out[endArc], out[endFixed] = zeroNaN(s.arcs()/turn), zeroNaN(float64(winding.SheetMeanTurn.Straight)/turn)
	if s.back {
		out[endBack] = 1
	}
	if s.guessed {
		out[endGuess] = 1
	}
	if s.kind == winding.Tooth {
		out[endTooth] = zeroNaN(2 * s.tooth / turn)
		if s.groups == f.slots {
			out[endFull] = 1
		}
	}
	return out
}

// longer is the mean turn that the catalogue's records have over that of the sheet's formula, for a set laid
// on a core, and the fit that tells so; NaN where the core does not tell.
func (m *sheetModel) longer(f *sheetFacts, set *winding.CoilSet, coils []winding.Coil) (float64, *linear) {
	s := setFacts{role: set.Role, back: set.Ring == winding.RingBack, groups: 1}
	if set.Pattern != nil {
		s.kind, s.groups = set.Pattern.Kind, float64(set.Pattern.Groups)
	}
	f.room(&s)
	s.spans(coils, stator.RingSlots(*f.core, s.back))
	which := 0
	if set.Role == winding.Auxiliary {
		which = 1
	}
	var shared [nSheetX]float64
	f.x(which, &shared)
	ends := f.ends(&s)
	x := features(chkLength, &shared, &ends)
	fit := &m.chk[shapeOf(s.kind, f.phases)][which][chkLength]
	return math.Exp(fit.at(x[:])), fit
}

// featuresOf is the number of features that a check is fitted on.
func featuresOf(check int) int {
	if check == chkLength {
		return nLengthX
	}
	return nSheetX
}

// features of a check of a set, from those that its sheet shares.
func (s *sheetSetRow) features(check int, shared *[nSheetX]float64) (x [nLengthX]float64) {
	return features(check, shared, &s.ends)
}

func features(check int, shared *[nSheetX]float64, ends *[nEnds]float64) (x [nLengthX]float64) {
	own := *shared
	maskFeatures(check, &own)
	copy(x[:], own[:])
	if check == chkLength {
		copy(x[nSheetX:], ends[:])
	}
	return x
}

// lone tells that the length check rests on a mass or a resistance alone: it then has their scatter
// whole, which the mean of both halves.
func (s *setFacts) lone() bool { return s.mass.n == 0 || s.ohm.n == 0 }

// own is the spread that a sheet itself adds to a check: by its weighing, and by a depth that was guessed.
func (m *sheetModel) own(shape, set, check int, extra, guessed float64, lone bool) float64 {
	if check != chkLength {
		return extra
	}
	v := sq(extra) + guessed*sq(m.guess[shape][set])
	if lone {
		v += sq(m.chk[shape][set][chkArea].sd)
	}
	return math.Sqrt(v)
}

// learnGuess takes how much more the length check scatters where the depth was guessed.
func (m *sheetModel) learnGuess(sample []*sheetRow) {
	var off [nShape][2][]float64
	for _, row := range sample {
		for set := range row.n {
			s := &row.sets[set]
			x := s.features(chkLength, &row.x)
			if v := s.v[chkLength] - m.chk[s.shape][set][chkLength].at(x[:]); s.ends[endGuess] == 1 && !math.IsNaN(v) {
				off[s.shape][set] = append(off[s.shape][set], math.Abs(v))
			}
		}
	}
	for shape := range off {
		for set, v := range off[shape] {
			n, sd := float64(len(v)), 0.0
			if len(v) > 0 {
				sd = madToSD * median(v)
			}
			more := max(0, sq(sd)-sq(m.chk[shape][set][chkLength].sd))
			m.guess[shape][set] = math.Sqrt((n*more + sheetPriorN*sq(guessSD)) / (n + sheetPriorN))
		}
	}
}

// guessSD is what a guessed depth adds before any record (common practice, no source).
const guessSD = 0.03
