package match

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// TestPlateDisagrees: one figure of a plate is far from the record that is proposed: it is named, and nothing else
// is; a plate as it stands in the record, or a voltage of the same class, is not.
func TestPlateDisagrees(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	for field, spoil := range map[string]struct {
		at func(*winding.Nameplate) *unit.Measured
		k  float64
	}{
		"nameplate.power_w":      {func(n *winding.Nameplate) *unit.Measured { return &n.Power }, 7},
		"nameplate.capacitor_uf": {func(n *winding.Nameplate) *unit.Measured { return &n.CapacitorUF }, 9},
		"nameplate.voltage_v":    {func(n *winding.Nameplate) *unit.Measured { return &n.Voltage }, 0.5},
		"nameplate.current_a":    {func(n *winding.Nameplate) *unit.Measured { return &n.Current }, 3},
	} {
		asked, named := 0, 0
		for i := 0; i < len(w.records) && asked < 15; i += 7 {
			q, r := exactQuery(w, i)
			n := *q.Nameplate
			m := spoil.at(&n)
			if !usable(*m) {
				continue
			}
			proposes := func(a *Answer) bool {
				return len(a.Proposals) > 0 && a.Proposals[0].Basis.Method == methodRecord && a.Proposals[0].Basis.WindingIDs[0] == r.ID
			}
			if sound := mustMatch(t, w.index, q); proposes(&sound) {
				require.Empty(t, platesNamed(&sound), "%s, as it stands", r.ID)
			}
			*m = unit.Of(m.Value * spoil.k)
			if v := n.Power.Value; n.Power.Given && v > winding.ServicePowerHigh {
				continue
			}
			q.Nameplate = &n
			a := mustMatch(t, w.index, q)
			if !proposes(&a) {
				continue
			}
			asked++
			if slices.Equal([]string{field}, platesNamed(&a)) {
				named++
			}
		}
		require.Greater(t, asked, 3, field)
		require.GreaterOrEqual(t, named*10, asked*9, "%s: %d of %d", field, named, asked)
	}
}

// platesNamed lists the fields of the plate that an answer names as against its first proposal.
func platesNamed(a *Answer) []string {
	var out []string
	for _, f := range a.Findings {
		if f.Code == "plate_disagrees" && f.Severity == errs.SeverityWarning {
			out = append(out, f.Fields...)
		}
	}
	return out
}

// TestThreeFigures: a figure of a record comes back as it was written, the steps of the index apart.
func TestThreeFigures(t *testing.T) {
	t.Parallel()
	for _, v := range []float64{0.37, 2.5, 40, 75, 230, 1440, 1100} {
		got, _ := unpackLog(packLog(v))
		require.InEpsilon(t, v, threeFigures(math.Exp(got)), 0.004)
	}
}

// TestFasterThanField: a plate speed above that of two poles on its frequency is no induction motor's (120 f / p).
func TestFasterThanField(t *testing.T) {
	t.Parallel()
	plate := func(speed, hertz float64) *winding.Nameplate {
		n := winding.Nameplate{Speed: unit.Of(speed)}
		if hertz > 0 {
			n.Frequency = unit.Of(hertz)
		}
		return &n
	}
	for name, c := range map[string]struct {
		n    *winding.Nameplate
		s    *winding.Supply
		most float64 // 0 = nothing to say
	}{
		"no plate":                {nil, nil, 0},
		"two poles":               {plate(2850, 50), nil, 0},
		"rounded up":              {plate(3000, 50), nil, 0},
		"60 Hz, nothing told":     {plate(3450, 0), nil, 0},
		"mixer":                   {plate(18000, 50), nil, 3000},
		"mixer, told by the site": {plate(18000, 0), &winding.Supply{Frequency: unit.Of(50)}, 3000},
		"mixer, nothing told":     {plate(18000, 0), &winding.Supply{}, 3600},
		"60 Hz speed on 50 Hz":    {plate(3450, 50), nil, 3000},
		"slip of the frequency":   {plate(1440, 5), nil, 0},
		"mixer, and such a slip":  {plate(18000, 5), nil, 3600},
	} {
		got := fasterThanField(c.n, c.s)
		if c.most == 0 {
			require.Empty(t, got, name)
			continue
		}
		require.Len(t, got, 1, name)
		code := "speed_above_synchronous"
		if c.n.Speed.Value > 4500 {
			code = "outside_service_range"
		}
		require.Equal(t, code, got[0].Code, name)
		require.InDelta(t, c.most, got[0].Expected.High, 1e-9, name)
		require.Contains(t, got[0].Message, "brushes and commutator", name)
	}
}

// TestCommutatorMotorIsNotMatched: at the speed of a mixer nothing is proposed; at one that a slip of the pen makes of a
// good one the answer stands beside its warning.
func TestCommutatorMotorIsNotMatched(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	q, _ := exactQuery(w, 10)
	q.Nameplate = &winding.Nameplate{Frequency: unit.Of(50), Speed: unit.Of(18000)}
	a := mustMatch(t, w.index, q)
	require.Equal(t, Unlisted{1, 1, 1}, a.None)
	require.Empty(t, a.Candidates)
	require.Empty(t, a.Proposals)
	require.NotEmpty(t, a.Cautions)
	require.Equal(t, "outside_service_range", a.Findings[len(a.Findings)-1].Code)
	q.Nameplate.Speed = unit.Of(3150)
	a = mustMatch(t, w.index, q)
	require.NotEmpty(t, a.Proposals)
	require.Contains(t, a.Findings[0].Message+a.Findings[len(a.Findings)-1].Message, "no induction motor runs so")
}
