package httpapi_test

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var (
	ohmShown    = regexp.MustCompile(`Resistance at 20 °C, Ω</dt><dd>([0-9.]+) `)
	massShown   = regexp.MustCompile(`Mass of metal, g</dt><dd>([0-9.]+) `)
	ohmJudged   = regexp.MustCompile(`(?s)<b>Resistance of \w+ at 20 °C</b>: ([0-9.]+) – ([0-9.]+) Ω|<b>resistance of [\w ]+ at 20 °C</b>: ([0-9.]+) – ([0-9.]+) Ω`)
	cutListMass = regexp.MustCompile(`grade [123]</th><td>[0-9.]+</td><td>([0-9.]+)</td>`)
)

func numbers(t *testing.T, found [][]string) (out []float64) {
	t.Helper()
	for _, m := range found {
		for _, s := range m[1:] {
			if s != "" {
				v, err := strconv.ParseFloat(s, 64)
				require.NoError(t, err)
				out = append(out, v)
			}
		}
	}
	return out
}

// The coils, the cut list and the tests of a proposal's page speak of one mass and one resistance: a stator wound
// as the page says lies in the middle of the limits that the same page tests it by.
func TestProposalPageHasOneFigure(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	seen := 0
	for family := 0; family < len(s.demo.Families); family += 9 {
		if s.demo.Families[family].Core.Phases == 3 {
			continue // three like phases in one line of the cut list
		}
		for n := 1; n <= 3; n++ {
			at := fmt.Sprintf("/find/winding?%s&proposal=%d", readingsOf(s, family), n)
			text := page(t, s, at, 200).Text()
			if !strings.Contains(text, `class="set"`) {
				continue // no such proposal
			}
			ohms, masses := numbers(t, ohmShown.FindAllStringSubmatch(text, -1)), numbers(t, massShown.FindAllStringSubmatch(text, -1))
			limits, cut := numbers(t, ohmJudged.FindAllStringSubmatch(text, -1)), numbers(t, cutListMass.FindAllStringSubmatch(text, -1))
			require.Len(t, limits, 2*len(ohms), at)
			for i, ohm := range ohms {
				require.InEpsilon(t, ohm, (limits[2*i]+limits[2*i+1])/2, 2e-3, at)
			}
			if len(cut) == 0 {
				continue // a wire whose enamel has no grade
			}
			require.InEpsilon(t, sum(masses), sum(cut), 2e-3, at)
			seen++
		}
	}
	require.Greater(t, seen, 6)
}

func sum(v []float64) float64 {
	total := 0.0
	for _, x := range v {
		total += x
	}
	return total
}
