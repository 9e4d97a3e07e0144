package httpapi_test

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// axeFinding is a rule that axe-core finds broken.
type axeFinding struct {
	ID, Impact, Help string
	Nodes            []struct {
		HTML   string   `json:"html"`
		Target []string `json:"target"`
	}
}

// Every page, on a phone and at a desk, every fold open and with a faulty form, has no finding of
// axe-core that is serious or critical. The library is not part of this repository: STATORBOOK_AXE
// names its file axe.min.js.
func TestBrowserAxe(t *testing.T) {
	t.Parallel()
	library := axeLibrary(t)
	s := openShop(t)
	pages := pagesShown(s)
	pages["form with faults"] = "/find?slots=x&gap_diameter_mm=-1&edit=1"
	pages["nothing there"] = "/no/such/page"
	pages["three phases"] = "/find?phases=3&slots=36&rotor_position=inside&gap_diameter_mm=80&stack_length_mm=80"
	for _, screen := range screens {
		t.Run(screen.name, func(t *testing.T) {
			t.Parallel()
			b := openTab(t, s, screen.width, screen.height)
			for name, target := range pages {
				b.open(t, target)
				axeSees(t, b, library, name)
			}
		})
	}
}

// axeSees asserts that what the tab shows, every fold open, has no finding that is serious or critical.
func axeSees(t *testing.T, b *tab, library, name string) {
	t.Helper()
	eval[any](t, b, `document.querySelectorAll("details").forEach(d => d.open = true), 0`)
	eval[any](t, b, library+";0")
	text := run(t, b, chromedp.Evaluate[string](`axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"], resultTypes: ["violations"]}).then(r => JSON.stringify(r.violations))`, chromedp.EvalAwaitPromise))
	var found []axeFinding
	require.NoError(t, json.Unmarshal([]byte(text), &found))
	for _, f := range found {
		for _, n := range f.Nodes {
			t.Logf("%s: %s %s: %s: %.160s", name, f.Impact, f.ID, f.Help, n.HTML)
		}
		if f.Impact == "serious" || f.Impact == "critical" {
			t.Errorf("%s: %s %s: %s", name, f.Impact, f.ID, f.Help)
		}
	}
}

// axeLibrary reads the library; without it the test is skipped and says so.
func axeLibrary(t *testing.T) string {
	t.Helper()
	path := os.Getenv("STATORBOOK_AXE")
	if path == "" {
		t.Skip("STATORBOOK_AXE is not set: it names the file axe.min.js of the npm package axe-core, which .ci/run installs")
	}
	library, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(library)
}
