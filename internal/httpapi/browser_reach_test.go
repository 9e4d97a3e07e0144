package httpapi_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// pagesReached are the pages whose reach is looked at, with answers of all kinds; the reference is its renderer's.
func pagesReached(s shop) map[string]string {
	pages := pagesShown(s)
	delete(pages, "/docs/reference")
	pages["few"], pages["strange"], pages["strange winding"] = "/find?slots=24&rotor_position=inside", "/find?"+strangeCore, "/find/winding?"+strangeCore
	pages["misread"] = "/find?rotor_position=inside&phases=1&slots=24&gap_diameter_mm=543&back_diameter_mm=93.4&stack_length_mm=27&tooth_width_mm=3.6"
	pages["list of sizes"], pages["faults"], pages["problems"] = "/wires?system=swg", "/find?slots=x&gap_diameter_mm=-1", "/problems"
	return pages
}

// Nobody scrolls sideways on the narrowest screen of WCAG 2.2 (1.4.10, 320 px) nor with text of twice
// its size (1.4.4), every fold open; nothing sticks out of its frame.
func TestBrowserNarrowAndLarge(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openShop(t)
	for name, c := range map[string]struct {
		width int64
		text  string
	}{"narrow": {320, "100%"}, "large text": {360, "200%"}, "phone": {360, "100%"}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := openTab(t, s, c.width, 740)
			for page, target := range pagesReached(s) {
				b.open(t, target)
				eval[any](t, b, `document.querySelectorAll("details").forEach(d => d.open = true), document.documentElement.style.fontSize = "`+c.text+`", 0`)
				require.LessOrEqual(t, eval[int](t, b, "document.documentElement.scrollWidth"), int(c.width), page)
				require.Empty(t, eval[[]string](t, b, `[...document.querySelectorAll(".card")].filter(c => [...c.querySelectorAll("*")].some(e =>
					!e.parentElement.closest(".scroll") && e.getBoundingClientRect().right > c.getBoundingClientRect().right + 1)).map(c => c.textContent)`), page)
			}
		})
	}
}

// What is touched is at least 44 px high; links within a sentence are excepted, as in WCAG 2.2 (2.5.8).
func TestBrowserBigTargets(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openShop(t)
	b := openTab(t, s, 360, 740)
	for page, target := range pagesReached(s) {
		b.open(t, target)
		eval[any](t, b, `document.querySelectorAll("details").forEach(d => d.open = true), 0`)
		small := eval[[]string](t, b, `[...document.querySelectorAll(".top a, .bottom a, .go a, .next a, .within a, .card a, th a, button, input, select, textarea, summary")].filter(e => e.checkVisibility()).filter(e => {
			const touched = e.matches("input[type=radio]") ? e.nextElementSibling : e.matches("input[type=checkbox]") ? e.closest(".answer") : e;
			return touched.getBoundingClientRect().height < 44 }).map(e => e.outerHTML.slice(0, 120))`)
		require.Empty(t, small, page)
	}
}

// What was typed is in the address before it is sent: a page that is loaded again, or gone back to, still holds it.
func TestBrowserKeepsWhatWasTyped(t *testing.T) {
	t.Parallel()
	browserPath(t)
	b := openTab(t, openShop(t), 360, 740)
	b.open(t, "/")
	b.do(t, chromedp.Click(css(`[name="rotor_position"][value="inside"]`)))
	b.fill(t, "slots", "24")
	b.fill(t, "gap_diameter_mm", "54.3")
	b.until(t, `location.search.includes("gap_diameter_mm=54.3")`)
	holds := func() {
		t.Helper()
		require.Equal(t, "24 54.3 inside", eval[string](t, b, `["slots", "gap_diameter_mm"].map(n => document.getElementById(n).value).join(" ") + " " + document.querySelector("[name=rotor_position]:checked").value`))
	}
	b.do(t, chromedp.Reload())
	holds()
	b.follow(t, chromedp.Click(css(`button[type="submit"]`)))
	b.has(t, "What this core may be")
	eval[any](t, b, "history.back(), 0")
	b.until(t, `document.readyState === "complete" && document.querySelector("#slots") !== null`)
	holds()
	b.quiet(t)
}

// Every kind of job sheet fits three sheets of A4 or Letter, three phases with their leads and a proposal with its warnings included.
func TestBrowserSheetsFitPaper(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openShop(t)
	b := openTab(t, s, 1280, 900)
	targets := map[string]string{"proposal": "/find/sheet?" + strangeCore}
	for _, w := range s.demo.Windings {
		kind := strings.TrimRight(w.Slug[:strings.LastIndexByte(w.Slug, '-')], "-0123456789") // demo-pump-08-a: a pump
		targets[fmt.Sprint(kind, " of ", w.Scheme.Poles, " poles, ", len(w.Leads), " leads")] = "/windings/" + w.Slug + "/sheet"
	}
	for name, target := range targets {
		b.open(t, target)
		for paper, size := range map[string]chromedp.PaperSize{"a4": chromedp.PaperA4, "letter": chromedp.PaperLetter} {
			pdf := run(t, b, chromedp.PrintToPDF(chromedp.PDFPaper(size), chromedp.PDFPreferCSSPageSize()))
			require.Equal(t, 3, bytes.Count(pdf, []byte("/Type /Page\n")), "%s on %s", name, paper)
		}
	}
}
