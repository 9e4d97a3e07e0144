package score

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// fourteen outcomes whose numbers can be counted on the fingers.
func sample() Outcomes {
	right := [3]bool{true, false, false}
	second := [3]bool{false, true, false}
	hit := func(p float64) Outcome {
		return Outcome{Kind: Record, CoreRank: 1, RecordRank: 1, Truth: p, TopRecord: p, TopCore: p, NoRecord: 0.02, NoCore: 0.01, Right: right, First: p, CoversTurns: true, CoversArea: true}
	}
	return Outcomes{
		hit(0.95), hit(0.95), hit(0.85), hit(0.85),
		{Kind: Record, CoreRank: 2, RecordRank: 3, Truth: 0.1, TopRecord: 0.5, TopCore: 0.5, NoRecord: 0.3, NoCore: 0.2, Right: second, First: 0.5, CoversTurns: true},
		{Kind: NewWinding, CoreRank: 4, Truth: 0.5, TopRecord: 0.5, TopCore: 0.6, NoRecord: 0.5, NoCore: 0.2, First: 0.3, TurnsError: 0.2},
		{Kind: NewStack, Truth: 0.9, NoRecord: 0.9, NoCore: 0.2, TopRecord: 0.1, TopCore: 0.1, Right: second, First: 0.4, TurnsError: 0.1, CoversTurns: true, CoversArea: true},
		{Kind: NewFamily, Truth: 0.8, NoRecord: 0.8, NoCore: 0.7, TopRecord: 0.2, TopCore: 0.2, First: 0.4, TurnsError: 0.4},
	}
}

func measured(t *testing.T, r *Result, key string) Value {
	t.Helper()
	for _, m := range Measures() {
		if m.Key == key {
			return m.From(r)
		}
	}
	t.Fatal("no measure " + key)
	return Value{}
}

func TestMeasuresByHand(t *testing.T) {
	t.Parallel()
	r := &Result{Outcomes: sample(), Slips: &Slips{Wrong: 7, Mean1: 80, Mean2: 88}}
	ln := math.Log
	for _, c := range []struct {
		key  string
		want float64
		n    int
	}{
		{"core_top1", 100 * 4.0 / 6, 6},
		{"core_top3", 100 * 5.0 / 6, 6},
		{"record_top1", 80, 5},
		{"record_top3", 100, 5},
		{"log_loss", -(2*ln(0.95) + 2*ln(0.85) + ln(0.1) + ln(0.5) + ln(0.9) + ln(0.8)) / 8, 8},
		// No core of 0.2 ties with the two known cores of 0.2, beats four of 0.01: 5 of 6; 0.7 beats six: 11 of 12.
		{"auc_core", 11.0 / 12, 8},
		// 0.5, 0.9, 0.8 each beat all five of 0.02, 0.02, 0.02, 0.02, 0.3.
		{"auc_record", 1, 8},
		// Bins: 0.1 (0.1, none), 0.2 (0.2, none), 0.5 (two of 0.5, none), 0.8 (two of 0.85, both), 0.9 (two of 0.95, both).
		{"ece_record", (0.1 + 0.2 + 2*0.5 + 2*0.15 + 2*0.05) / 8, 8},
		{"ece_core", (0.1 + 0.2 + 0.5 + 0.6 + 2*0.15 + 2*0.05) / 8, 8},
		// Bins: 0.3 (none), 0.4 (two, none), 0.5 (none), then as above.
		{"ece_first", (0.3 + 2*0.4 + 0.5 + 2*0.15 + 2*0.05) / 8, 8},
		{"first_right", 50, 8},
		{"one_of_three", 75, 8},
		{"new_one_of_three", 50, 2},
		{"new_turns_p90", 0.4, 2},
		{"cover_turns", 75, 8},
		{"cover_area", 62.5, 8},
		{"cover_turns_unlikely", 50, 2}, // NoRecord 0.9 and 0.8; 0.5 is no more likely than not, and not counted
		{"cover_area_unlikely", 50, 2},
		{"slips_1", 80, 7},
		{"slips_2", 88, 7},
	} {
		v := measured(t, r, c.key)
		require.InDelta(t, c.want, v.V, 1e-9, c.key)
		require.Equal(t, c.n, v.N, c.key)
	}
	require.Len(t, Measures(), 20, "each has its line above")
}

