package httpapi_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// The sizes that the path is walked at: a narrow phone and a desk.
var screens = []struct {
	name          string
	width, height int64
}{{"phone", 360, 740}, {"desk", 1280, 900}}

// gapSays is what stands at the gap diameter.
const gapSays = `document.querySelector('[data-check="gap_diameter_mm"]').textContent`

// From readings to the sheet on paper, on both screens, without a word of complaint from the browser.
func TestBrowserWholePath(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openShop(t)
	f := s.demo.Families[3]
	for _, screen := range screens {
		t.Run(screen.name, func(t *testing.T) {
			t.Parallel()
			b := openTab(t, s, screen.width, screen.height)
			b.open(t, "/")
			noOverflow(t, b)
			b.do(t, chromedp.Click(css(`[name="rotor_position"][value="outside"]`)), chromedp.Click(css(`[name="phases"][value="1"]`)))
			require.Equal(t, "none", eval[string](t, b, `getComputedStyle(document.querySelector(".guide svg")).display`), "the drawing of the other build is still there")
			b.fill(t, "slots", fmt.Sprint(f.Core.Slots))
			b.fill(t, "gap_diameter_mm", "9999")
			require.Equal(t, []any{"gap_diameter_mm"}, eval[[]any](t, b, `[...document.querySelectorAll(".guide .on")].filter(g => g.closest("svg").checkVisibility()).map(g => g.dataset.dim)`), "the drawing shows what is asked")
			b.until(t, gapSays+`.match(/Outside the usual|motors of 5 W to 3 kW have/)`, "at once by the page, a moment later by the server")
			b.do(t, chromedp.SendKeys(css("#gap_diameter_mm"), kb.Backspace+kb.Backspace+kb.Backspace+kb.Backspace+fmt.Sprint(f.Core.GapDiameter.Value)))
			b.until(t, gapSays+` === ""`)
			b.fill(t, "stack_length_mm", fmt.Sprint(f.Cores[0].StackLength.Value))
			b.fill(t, "tooth_width_mm", fmt.Sprint(f.Core.ToothWidth.Value))
			b.fill(t, "supply.voltage_v", "230")
			b.keepPicture(t, screen.name+"-1-find")
			b.follow(t, chromedp.Click(css(`button[type="submit"]`)))
			address := eval[string](t, b, "location.search")
			require.Contains(t, address, "gap_diameter_mm="+fmt.Sprint(f.Core.GapDiameter.Value))
			require.NotContains(t, address, "=&", "empty answers make the address long")

			b.has(t, "What this core may be", "None of these", f.Slug, "What to measure next", "Isolate, lock off, prove dead")
			noOverflow(t, b)
			b.keepPicture(t, screen.name+"-2-candidates")
			b.follow(t, chromedp.Click(css(`a[href^="/find/winding"]`)))

			b.has(t, "Turns in series", "Slot liner", "Insulation resistance at 500 V DC")
			dangersInSight(t, b, screen.height)
			noOverflow(t, b)
			require.True(t, eval[bool](t, b, `[...document.images].every(i => i.complete && i.naturalWidth > 0)`), "a drawing is broken")
			b.keepPicture(t, screen.name+"-3-winding")
			b.follow(t, chromedp.Click(css(`a[href^="/find/sheet"]`)))

			b.has(t, "Readings of the day", "Signed")
			b.keepPicture(t, screen.name+"-4-sheet")
			for paper, size := range map[string]chromedp.PaperSize{"a4": chromedp.PaperA4, "letter": chromedp.PaperLetter} {
				pdf := run(t, b, chromedp.PrintToPDF(chromedp.PDFPaper(size), chromedp.PDFPreferCSSPageSize()))
				require.True(t, bytes.HasPrefix(pdf, []byte("%PDF-")))
				pages := bytes.Count(pdf, []byte("/Type /Page\n"))
				t.Logf("%s: %d pages", paper, pages)
				require.Greater(t, pages, 0)
				require.LessOrEqual(t, pages, 3, paper)
				if folder := os.Getenv("STATORBOOK_SHOTS"); folder != "" {
					require.NoError(t, os.WriteFile(folder+"/"+screen.name+"-"+paper+".pdf", pdf, 0o600))
				}
			}
			b.quiet(t)
		})
	}
}

// noOverflow asserts that nobody has to scroll sideways.
func noOverflow(t *testing.T, b *tab) {
	t.Helper()
	require.LessOrEqual(t, eval[int](t, b, "document.documentElement.scrollWidth"), eval[int](t, b, "document.documentElement.clientWidth"), "the page is wider than the screen")
}

