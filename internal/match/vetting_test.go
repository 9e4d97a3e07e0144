package match

import (
	"slices"
	"sync"

	"statorbook/internal/score"
	"statorbook/internal/winding"
)

// sheetOf makes the sheet of an entry.
func sheetOf(e *jentry) winding.Sheet {
	r := e.Request.domain()
	return winding.Sheet{Core: *r.CoreAsMeasured, MotorType: r.MotorType, Origin: r.Origin, Nameplate: r.Nameplate, Scheme: r.Scheme}
}

// checked checks every entry of a world; spoil may take something away from a sheet first.
func checked(w *world, spoil func(*winding.Sheet)) []score.Checked {
	out := make([]score.Checked, 0, len(w.entries))
	for i := range w.entries {
		sheet := sheetOf(&w.entries[i])
		if spoil != nil {
			spoil(&sheet)
		}
		v := w.index.CheckRecord(sheet)
		c := score.Checked{Slip: w.entries[i].Truth.Slip, Odds: v.LnOdds}
		if v.Slip != nil {
			c.Named = v.Slip.Code
		}
		out = append(out, c)
	}
	return out
}

var sampleOnce = sync.OnceValue(func() []score.Checked { return checked(sampleWorld(), nil) })

// sampleChecked is what the check says of the sample world; the caller may change it.
func sampleChecked() []score.Checked { return slices.Clone(sampleOnce()) }

// cleanOdds are the sorted odds of the clean sheets of the sample world.
func cleanOdds() []float64 {
	var out []float64
	for _, c := range sampleChecked() {
		if c.Slip == "" {
			out = append(out, c.Odds)
		}
	}
	slices.Sort(out)
	return out
}
