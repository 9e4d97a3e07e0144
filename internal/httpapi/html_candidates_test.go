package httpapi

import (
	"fmt"
	"testing"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func nameless(id string) recordName { return recordName{ID: id, Slug: id} }

// None of them stands where its probability puts it and is never put away, however unlikely.
func TestNoneIsNeverPutAway(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name       string
		candidates []float64
		none, rest float64
		rows       []string
		away       int
	}{
		{"first", []float64{0.2, 0.1}, 0.7, 0, []string{"none", "a", "b"}, 0},
		{"between", []float64{0.6, 0.1}, 0.3, 0, []string{"a", "none", "b"}, 0},
		{"last but shown", []float64{0.99, 0.005}, 0.0001, 0.0049, []string{"a", "none"}, 2},
		{"all unlikely", []float64{0.001, 0.0005}, 0.998, 0.0005, []string{"none"}, 3},
		{"little of both", []float64{0.9, 0.05, 0.004, 0.003}, 0.0035, 0, []string{"a", "b", "none"}, 2},
		{"nothing but none", nil, 1, 0, []string{"none"}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			v := matchView{None: noneView{Winding: c.none}, Unlisted: c.rest}
			for i, p := range c.candidates {
				v.Candidates = append(v.Candidates, candidateView{WindingID: string(rune('a' + i)), Probability: p, Status: "demo"})
			}
			rows, rest := candidateRows(v, nameless)
			require.Equal(t, c.rows, each(rows, func(r candidateRow) string {
				if r.Kind == "none" {
					return "none"
				}
				return r.Record.ID
			}))
			require.Len(t, rest, c.away)
			if c.rest > 0 {
				require.Equal(t, "unlisted", rest[len(rest)-1].Kind)
			}
		})
	}
}

// Whatever the answer, what a page lists adds up to what the answer holds.
func TestListedProbabilitiesAddUp(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOfN(rapid.Float64Range(0, 1), 2, 12).Draw(t, "parts")
		sum := 0.0
		for _, p := range parts {
			sum += p
		}
		if sum == 0 {
			return
		}
		v := matchView{None: noneView{Winding: parts[0] / sum}, Unlisted: parts[1] / sum}
		for i, p := range parts[2:] {
			v.Candidates = append(v.Candidates, candidateView{WindingID: fmt.Sprint(i), Probability: p / sum})
		}
		rows, rest := candidateRows(v, nameless)
		total, none := 0.0, 0
		for _, r := range rows {
			total += r.Probability
			if r.Kind == "none" {
				none++
			}
		}
		for _, r := range rest {
			total += r.Probability
		}
		require.InDelta(t, 1, total, 1e-9)
		require.Equal(t, 1, none)
	})
}

// The place on the drawn scale follows the deviation, and what lies beyond its ends is marked.
func TestComparedToScale(t *testing.T) {
	t.Parallel()
	for deviations, want := range map[float64]float64{0: 50, 2: 75, -2: 25, 4: 100, -4: 0, 40: 100, -7: 0} {
		c := compared(comparisonView{Deviations: deviations})
		require.InDelta(t, want, c.At, 1e-12, "%g", deviations)
		require.Equal(t, deviations > 4 || deviations < -4, c.Beyond, "%g", deviations)
	}
}

// What a core is lent by a basis that is neither a record nor its lamination is counts alone.
func TestCountsOf(t *testing.T) {
	t.Parallel()
	lent := countsOf(stator.Core{
		Phases: 1, RotorPosition: stator.RotorOutside, Slots: 14, GapDiameter: unit.Of(118), StackLength: unit.Of(20), ToothWidth: unit.Of(5),
		SecondRing: &stator.Ring{Slots: 14, ToothWidth: unit.Of(4)},
	})
	require.Equal(t, stator.Core{Phases: 1, RotorPosition: stator.RotorOutside, Slots: 14, SecondRing: &stator.Ring{Slots: 14}}, lent)
	require.Nil(t, countsOf(stator.Core{Slots: 24}).SecondRing)
}

// The instruments: units that the contract takes, steps that are exact in decimals.
func TestInstruments(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, i := range instruments {
		require.False(t, seen[i.Name], i.Name)
		seen[i.Name] = true
		require.Contains(t, []string{"mm", "[in_i]"}, i.Unit)
		if i.step != "" {
			require.Regexp(t, numberGrammar, i.step)
		}
	}
	require.Equal(t, "mm", instruments[0].Name, "the first is what nothing chosen means")
	require.Equal(t, "0.015625", fmt.Sprint(1.0/64), "a 64th of an inch")
}

// Like coils of three phases need one former, whose turn is the mean by coils; another throw, size or a turn that is
// more than 5 % apart needs its own.
func TestFormersOnce(t *testing.T) {
	t.Parallel()
	former := func(role winding.Role, throw, coils int, width, turn float64) formerView {
		return formerView{Role: role, Throw: throw, Coils: coils, Length: 70, Width: width, Perimeter: turn}
	}
	v := workView{Materials: &materialsView{Formers: []formerView{
		former("phase_u", 12, 2, 72.4, 340), former("phase_u", 10, 2, 59.2, 302), former("phase_v", 12, 2, 72.41, 331), former("phase_w", 12, 4, 72.4, 338),
		former("main", 12, 1, 72.4, 400), former("auxiliary", 12, 1, 80, 340),
	}}}
	rows := v.Formers()
	require.Len(t, rows, 4)
	require.Equal(t, []winding.Role{"phase_u", "phase_v", "phase_w"}, rows[0].Roles)
	require.Equal(t, 8, rows[0].Coils)
	require.InDelta(t, (340*2+331*2+338*4)/8.0, rows[0].Perimeter, 1e-9)
	require.Equal(t, []winding.Role{"phase_u"}, rows[1].Roles)
	require.Equal(t, []winding.Role{"main"}, rows[2].Roles)
	require.Equal(t, []winding.Role{"auxiliary"}, rows[3].Roles)
	require.InDelta(t, 340, v.Materials.Formers[0].Perimeter, 0, "the answer of the operation stays as it is")
}
