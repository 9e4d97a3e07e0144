package httpapi_test

import (
	"testing"

	"statorbook/internal/catalog"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// More records than one page holds are all reached, and the keyboard stays where the new ones begin.
func TestBrowserMoreRecords(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openSchool(t)
	for n := range 52 {
		s.bring(windingsAt, sheetBody(66+n), catalog.Submitted, "author", "vetter", "publisher")
		s.bring(windingsAt, sheetBody(66+n), catalog.Draft, "author", "vetter", "publisher")
	}
	b := openSchoolTab(t, s, 360, 740)
	for _, page := range []struct{ at, key, button, says string }{
		{"/vetting-desk", "vetter", "#submitted", "Submitted: 50"},
		{"/data-sheet", "author", "#drafts", "Drafts: 50"},
	} {
		b.open(t, page.at)
		b.put(t, "#key", s.key(page.key))
		b.press(t, page.button, page.says, "The first 50 are shown")
		require.Equal(t, 51, eval[int](t, b, `document.querySelectorAll("#list button").length`))
		b.click(t, "#list li:last-child button")
		b.until(t, `document.querySelectorAll("#list button").length === 52`)
		require.Equal(t, 52, eval[int](t, b, `new Set([...document.querySelectorAll("#list button")].map(e => e.textContent)).size`), "each once")
		require.True(t, eval[bool](t, b, `document.activeElement === document.querySelectorAll("#list button")[50]`))
		noOverflow(t, b)
		b.press(t, page.button, page.says)
		require.Equal(t, 51, eval[int](t, b, `document.querySelectorAll("#list button").length`), "listed anew, not twice")
	}
	b.quiet(t)
}

// What a record came back for and is gone may be called corrected; what still stands needs its reason.
func TestBrowserCorrected(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openSchool(t)
	id := s.bring(windingsAt, sheetBody(66), catalog.Submitted, "author", "vetter", "publisher")
	at := windingsAt + "/" + id
	b := openSchoolTab(t, s, 1280, 900)
	b.open(t, "/vetting-desk")
	b.put(t, "#key", s.key("vetter"))
	show := func(gone int) {
		b.press(t, "#submitted", "Submitted: 1")
		eval[any](t, b, `(document.getElementById("record-title").textContent = "", 0)`) // what stands there is of before
		b.click(t, "#list button")
		b.sees(t, "#record-title", id)
		require.Equal(t, gone, eval[int](t, b, `document.querySelectorAll("#checklist .gone").length`))
	}
	show(0)
	s.done(200, "vetter", "POST", at+"/return", `{"reason":"look at the voltage (demo)"}`)
	s.done(200, "author", "POST", at+"/submission", "")
	show(0) // it still stands
	s.done(200, "author", "PUT", at, lowVoltage(), "If-Match: *")
	s.done(200, "author", "POST", at+"/submission", "")
	show(1)
	b.sees(t, "#checklist .gone", "It came back for this", "flux density", "Corrected")
	b.click(t, "#checklist .gone input")
	b.click(t, "#checklist fieldset input")
	b.do(t, chromedp.SendKeys(css("#checklist fieldset textarea"), "a rare mains (demo)"))
	b.keepPicture(t, "keyed-desk-5-corrected")
	b.press(t, "#vet", "Vetted. It may be published now.")
	// Whoever publishes reads what the vetter said, and is asked nothing.
	b.put(t, "#key", s.key("publisher"))
	b.press(t, "#vetted", "Vetted: 1")
	b.click(t, "#list button")
	b.sees(t, "#checklist", "Accepted by demo-p2: a rare mains (demo)", "flux density", "Looked at again and found corrected by demo-p2")
	require.Zero(t, eval[int](t, b, `document.querySelectorAll("#checklist input, #checklist textarea").length`))
	b.keepPicture(t, "keyed-desk-6-answered")
	b.quiet(t)
	answers := s.done(200, "publisher", "POST", at+"/publication", "").List(t, "answers")
	require.Len(t, answers, 2)
	require.Equal(t, []any{"accepted", "corrected"}, []any{answers[0].(map[string]any)["answer"], answers[1].(map[string]any)["answer"]})
	require.Equal(t, "gap_density_above_band", answers[1].(map[string]any)["code"])
}

// A family is named as people know it; one that there is none of is said so at the question.
func TestBrowserFamilyByName(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s := openSchool(t)
	b := openSchoolTab(t, s, 360, 740)
	b.open(t, "/data-sheet")
	fillSheet(t, b)
	b.put(t, "#key", s.key("author"))
	at := `[data-check="family_id"]`
	for typed, says := range map[string]string{"demo-pump-999": "No published family is called demo-pump-999", "demo pump": "Write the readable name", "..": "Write the readable name"} {
		b.put(t, `[name="family_id"]`, typed)
		b.press(t, "#save", "Look at these again", "Family")
		b.sees(t, at, says)
	}
	require.Equal(t, "true", eval[string](t, b, `document.querySelector('[name="family_id"]').ariaInvalid`))
	b.put(t, `[name="family_id"]`, "Demo-Air-Cooler-01")
	b.press(t, "#save", "Saved as a draft")
	family := s.done(200, "anonymous", "GET", familiesAt+"/demo-air-cooler-01", "").At(t, "id")
	drafts := s.done(200, "author", "GET", windingsAt+"?state=draft", "")
	require.Len(t, drafts.List(t, "items"), 1, "what was refused was not stored")
	require.Equal(t, family, drafts.At(t, "items", 0, "family_id"))
	require.Equal(t, family, eval[any](t, b, `document.querySelector('[name="family_id"]').value`), "the id stands there now, and is saved as it is")
	b.press(t, "#save", "Saved as a draft")
	b.onlyRefusals(t)
}
