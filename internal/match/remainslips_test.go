package match

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// TestRemainsSlips: what else a figure may have been, each with its share; all shares sum to one.
func TestRemainsSlips(t *testing.T) {
	t.Parallel()
	for typed, means := range map[float64][]float64{
		233: {332, 323, 234, 466, 116.5, 2330, 23.3},
		45:  {54, 46, 90, 450},
		7:   {8, 70, 14},
	} {
		list := remainsSlips(unit.Of(typed), "remains.coils[0].turns")
		sum := 0.0
		for i, o := range list {
			sum += o.share
			require.Equal(t, typed, o.typed)
			require.InDelta(t, math.Log(o.value), o.ln, 1e-3)
			require.True(t, i == 0 || list[i-1].ln <= o.ln)
		}
		if typed > 9 {
			require.InDelta(t, 1, sum, 1e-9)
		}
		for _, v := range means {
			require.True(t, slices.ContainsFunc(list, func(o otherReading) bool { return math.Abs(o.value-v) < 1e-9 }), "%g for %g", typed, v)
		}
	}
	require.Empty(t, remainsSlips(unit.Measured{}, ""))
	require.Empty(t, farSwaps("45"))
	require.Equal(t, []float64{332}, farSwaps("233"))
	require.Equal(t, []float64{3.21}, farSwaps("1.23"))
}

// TestDensitiesWithSlips: with its slips, the density of a count or a weighing still sums to one over all that may be
// written down.
func TestDensitiesWithSlips(t *testing.T) {
	t.Parallel()
	sum := 0.0
	r := massRecord(400, 0)
	const step = 0.002
	for ln := math.Log(400.0 / 60); ln < math.Log(400*60.0); ln += step {
		q := weighed(math.Exp(ln), 0, 0)[0]
		q.slips(&Remains{CopperMain: unit.Of(math.Round(math.Exp(ln)))})
		sum += step * massLike(&q, r)
	}
	require.InDelta(t, 1, sum, 0.04)
}

// TestManyOtherReadings: two weighings of ten digits each have more other readings than a byte counts; the one that was
// meant is still the one that is told, here the greatest: both piles as they are, the main one by its point.
func TestManyOtherReadings(t *testing.T) {
	t.Parallel()
	r := Remains{CopperMain: unit.Of(1234.567891), CopperAuxiliary: unit.Of(6789.123457)}
	q := weighed(r.CopperMain.Value, r.CopperAuxiliary.Value, 0)[0]
	q.slips(&r)
	require.Greater(t, len(q.other), math.MaxUint8)
	_, s := massOfRecord(&q, massRecord(10*r.CopperMain.Value, r.CopperAuxiliary.Value), 1)
	require.Positive(t, s.best)
	told := q.other[s.best-1]
	require.Equal(t, massField+"main", told.field)
	require.InDelta(t, 12345.67891, told.value, 1e-3)
}

// slipped asks records of the sample world with one figure of the remains as it is and with a slip; it counts how
// often the record stays likely, and how often the slip is told with the right figure.
func slipped(t *testing.T, figure func(*winding.CoilSet) float64, slip func(float64) float64, put func(*Remains, winding.Role, float64) string) (likely, told int) {
	t.Helper()
	w, asked := sampleWorld(), 0
	for i := 0; i < len(w.records) && asked < 40; i++ {
		q, r := exactQuery(w, i)
		q.Nameplate = nil // which alone would settle it
		set := r.Scheme.domain().CoilSets[0]
		right := figure(&set)
		wrong := slip(right)
		if !(right > 0) || !(wrong > 0) || math.Abs(math.Log(wrong/right)) < 0.2 {
			continue
		}
		q.Remains = &Remains{}
		put(q.Remains, set.Role, right)
		sound := mustMatch(t, w.index, q)
		if sound.Candidates[0].WindingID != r.ID || sound.Candidates[0].Probability < 0.8 {
			continue
		}
		require.False(t, slices.ContainsFunc(sound.Readings, func(r ReadAs) bool { return r.Typed == right && r.ReadAs == wrong }))
		asked++
		q.Remains = &Remains{}
		field := put(q.Remains, set.Role, wrong)
		a := mustMatch(t, w.index, q)
		at := slices.IndexFunc(a.Candidates, func(c Candidate) bool { return c.WindingID == r.ID })
		if at == 0 && a.Candidates[0].Probability > 0.4 {
			likely++
		}
		if k := slices.IndexFunc(a.Readings, func(r ReadAs) bool { return r.Field == field }); k >= 0 {
			require.Equal(t, wrong, a.Readings[k].Typed)
			require.LessOrEqual(t, a.Readings[k].Probability, 1.0)
			if math.Abs(a.Readings[k].ReadAs/right-1) < 0.02 {
				told++
			}
		}
	}
	require.Equal(t, 40, asked)
	return likely, told
}

// ends swaps the first and the last digit of a figure of three digits.
func ends(v float64) float64 {
	h, rest := math.Floor(v/100), math.Mod(v, 100)
	if v < 100 || v > 999 || math.Mod(v, 10) < 1 || v != math.Trunc(v) {
		return 0
	}
	return 100*math.Mod(v, 10) + rest - math.Mod(rest, 10) + h
}

// TestSlipsOfRemains: a coil count or a weighing with one slip leaves its record likely much oftener than if no slip
// were thought of, and the answer tells what was probably meant. The comments say how many of 40 stay likely, and
// are told, without slips. One wrong digit of a count is spread over some thirty figures: another winding
// on the core stays likelier than each of them, so that it is not among these.
func TestSlipsOfRemains(t *testing.T) {
	t.Parallel()
	turns := func(s *winding.CoilSet) float64 {
		if s.Pattern == nil {
			return 0
		}
		return s.Pattern.Turns[0]
	}
	coil := func(r *Remains, role winding.Role, v float64) string {
		r.Coils = []CoilCount{{Role: role, Turns: unit.Of(v)}}
		return "remains.coils[0].turns"
	}
	mass := func(s *winding.CoilSet) float64 { return math.Round(given(s.Mass)) }
	main := func(r *Remains, _ winding.Role, v float64) string {
		r.CopperMain = unit.Of(v)
		return "remains.copper_mass_g.main"
	}
	for name, c := range map[string]struct {
		figure func(*winding.CoilSet) float64
		slip   func(float64) float64
		put    func(*Remains, winding.Role, float64) string

		likely, told int // of 40, at least
	}{
		"a coil's first and last digit": {turns, ends, coil, 20, 17},                                     // 5, 0
		"a coil's double":               {turns, func(v float64) float64 { return 2 * v }, coil, 22, 18}, // 5, 0
		"a coil's half":                 {turns, func(v float64) float64 { return v / 2 }, coil, 10, 7},  // 4, 0
		"ten times the copper":          {mass, func(v float64) float64 { return 10 * v }, main, 36, 30}, // 32, 0
		"double the copper":             {mass, func(v float64) float64 { return 2 * v }, main, 22, 15},  // 21, 0
	} {
		likely, told := slipped(t, c.figure, c.slip, c.put)
		t.Logf("%s: %d of 40 records stay likely, %d slips told", name, likely, told)
		require.GreaterOrEqual(t, likely, c.likely, name)
		require.GreaterOrEqual(t, told, c.told, name)
	}
}
