package winding_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// outside collects the fields that findings of this code name.
func outside(findings []errs.Finding) []string {
	var fields []string
	for _, f := range findings {
		if f.Code == "outside_service_range" {
			fields = append(fields, f.Fields...)
		}
	}
	return fields
}

// TestSupplyDiffers: 230 V ± 10 % is 207 to 253 V, the range of the public supply (IEC 60038, from memory).
func TestSupplyDiffers(t *testing.T) {
	t.Parallel()
	for site, want := range map[float64]bool{206: true, 208: false, 230: false, 252: false, 254: true, 115: true} {
		require.Equal(t, want, winding.SupplyDiffers(site, 230), site)
	}
}

// The service knows motors of 5 W to 3 kW, 12 to 690 V, 50 and 60 Hz: an analysis or a change beyond them is
// answered, and says so. A sheet is not suspect for it.
func TestOutsideServiceRange(t *testing.T) {
	t.Parallel()
	table := benchTable(t)
	s := soundSheet(t)
	analyse := func(plate winding.Nameplate, supply *winding.Supply) []string {
		a, err := winding.Analyse(winding.AnalysisInput{Core: s.Core, Nameplate: &plate, Supply: supply, Scheme: s.Scheme}, table)
		require.NoError(t, err)
		return outside(a.Findings)
	}
	require.Empty(t, analyse(s.Nameplate, nil))
	require.Empty(t, analyse(winding.Nameplate{}, nil))
	odd := winding.Nameplate{Voltage: unit.Of(3300), Frequency: unit.Of(400), Power: unit.Of(75000)}
	require.Equal(t, []string{"nameplate.power_w", "nameplate.voltage_v", "nameplate.frequency_hz"}, analyse(odd, nil))
	said := winding.OutsideService(&odd, nil, "we know")
	require.Equal(t, "nameplate.power_w of 75000 W is outside the 5 to 3000 W that we know", said[0].Message)
	require.Equal(t, "nameplate.frequency_hz of 400 Hz is outside the 45 to 65 Hz that we know", said[2].Message)
	require.Equal(t, []string{"supply.frequency_hz"}, analyse(s.Nameplate, &winding.Supply{Voltage: unit.Of(230), Frequency: unit.Of(400)}))

	rewind := func(in winding.ChangeInput) []string {
		r, err := winding.Rewind(in, table)
		require.NoError(t, err)
		return outside(r.Findings)
	}
	in := oneCoilSet(100, 0.5, winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50)})
	in.Change = winding.Change{Frequency: unit.Of(60)}
	require.Empty(t, rewind(in))
	in.Change = winding.Change{Frequency: unit.Of(1000)}
	require.Equal(t, []string{"nameplate.frequency_hz"}, rewind(in))
	in.Core = &s.Core
	require.Equal(t, []string{"nameplate.frequency_hz"}, rewind(in))

	s.Nameplate.Power = unit.Of(3700)
	for _, f := range winding.Check(s, table).Findings {
		require.False(t, f.Code == "outside_service_range" && f.Severity != errs.SeverityNote, f.Message)
	}
}
