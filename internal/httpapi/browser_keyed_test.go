package httpapi_test

import (
	"encoding/json"
	"net/url"
	"strings"
	"testing"
	"time"

	"statorbook/internal/catalog"
	"statorbook/internal/httpapi"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// openSchoolTab opens a tab on a school's server.
func openSchoolTab(t *testing.T, s *school, width, height int64) *tab {
	t.Helper()
	return openTab(t, shop{Host: s.Host, store: s.store}, width, height)
}

// key is somebody's key alone.
func (s *school) key(who string) string {
	return strings.TrimPrefix(s.header[who], "Authorization: Bearer ")
}

// put sets a field to text as if it was typed, whatever was in it.
func (b *tab) put(t testing.TB, selector, text string) {
	t.Helper()
	eval[any](t, b, `(e => { e.value = ""; e.dispatchEvent(new Event("input", {bubbles: true})); return 0 })(document.querySelector(`+"`"+selector+"`"+`))`)
	if text != "" {
		b.do(t, chromedp.SendKeys(css(selector), text))
	}
}

// sees waits until an element shows all texts.
func (b *tab) sees(t testing.TB, selector string, texts ...string) {
	t.Helper()
	var shown string
	require.Eventually(t, func() bool {
		shown = eval[string](t, b, `document.querySelector(`+"`"+selector+"`"+`)?.textContent ?? ""`)
		for _, text := range texts {
			if !strings.Contains(shown, text) {
				return false
			}
		}
		return true
	}, patience, 50*time.Millisecond, "%s never says %q", selector, texts)
}

// press clicks a button and waits for what comes of it. What an earlier press left is wiped first, so that it is not taken for the new answer.
func (b *tab) press(t testing.TB, selector string, says ...string) {
	t.Helper()
	b.until(t, "window.resting()", "the page never rests")
	eval[any](t, b, `(e => { if (e) e.textContent = ""; return 0 })(document.querySelector("#outcome"))`)
	b.click(t, selector)
	b.sees(t, "#outcome", says...)
}

// onlyRefusals asserts that the browser said nothing but that a request was refused, which it notes by itself.
func (b *tab) onlyRefusals(t testing.TB) {
	t.Helper()
	for _, what := range b.heard() {
		require.Contains(t, what, "Failed to load resource: the server responded with a status of 4", "the browser complained")
	}
}

// inMemoryOnly asserts that the key went nowhere that outlives the page.
func inMemoryOnly(t *testing.T, b *tab, key string) {
	t.Helper()
	require.Zero(t, eval[int](t, b, `localStorage.length + sessionStorage.length`))
	require.Empty(t, eval[string](t, b, `document.cookie`))
	require.NotContains(t, eval[string](t, b, `location.href + performance.getEntriesByType("resource").map(e => e.name).join()`), key)
}

// fillSheet types the sheet of sheetTyped into its form, first coil set.
func fillSheet(t *testing.T, b *tab) {
	t.Helper()
	typed, err := url.ParseQuery(sheetTyped)
	require.NoError(t, err)
	for name, v := range typed {
		name = strings.Replace(name, "coil_sets.1", "coil_sets.0", 1)
		at := `[name="` + name + `"]`
		switch eval[string](t, b, "document.querySelector(`"+at+"`).type") {
		case "radio":
			b.click(t, at+`[value="`+v[0]+`"]`)
		case "checkbox":
			b.click(t, at)
		case "select-one":
			b.do(t, chromedp.SetValue(css(at), v[0]))
		default:
			b.fill(t, name, v[0])
		}
	}
}

// From a sheet with a slip to a published record: findings while typing, refusals in words, four eyes.
func TestBrowserSheetToPublication(t *testing.T) {
	t.Parallel()
	browserPath(t)
	for _, screen := range screens {
		t.Run(screen.name, func(t *testing.T) {
			t.Parallel()
			s := openSchool(t)
			b := openSchoolTab(t, s, screen.width, screen.height)
			id := authorSubmits(t, s, b, screen.name)
			vetterVets(t, s, b, id, screen.name)
			b.put(t, "#key", s.key("publisher"))
			b.press(t, "#vetted", "Vetted: 1")
			b.click(t, "#list button")
			b.sees(t, "#record-title", id)
			b.put(t, "#slug", "demo-ceiling-fan-01-a")
			b.press(t, "#publish", "does not stand where this needs it")
			b.put(t, "#slug", "demo-desk-370")
			b.press(t, "#publish", "Published as demo-desk-370")
			inMemoryOnly(t, b, s.key("publisher"))
			b.onlyRefusals(t)
			record := s.done(200, "anonymous", "GET", windingsAt+"/demo-desk-370", "")
			require.Equal(t, []any{id, "demo-p1", "demo-p2", "published"}, []any{record.At(t, "id"), record.At(t, "author"), record.At(t, "vetter"), record.At(t, "state")})
			require.Contains(t, record.Text(), `"gap_diameter_mm":60.50`, "digits stay as typed")
			require.Contains(t, record.Text(), `"poles":4`)
			for _, a := range record.List(t, "answers") {
				require.Equal(t, "counted again (demo)", a.(map[string]any)["reason"])
			}
		})
	}
}

// authorSubmits fills the sheet in with a slip, is told, corrects it, saves, and submits.
func authorSubmits(t *testing.T, s *school, b *tab, screen string) string {
	t.Helper()
	b.open(t, "/data-sheet")
	noOverflow(t, b)
	fillSheet(t, b)
	b.until(t, `[...document.querySelectorAll('.check')].map(e => e.textContent).join().includes("poles")`, "nothing is said of 6 poles with 4 groups")
	b.keepPicture(t, "keyed-"+screen+"-1-finding")
	b.put(t, `[name="scheme.poles"]`, "4")
	b.sees(t, "#general", "Findings: ")
	b.until(t, `document.querySelector('[data-check="scheme.poles"]').textContent === ""`)

	b.press(t, "#save", "Type your key first")
	require.Equal(t, "key", eval[string](t, b, "document.activeElement.id"))
	b.put(t, "#key", "sbk_nobody")
	b.press(t, "#save", "The key is not taken")
	b.sees(t, "#key-check", "The key is not taken")
	b.put(t, "#key", s.key("vetter"))
	b.press(t, "#save", "You may not do this with this key", "scope contribute")
	b.put(t, "#key", s.key("author"))
	b.put(t, `[name="core_as_measured.slots"]`, "many")
	b.press(t, "#save", "Look at these again", "Slots")
	b.put(t, `[name="core_as_measured.slots"]`, "9999")
	b.press(t, "#save", "Slots: ")
	require.Equal(t, "true", eval[string](t, b, `document.querySelector('[name="core_as_measured.slots"]').ariaInvalid`))
	b.put(t, `[name="core_as_measured.slots"]`, "24")
	b.put(t, `[name="licence"]`, "")
	b.press(t, "#save", "Saved as a draft")
	b.press(t, "#submit", "This cannot be taken as it is", "Licence: ")
	b.fill(t, "licence", "CC0-1.0")
	b.press(t, "#submit", "Submitted.")
	b.keepPicture(t, "keyed-"+screen+"-2-submitted")
	inMemoryOnly(t, b, s.key("author"))
	list := s.done(200, "author", "GET", windingsAt+"?state=submitted", "")
	require.Len(t, list.List(t, "items"), 1)
	return list.At(t, "items", 0, "id").(string)
}

// vetterVets has the author refused, an answer missing, and then the record vetted.
func vetterVets(t *testing.T, s *school, b *tab, id, screen string) {
	t.Helper()
	b.open(t, "/vetting-desk")
	require.Empty(t, eval[string](t, b, `document.getElementById("key").value`), "the key outlived its page")
	b.put(t, "#key", s.key("author with all scopes"))
	b.press(t, "#submitted", "Submitted: 1")
	b.click(t, "#list button")
	b.sees(t, "#record-title", id)
	b.sees(t, "#facts", "60.50", "66, 52", "concentric coils", "measured on the bench (demo)")
	b.sees(t, "#family", "names no family")
	b.press(t, "#vet", "Every finding needs its answer")
	acceptAll(t, b, "counted again (demo)")
	b.press(t, "#vet", "You may not do this with this key", "Another person than the author")
	b.keepPicture(t, "keyed-"+screen+"-3-desk")
	noOverflow(t, b)
	b.put(t, "#key", s.key("vetter"))
	b.press(t, "#vet", "Vetted. It may be published now.", "Nothing more is submitted")
}

// acceptAll answers every finding on the desk.
func acceptAll(t *testing.T, b *tab, reason string) {
	t.Helper()
	n := eval[int](t, b, `document.querySelectorAll("#checklist input").length`)
	require.Positive(t, n, "the sheet has something to answer")
	for i := range n {
		at := string(rune('0' + i))
		require.Less(t, i, 10)
		ids := eval[[]string](t, b, `(() => { const f = document.querySelectorAll("#checklist fieldset")[`+at+`]; return [f.querySelector("input").id, f.querySelector("textarea").id] })()`)
		b.click(t, "#"+ids[0])
		b.do(t, chromedp.SendKeys(css("#"+ids[1]), reason))
	}
}

// A record goes back with a reason, is corrected, and a stale page is told so. Beside it stand the others of its family.
func TestBrowserReturn(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openSchool(t)
	family := s.done(200, "anonymous", "GET", windingsAt+"?page_size=1", "").At(t, "items", 0, "family_id").(string)
	body := strings.Replace(sheetBody(66), "{", `{"remarks":"seen twice (demo)","family_id":"`+family+`",`, 1)
	id := s.bring(windingsAt, body, catalog.Submitted, "author", "vetter", "publisher")
	b := openSchoolTab(t, s, 1280, 900)
	b.open(t, "/vetting-desk")
	b.put(t, "#key", s.key("vetter"))
	b.press(t, "#submitted", "Submitted: 1")
	b.click(t, "#list button")
	b.sees(t, "#family", "This record", "(differs)", "Poles", "Turns, main", "Wire, main")
	others := s.done(200, "anonymous", "GET", windingsAt+"?family="+family, "")
	b.sees(t, "#family thead", others.At(t, "items", 0, "slug").(string))
	b.keepPicture(t, "keyed-desk-4-family")
	b.click(t, "#return")
	b.sees(t, "#reason-check", "Say what the author should look at")
	b.put(t, "#reason", "count the turns again (demo)")
	b.press(t, "#return", "Returned. It is a draft again.")

	b.open(t, "/data-sheet")
	b.put(t, "#key", s.key("author"))
	b.press(t, "#drafts", "Drafts: 1")
	b.press(t, "#list button", "It came back: count the turns again (demo)")
	require.Equal(t, "66 52", eval[string](t, b, `document.querySelector('[name="scheme.coil_sets.0.pattern.turns"]').value`))
	require.Equal(t, "60.50", eval[string](t, b, `document.querySelector('[name="core_as_measured.gap_diameter_mm"]').value`))
	b.put(t, `[name="scheme.coil_sets.0.pattern.turns"]`, "64 52")
	s.done(200, "author", "PUT", windingsAt+"/"+id, body, "If-Match: *")
	b.press(t, "#save", "changed since you read it")
	b.press(t, "#drafts", "Drafts: 1")
	b.press(t, "#list button", "The draft is open above")
	b.put(t, `[name="scheme.coil_sets.0.pattern.turns"]`, "64 52")
	b.press(t, "#submit", "Submitted.")
	b.onlyRefusals(t)
	now := s.done(200, "author", "GET", windingsAt+"/"+id, "")
	require.Equal(t, "submitted", now.At(t, "state"))
	require.Contains(t, now.Text(), `"turns":[64,52]`)
	require.Equal(t, "seen twice (demo)", now.At(t, "remarks"), "what the form does not ask stays")
}

func quoted(t *testing.T, text string) string {
	t.Helper()
	b, err := json.Marshal(text)
	require.NoError(t, err)
	return string(b)
}

// Hostile texts in a record stay texts on the desk.
func TestBrowserHostileDesk(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openSchool(t)
	texts := hostileTexts()
	b := openSchoolTab(t, s, 360, 740)
	b.open(t, "/vetting-desk")
	b.put(t, "#key", s.key("vetter"))
	for at := 0; at < len(texts); at += 12 {
		set := func(i, most int) string {
			text := texts[(at+i)%len(texts)]
			return quoted(t, text[:min(len(text), most)])
		}
		body := strings.Replace(sheetBody(66+at), `"demo":true`, `"demo":true,"remarks":`+set(0, 4000)+`,"wedge":`+set(1, 200)+`,"sleeving":`+set(2, 200)+`,"varnish":`+set(3, 200)+
			`,"direction":`+set(4, 200)+`,"viewing_end":`+set(5, 200)+`,"slot_1_mark":`+set(6, 200)+`,"thermal_cutout":`+set(7, 200)+`,"liner":{"material":`+set(8, 200)+`},"leads":[{"mark":`+
			set(9, 40)+`,"colour_seen":`+set(10, 40)+`,"goes_to":`+set(11, 100)+`}]`, 1)
		id := s.bring(windingsAt, body, catalog.Submitted, "author", "vetter", "publisher")
		b.press(t, "#submitted", "Submitted: ")
		require.True(t, eval[bool](t, b, `(() => { const all = [...document.querySelectorAll("#list button")].filter(e => e.textContent.includes("`+id+`")); all[0]?.click(); return all.length === 1 })()`))
		b.sees(t, "#record-title", id)
		said := eval[string](t, b, `document.querySelector("#facts").textContent`)
		for i := range 9 {
			require.Contains(t, said, texts[(at+i)%len(texts)])
		}
		require.Zero(t, eval[int](t, b, `document.querySelectorAll("main :is(script:not([src^='/assets/desk.js']), img, svg, iframe, object, embed, style, a, b, video, audio, form, base, meta), [onload], [onerror], [onfocus]").length + (window.ran ? 1 : 0)`))
		noOverflow(t, b)
	}
	b.quiet(t)
}

// With the keyboard alone a record is listed, opened, answered and vetted.
func TestBrowserDeskByKeyboard(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openSchool(t)
	id := s.bring(windingsAt, sheetBody(66), catalog.Submitted, "author", "vetter", "publisher")
	b := openSchoolTab(t, s, 1280, 900)
	b.open(t, "/vetting-desk")
	to := func(want string) {
		for range 40 {
			b.do(t, chromedp.KeyEvent(kb.Tab))
			require.True(t, eval[bool](t, b, focusSeen), "the focus is not seen on the way to %s", want)
			if eval[bool](t, b, "document.activeElement.matches(`"+want+"`)") {
				return
			}
		}
		t.Fatalf("the keyboard does not come to %s", want)
	}
	to("#key")
	b.do(t, chromedp.KeyEvent(s.key("vetter")))
	to("#submitted")
	b.do(t, chromedp.KeyEvent(kb.Enter))
	b.sees(t, "#outcome", "Submitted: 1")
	to("#list button")
	b.do(t, chromedp.KeyEvent(kb.Enter))
	b.sees(t, "#record-title", id)
	for range eval[int](t, b, `document.querySelectorAll("#checklist input").length`) {
		to("#checklist input")
		b.do(t, chromedp.KeyEvent(" "))
		to("#checklist textarea")
		b.do(t, chromedp.KeyEvent("counted (demo)"))
	}
	to("#vet")
	b.do(t, chromedp.KeyEvent(kb.Enter))
	b.sees(t, "#outcome", "Vetted.")
	require.Equal(t, "outcome", eval[string](t, b, "document.activeElement.id"))
	require.Equal(t, "vetted", s.done(200, "vetter", "GET", windingsAt+"/"+id, "").At(t, "state"))
	b.quiet(t)
}

// loseAnswer lets the next new draft arrive and something else come of it: a statement of the script. The check of what is typed goes on unharmed.
func (b *tab) loseAnswer(t testing.TB, instead string) {
	t.Helper()
	eval[any](t, b, `(() => { const real = window.fetch; window.fetch = async (path, o) => { const got = await real(path, o); if (o?.method !== "POST" || path !== "/v1/windings") return got; window.fetch = real; `+instead+`; }; return 0 })()`)
}

// TestBrowserLateSheetCheck: what a save was refused for stays at its field, though a check that was under way answers
// after it.
func TestBrowserLateSheetCheck(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openSchool(t)
	b := openSchoolTab(t, s, 360, 740)
	b.open(t, "/data-sheet")
	b.do(t, chromedp.SendKeys(css("#key"), s.key("author")))
	b.until(t, "window.resting()")
	// The check is held until the save has its answer.
	eval[any](t, b, `(() => {
		const ask = window.fetch;
		window.fetch = async (at, ...rest) => {
			if (!at.endsWith("/winding-checks")) return ask(at, ...rest);
			window.held = true;
			await new Promise((go) => window.release = go);
			return ask(at, ...rest);
		};
		for (const [name, text] of [["family_id", "demo-nosuch"], ["nameplate.power_w", "90"]]) {
			const e = document.querySelector(`+"`[name=\"${name}\"]`"+`);
			e.value = text;
			e.dispatchEvent(new Event("input", { bubbles: true }));
		}
		return 0;
	})()`)
	b.until(t, "window.held === true")
	b.do(t, chromedp.Click(css("#save")))
	b.sees(t, `.field[data-field="family_id"] .check`, "demo-nosuch")
	eval[any](t, b, `(() => { window.release(); return 0 })()`)
	b.until(t, "window.resting()")
	require.Contains(t, eval[string](t, b, `document.querySelector('.field[data-field="family_id"] .check').textContent`), "demo-nosuch")
	b.onlyRefusals(t)
}

// A request whose answer is lost is repeated under its once-key, so that one draft comes of it; without a line the page says so.
func TestBrowserLostAnswer(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openSchool(t)
	b := openSchoolTab(t, s, 1280, 900)
	b.open(t, "/data-sheet")
	b.fill(t, "source", "measured (demo)")
	b.put(t, "#key", s.key("author"))
	b.sees(t, "#general", "No finding") // the check that runs after typing moves the page
	b.loseAnswer(t, `throw new TypeError("lost")`)
	b.press(t, "#save", "No answer from the server")
	require.Len(t, s.done(200, "author", "GET", windingsAt+"?state=draft", "").List(t, "items"), 1)
	b.press(t, "#save", "Saved as a draft")
	require.Len(t, s.done(200, "author", "GET", windingsAt+"?state=draft", "").List(t, "items"), 1)

	// An answer that the outcome is not known, from the service or from something in between, is no other.
	b.open(t, "/data-sheet")
	b.fill(t, "source", "measured again (demo)")
	b.put(t, "#key", s.key("author"))
	b.sees(t, "#general", "No finding") // the check that runs after typing moves the page
	b.loseAnswer(t, `return new Response("{}", { status: 503 })`)
	b.press(t, "#save", "The server could not do it")
	b.press(t, "#save", "Saved as a draft")
	require.Len(t, s.done(200, "author", "GET", windingsAt+"?state=draft", "").List(t, "items"), 2)
	b.press(t, "#drafts", "Drafts: 2")
	b.press(t, "#list li:nth-child(1) button", "The draft is open above")
	b.fill(t, "licence", "CC0-1.0")
	b.press(t, "#save", "Saved as a draft")
	require.Equal(t, "CC0-1.0", s.done(200, "author", "GET", windingsAt+"?state=draft", "").At(t, "items", 0, "licence"))
	b.quiet(t)
}

// With a record open, an answer refused and a form full of faults, axe-core finds nothing serious.
func TestBrowserKeyedAxe(t *testing.T) {
	t.Parallel()
	library := axeLibrary(t)
	s := openSchool(t)
	family := s.done(200, "anonymous", "GET", windingsAt+"?page_size=1", "").At(t, "items", 0, "family_id").(string)
	s.bring(windingsAt, strings.Replace(sheetBody(66), "{", `{"family_id":"`+family+`",`, 1), catalog.Submitted, "author", "vetter", "publisher")
	for _, screen := range screens {
		t.Run(screen.name, func(t *testing.T) {
			b := openSchoolTab(t, s, screen.width, screen.height)
			b.open(t, "/vetting-desk")
			b.press(t, "#submitted", "Type your key first")
			axeSees(t, b, library, "desk without key")
			b.put(t, "#key", s.key("vetter"))
			b.press(t, "#submitted", "Submitted: 1")
			b.click(t, "#list button")
			b.sees(t, "#family", "(differs)")
			b.press(t, "#vet", "Every finding needs its answer")
			axeSees(t, b, library, "desk with a record")
			b.open(t, "/data-sheet?core_as_measured.slots=many&scheme.poles=x")
			b.put(t, "#key", s.key("author"))
			b.press(t, "#save", "Look at these again")
			axeSees(t, b, library, "data sheet with faults")
		})
	}
}

// Without a script the sheet is checked by its plain form, and nothing offers to store it.
func TestBrowserSheetWithoutScript(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openSchool(t)
	b := openSchoolTab(t, s, 360, 740)
	_, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	b.open(t, "/data-sheet?"+sheetTyped)
	b.follow(t, chromedp.Click(css(`#sheet button[type="submit"]`)))
	said := run(t, b, chromedp.Text(css("main")))
	for _, text := range []string{"What the check says", "The number of poles may be wrong", "Saving needs JavaScript"} {
		require.Contains(t, said, text)
	}
	require.NotContains(t, said, "Save as draft")
	require.Empty(t, b.heard())
	require.Empty(t, s.done(200, "author", "GET", windingsAt+"?state=draft", "").List(t, "items"))
}

// The script reads a typed number as the server does, and keeps every digit of what it reads and writes.
func TestBrowserNumbers(t *testing.T) {
	t.Parallel()
	browserPath(t)
	b := openSchoolTab(t, openSchool(t), 1280, 900)
	b.open(t, "/data-sheet")
	call := func(body string) string {
		return run(t, b, chromedp.Evaluate[string](`import("/assets/keyed.js").then(m => { `+body+` })`, chromedp.EvalAwaitPromise))
	}
	for _, typed := range []string{"118", "118.2", "118,2", "+118", ".5", "5.", "05", "0", "00", "0.50", "-3", "−3", "-.5", "118.20", "12345678901234567890.10", "", ".", "-", "abc", "1 2", "1,234,5", "1.2.3", "1,2.3", "12mm", "0x10", "NaN", "--1", "½"} {
		want, ok := httpapi.TypedNumber(typed)
		if !ok {
			want = "none"
		}
		require.Equal(t, want, call(`const n = m.number(`+quoted(t, typed)+`); return n === undefined ? "none" : m.bare(n)`), typed)
	}
	for _, text := range []string{
		`{"a":60.50,"b":[1,-2.0,1e-3],"c":"60.50, \"7\" \\","d":{"value":4.10,"unit":"mm"},"e":true,"f":null}`, `"\\u00001"`, `["",0,-0.0,"0"]`, `"9\\\"9"`,
	} {
		require.Equal(t, text, call(`return m.write(m.read(`+quoted(t, text)+`))`))
	}
}
