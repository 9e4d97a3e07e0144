package match

import (
	"slices"

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

// cleanOdds are the sorted odds of the clean sheets of a world.
func cleanOdds(w *world) []float64 {
	var out []float64
	for _, c := range checked(w, nil) {
		if c.Slip == "" {
			out = append(out, c.Odds)
		}
	}
	slices.Sort(out)
	return out
}