// dangersInSight asserts that every caution of grade danger stands on the first screen.
func dangersInSight(t *testing.T, b *tab, height int64) {
	t.Helper()
	require.Zero(t, eval[int](t, b, "scrollY"))
	bottoms := eval[[]float64](t, b, `[...document.querySelector(".cautions .heads").children].map(li => li.getBoundingClientRect().bottom)`)
	require.GreaterOrEqual(t, len(bottoms), 3)
	for _, bottom := range bottoms {
		require.LessOrEqual(t, bottom, float64(height), "a danger is below the first screen")
	}
}

// The pages of the demo records keep their cautions on the first screen of a phone.
func TestBrowserCautionsFirst(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openShop(t)
	b := openTab(t, s, 360, 740)
	for i := 0; i < len(s.demo.Windings); i += 40 {
		b.open(t, "/windings/"+s.demo.Windings[i].Slug)
		dangersInSight(t, b, 740)
		noOverflow(t, b)
	}
	for _, target := range pagesShown(s) {
		b.open(t, target)
		noOverflow(t, b)
	}
	b.quiet(t)
}

// While readings are typed the server looks them over, and what it says stands at the field.
func TestBrowserLiveCheck(t *testing.T) {
	t.Parallel()
	browserPath(t)
	b := openTab(t, openShop(t), 360, 740)
	b.open(t, "/")
	b.do(t, chromedp.Click(css(`[name="rotor_position"][value="inside"]`)))
	b.fill(t, "gap_diameter_mm", "90")
	b.fill(t, "back_diameter_mm", "60")
	b.until(t, gapSays+`.includes("must be below the back diameter")`)
	b.click(t, `[name="rotor_position"][value="outside"]`)
	b.until(t, gapSays+` === ""`)
	// Inches are compared with the usual range in millimetres, at once, before the server is asked.
	b.do(t, chromedp.SetValue(css("#with"), "inch"))
	typed := func(text string) string {
		return eval[string](t, b, `(e => { e.value = "`+text+`"; e.dispatchEvent(new Event("input", { bubbles: true })); return document.querySelector('[data-check="stack_length_mm"]').textContent })(document.getElementById("stack_length_mm"))`)
	}
	require.Empty(t, typed("15"))
	require.Contains(t, typed("150"), "Outside the usual")
	b.quiet(t)
}

// An answer of the check that comes late, about what stood in a field before, is not shown.
func TestBrowserLateCheck(t *testing.T) {
	t.Parallel()
	browserPath(t)
	b := openTab(t, openShop(t), 360, 740)
	b.open(t, "/")
	// The first question is held until another figure is typed. What the field says from then on is noted.
	eval[any](t, b, `(() => {
		const ask = window.fetch, e = document.getElementById("gap_diameter_mm"), box = document.querySelector('[data-check="gap_diameter_mm"]');
		const type = (text) => { e.value = text; e.dispatchEvent(new Event("input", { bubbles: true })); };
		window.said = [];
		window.fetch = (...a) => {
			window.fetch = ask;
			return new Promise((go) => {
				type("80");
				new MutationObserver(() => window.said.push(box.textContent)).observe(box, { childList: true });
				go(ask(...a));
			});
		};
		type("9999");
		return 0;
	})()`)
	b.until(t, `window.fetch.toString().includes("asking") && window.resting()`)
	for _, text := range eval[[]string](t, b, "window.said") {
		require.NotContains(t, text, "9999")
	}
	require.Equal(t, "80", eval[string](t, b, `document.getElementById("gap_diameter_mm").value`))
	b.quiet(t)
}

// Without a script the same path leads to the same sheet.
func TestBrowserWithoutScript(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openShop(t)
	f := s.demo.Families[3]
	b := openTab(t, s, 360, 740)
	_, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	b.open(t, "/")
	b.do(t, chromedp.Click(css(`[name="rotor_position"][value="outside"]`)))
	b.fill(t, "slots", fmt.Sprint(f.Core.Slots))
	b.fill(t, "gap_diameter_mm", fmt.Sprint(f.Core.GapDiameter.Value))
	b.follow(t, chromedp.Click(css(`button[type="submit"]`)))
	require.Contains(t, run(t, b, chromedp.Text(css("main"))), "None of these")
	b.follow(t, chromedp.Click(css(`a[href^="/find/winding"]`)))
	require.Contains(t, run(t, b, chromedp.Text(css("main"))), "Turns in series")
	b.follow(t, chromedp.Click(css(`a[href^="/find/sheet"]`)))
	require.Contains(t, run(t, b, chromedp.Text(css("main"))), "Readings of the day")
	require.Empty(t, b.heard())
}

