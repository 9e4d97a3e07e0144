package match

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"statorbook/internal/winding"
)

// sheetOf makes the sheet of an entry.
func sheetOf(e *jentry) winding.Sheet {
	r := e.Request.domain()
	return winding.Sheet{Core: *r.CoreAsMeasured, MotorType: r.MotorType, Origin: r.Origin, Nameplate: r.Nameplate, Scheme: r.Scheme}
}

// judged is one entry after the check.
type judged struct {
	slip, named string
	odds        float64
}

// judge checks every entry of a world; clean holds the sorted odds of the sound ones.
func judge(w *world) (all []judged, clean []float64) {
	for i := range w.entries {
		v := w.index.CheckRecord(sheetOf(&w.entries[i]))
		j := judged{slip: w.entries[i].Truth.Slip, odds: v.LnOdds}
		if v.Slip != nil {
			j.named = v.Slip.Code
		}
		all = append(all, j)
		if j.slip == "" {
			clean = append(clean, j.odds)
		}
	}
	slices.Sort(clean)
	return all, clean
}

// found is how many entries of one kind of slip are found at two shares of false alarms, in per cent.
type found struct {
	slip              string
	n, at1, at2, name float64
}

// vetting is how well slips are found at 1 and 2 % of false alarms, and the means over the kinds.
func vetting(w *world) (kinds []found, mean1, mean2 float64, text string) {
	all, clean := judge(w)
	t1, t2 := clean[int(0.99*float64(len(clean)))], clean[int(0.98*float64(len(clean)))]
	for _, j := range all {
		if j.slip == "" {
			continue
		}
		i := slices.IndexFunc(kinds, func(f found) bool { return f.slip == j.slip })
		if i < 0 {
			i = len(kinds)
			kinds = append(kinds, found{slip: j.slip})
		}
		kinds[i].n++
		if j.odds > t1 {
			kinds[i].at1++
			if j.named == j.slip {
				kinds[i].name++
			}
		}
		if j.odds > t2 {
			kinds[i].at2++
		}
	}
	slices.SortFunc(kinds, func(a, b found) int { return strings.Compare(a.slip, b.slip) })
	var b strings.Builder
	for _, k := range kinds {
		fmt.Fprintf(&b, "  %-20s n %4.0f  found %5.1f %% at 1 %%, %5.1f %% at 2 %%; rightly named %5.1f %%\n", k.slip, k.n, 100*k.at1/k.n, 100*k.at2/k.n, 100*k.name/math.Max(k.at1, 1))
		mean1 += 100 * k.at1 / k.n / float64(len(kinds))
		mean2 += 100 * k.at2 / k.n / float64(len(kinds))
	}
	return kinds, mean1, mean2, fmt.Sprintf("vetting: thresholds %.2f (1 %%) %.2f (2 %%), mean over %d kinds %.1f at 1 %%, %.1f at 2 %%\n", t1, t2, len(kinds), mean1, mean2) + b.String()
}
