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
	} {
		got := fasterThanField(c.n, c.s)
		if c.most == 0 {
			require.Empty(t, got, name)
			continue
		}
		require.Len(t, got, 1, name)
		require.Equal(t, "speed_above_synchronous", got[0].Code, name)
		require.InDelta(t, c.most, got[0].Expected.High, 1e-9, name)
		require.Contains(t, got[0].Message, "brushes and commutator", name)
	}
}