// TestFloors: those of the demand, both ways.
func TestFloors(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		key      string
		ok, bad  float64
		ref      float64
		beside   float64 // kept beside the reference
		besideNo float64
	}{
		{"core_top1", 96, 95.99, 98, 97, 96.9},
		{"core_top3", 99, 98.9, 100, 99.3, 99.2},
		{"record_top1", 90, 89.9, 93, 91.5, 91.4},
		{"record_top3", 98, 97.9, 99.4, 98.4, 98.3},
		{"log_loss", 0.28, 0.281, 0.2, 0.224, 0.225},
		{"auc_core", 0.985, 0.984, 0.992, 0.986, 0.985},
		{"auc_record", 0.975, 0.974, 0.986, 0.982, 0.981},
		{"ece_record", 0.035, 0.036, 0, 0, 0},
		{"ece_core", 0.035, 0.036, 0, 0, 0},
		{"ece_first", 0.045, 0.046, 0, 0, 0},
		{"first_right", 75, 74.9, 80, 78, 77.9},
		{"one_of_three", 91, 90.9, 94, 92.5, 92.4},
		{"new_one_of_three", 72, 71.9, 79, 76, 75.9},
		{"new_turns_p90", 0.3, 0.31, 0.2, 0.2299, 0.2301},
		{"cover_turns", 93, 92.9, 0, 0, 0},
		{"cover_area", 99, 99.1, 0, 0, 0},
		{"cover_turns_unlikely", 87, 86.9, 0, 0, 0},
		{"cover_area_unlikely", 97, 97.1, 0, 0, 0},
		{"slips_1", 85, 84.9, 0, 0, 0},
		{"slips_2", 87, 86.9, 0, 0, 0},
	} {
		for _, m := range Measures() {
			if m.Key != c.key {
				continue
			}
			require.True(t, m.Floor.Holds(Value{V: c.ok}), c.key)
			require.False(t, m.Floor.Holds(Value{V: c.bad}), c.key)
			require.False(t, m.Floor.Holds(Value{V: math.NaN()}), "what was not measured is not kept")
			require.Equal(t, c.ref == 0, m.Beside == nil, c.key)
			if m.Beside != nil {
				require.True(t, m.Beside(c.ref).Holds(Value{V: c.beside}), c.key)
				require.False(t, m.Beside(c.ref).Holds(Value{V: c.besideNo}), c.key)
			}
		}
	}
}

// TestNothingMeasured: an empty world keeps no floor.
func TestNothingMeasured(t *testing.T) {
	t.Parallel()
	for _, m := range Measures() {
		v := m.From(&Result{})
		require.True(t, math.IsNaN(v.V), m.Key)
		require.False(t, m.Floor.Holds(v), m.Key)
	}
}

func TestJudgeSlips(t *testing.T) {
	t.Parallel()
	var sheets []Checked
	for i := range 100 { // odds 0 to 99: the 99 % point is 98, the 98 % point 97
		sheets = append(sheets, Checked{Odds: float64(i)})
	}
	sheets = append(sheets,
		Checked{"turns_halved", "turns_halved", 120}, Checked{"turns_halved", "stack_blunder", 99}, Checked{"turns_halved", "turns_halved", 98}, Checked{"turns_halved", "", 97},
		Checked{"r_digit_swap", "r_digit_swap", 3}, Checked{"r_digit_swap", "r_digit_swap", 97.5},
		Checked{"material_wrong", "material_wrong", 200})
	s := JudgeSlips(sheets)
	require.Equal(t, [2]float64{98, 97}, [2]float64{s.Odds1, s.Odds2})
	require.Equal(t, [2]int{100, 7}, [2]int{s.Clean, s.Wrong})
	require.Len(t, s.Kinds, 3)
	require.Equal(t, SlipKind{"material_wrong", 1, 100, 100, 100}, s.Kinds[0])
	require.False(t, s.Kinds[0].Counted())
	require.Equal(t, SlipKind{"turns_halved", 4, 50, 75, 50}, s.Kinds[2])
	require.Equal(t, "r_digit_swap", s.Kinds[1].Slip)
	require.Equal(t, [2]float64{0, 50}, [2]float64{s.Kinds[1].Found1, s.Kinds[1].Found2})
	require.True(t, math.IsNaN(s.Kinds[1].Named), "none was found, so none was named")
	require.Equal(t, 25.0, s.Mean1) // (50 + 0)/2, without the third kind
	require.Equal(t, 62.5, s.Mean2) // (75 + 50)/2
	require.Nil(t, JudgeSlips(sheets[:100]), "nothing is wrong in them")
	require.Nil(t, JudgeSlips(sheets[100:]), "no clean sheet, no threshold")
}