// With the keyboard alone: the first stop skips to the content, every stop is seen, and the form is filled and sent.
func TestBrowserKeyboard(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openShop(t)
	for _, screen := range screens {
		t.Run(screen.name, func(t *testing.T) {
			t.Parallel()
			walkByKeyboard(t, openTab(t, s, screen.width, screen.height))
		})
	}
}

// focusSeen tells whether what has the focus is on the screen, outlined, and covered by nothing.
const focusSeen = `(() => { const e = document.activeElement, shown = e.matches("input[type=radio]") ? e.nextElementSibling : e;
	const r = shown.getBoundingClientRect(), at = document.elementFromPoint(r.left + r.width / 2, r.top + Math.min(r.height / 2, 20));
	return r.top >= 0 && r.bottom <= innerHeight + 1 && getComputedStyle(shown).outlineStyle !== "none" && !!at &&
		(e.contains(at) || shown.contains(at) || at.closest("label")?.contains(e)) === true })()`

// focused names what has the focus.
const focused = "document.activeElement.name || document.activeElement.type || document.activeElement.tagName"

func walkByKeyboard(t *testing.T, b *tab) {
	b.open(t, "/")
	key := func(keys string) { b.do(t, chromedp.KeyEvent(keys)) }
	key(kb.Tab)
	require.Equal(t, "#main", eval[string](t, b, `document.activeElement.getAttribute("href")`))
	key(kb.Enter)
	require.Equal(t, "main", eval[string](t, b, "document.activeElement.id"))
	answers := map[string]string{"slots": "14", "gap_diameter_mm": "121.5", "stack_length_mm": "19", "supply.voltage_v": "230"}
	typed, stops := map[string]bool{}, 0
	for name := ""; name != "submit" && stops < 80; stops++ {
		key(kb.Tab)
		name = eval[string](t, b, focused)
		require.True(t, eval[bool](t, b, focusSeen), "the focus on %s is not seen", name)
		switch {
		case name == "rotor_position":
			key(kb.ArrowDown + kb.ArrowDown) // not known -> inside -> outside
		case answers[name] != "" && !typed[name]:
			typed[name] = true
			key(answers[name])
		}
	}
	require.Len(t, typed, len(answers))
	for range stops - 2 { // and all the way back
		b.do(t, chromedp.KeyEvent(kb.Tab, chromedp.KeyModifiers(chromedp.ModifierShift)))
		require.True(t, eval[bool](t, b, focusSeen), "going back, the focus on %s is not seen", eval[string](t, b, focused))
	}
	b.do(t, chromedp.Focus(css(`button[type="submit"]`)))
	b.follow(t, chromedp.KeyEvent(kb.Enter))
	b.has(t, "What this core may be")
	search := eval[string](t, b, "location.search")
	require.Contains(t, search, "rotor_position=outside")
	require.Contains(t, search, "stack_length_mm=19")
	b.quiet(t)
}

// Nothing of this needs a fast line: on a slow phone's connection what a page loads takes less than fifteen seconds,
// reckoned from bytes and requests, one after the other; the time that it took here is told.
func TestBrowserSlowLine(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openShop(t)
	b := openTab(t, s, 360, 740)
	const bytesPerSecond, latency = 400_000 / 8, 0.4 // 400 kbit/s each way and 400 ms, the "slow 3G" of browser tools
	b.do(t, chromedp.Func(func(ctx context.Context, tab *chromedp.Target) error {
		if err := tab.Call(ctx, "Network.enable", struct{}{}, nil); err != nil {
			return err
		}
		return tab.Call(ctx, "Network.emulateNetworkConditions", map[string]any{"offline": false, "latency": latency * 1000, "downloadThroughput": bytesPerSecond, "uploadThroughput": bytesPerSecond}, nil)
	}))
	for _, target := range []string{"/", "/find?" + readings(s)} {
		begun := time.Now()
		b.open(t, target)
		took := time.Since(begun)
		b.until(t, `performance.getEntriesByName("first-contentful-paint").length > 0`)
		painted := eval[float64](t, b, `performance.getEntriesByName("first-contentful-paint")[0].startTime`)
		sizes := eval[[]float64](t, b, `[...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")].map(e => e.transferSize)`)
		bytes, reckoned := 0.0, 0.0
		for _, size := range sizes {
			bytes += size
			reckoned += latency + size/bytesPerSecond
		}
		t.Logf("%s: loaded in %.1f s, first paint after %.1f s, %.0f bytes over the line in %d requests, reckoned %.1f s", target[:min(len(target), 12)], took.Seconds(), painted/1000, bytes, len(sizes), reckoned)
		require.Positive(t, bytes)
		require.Less(t, reckoned, 15.0, target)
	}
	b.quiet(t)
}
