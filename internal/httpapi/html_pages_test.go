package httpapi_test

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"statorbook/internal/httpapi"

	"github.com/stretchr/testify/require"
)

const asBrowser = "Accept: text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"

// page asks as a browser does and asserts what holds for every page: its policy, no cookie, one heading, a language.
func page(t testing.TB, s shop, target string, status int) httpapi.Answer {
	t.Helper()
	a := s.Send("GET", target, "", asBrowser)
	require.Equal(t, status, a.StatusCode, "%s: %s", target, a.Text())
	require.Equal(t, "text/html; charset=utf-8", a.Header.Get("Content-Type"), target)
	policy := a.Header.Get("Content-Security-Policy")
	for _, part := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"} {
		require.Contains(t, policy, part, target)
	}
	require.NotContains(t, policy, "unsafe", target)
	require.Equal(t, "nosniff", a.Header.Get("X-Content-Type-Options"))
	require.Empty(t, a.Header.Get("Set-Cookie"))
	require.Equal(t, 1, strings.Count(a.Text(), "<h1>"), target)
	require.Contains(t, a.Text(), `<html lang="en">`)
	require.NotRegexp(t, `(?i)\son[a-z]+=|javascript:|\sstyle=|<script>`, a.Text(), target)
	return a
}

// readings is the search of a demo core by what a calliper shows.
func readings(s shop) string { return readingsOf(s, 3) }

// readingsOf is the same for the first stack of any family.
func readingsOf(s shop, family int) string {
	f := s.demo.Families[family]
	v := url.Values{
		"with": {"mm_vernier"}, "rotor_position": {string(f.Core.RotorPosition)}, "phases": {fmt.Sprint(f.Core.Phases)}, "slots": {fmt.Sprint(f.Core.Slots)},
		"gap_diameter_mm": {f.Core.GapDiameter.Text}, "stack_length_mm": {fmt.Sprint(f.Cores[0].StackLength.Value)}, "tooth_width_mm": {fmt.Sprint(f.Core.ToothWidth.Value)},
		"supply.voltage_v": {"230"}, "supply.frequency_hz": {"50"},
	}
	if v["gap_diameter_mm"][0] == "" {
		v.Set("gap_diameter_mm", fmt.Sprint(f.Core.GapDiameter.Value))
	}
	return v.Encode()
}

// pagesShown is an address of every page route, with the answers of its form.
func pagesShown(s shop) map[string]string {
	q, slug := readings(s), s.demo.Windings[0].Slug
	return map[string]string{
		"/": "/", "/find": "/find?" + q, "/find/winding": "/find/winding?" + q + "&proposal=1", "/find/sheet": "/find/sheet?" + q + "&proposal=1",
		"/windings/:id": "/windings/" + slug, "/windings/:id/sheet": "/windings/" + slug + "/sheet",
		"/wires": "/wires?system=swg&size=34", "/wires/replace": "/wires/replace?from.system=swg&from.size=22&to.max_strands=2&to.mixed=yes&stock=swg+24%0D%0Aawg+24",
		"/data-sheet": "/data-sheet?" + sheetTyped, "/vetting-desk": "/vetting-desk",
		"/wires/scrap": "/wires/scrap?readings.0.diameter_mm=0.36&surface=over_enamel",
	}
}

// Every page route answers, within its weight: no page is above 150 KB, the first load with style, script and icon included.
func TestEveryPageAnswers(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	shown := pagesShown(s)
	link := regexp.MustCompile(`(?:href|src)="(/assets/[^"]+)"`)
	for _, route := range httpapi.PageRoutes() {
		if route == "/assets/:name" || route == "/find/check" {
			continue // asked for below
		}
		target, known := shown[route]
		require.True(t, known, "%s: a page without a test; give it an address in pagesShown", route)
		a := page(t, s, target, http.StatusOK)
		weight := len(a.Text())
		assets := link.FindAllStringSubmatch(a.Text(), -1)
		require.GreaterOrEqual(t, len(assets), 3, target)
		for _, m := range assets {
			file := s.Send("GET", m[1], "", "Accept: */*")
			require.Equal(t, http.StatusOK, file.StatusCode, m[1])
			require.Contains(t, file.Header.Get("Cache-Control"), "immutable", m[1])
			weight += len(file.Text())
		}
		t.Logf("%s: %d bytes, %d with style, script and icon", route, len(a.Text()), weight)
		require.Less(t, weight, 150_000, "%s", target)
		held := s.Send("GET", target, "", asBrowser, "If-None-Match: "+a.Header.Get("ETag"))
		require.Equal(t, http.StatusNotModified, held.StatusCode, target)
	}
	require.Equal(t, http.StatusNotFound, s.Send("GET", "/assets/no-such.css", "", "Accept: text/css").StatusCode)
	require.NotContains(t, s.Send("GET", "/assets/bench.css?v=old", "", "Accept: text/css").Header.Get("Cache-Control"), "immutable")
}

// The check while typing says what the domain says, by field.
func TestFindCheck(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	a := s.Send("GET", "/find/check?rotor_position=inside&gap_diameter_mm=90&back_diameter_mm=60&slots=x", "", asBrowser)
	require.Contains(t, a.Text(), `<li data-field="slots">`)
	a = s.Send("GET", "/find/check?rotor_position=inside&gap_diameter_mm=90&back_diameter_mm=60", "", asBrowser)
	require.Contains(t, a.Text(), `<li data-field="gap_diameter_mm">The rotor turns inside, so the gap diameter must be below the back diameter: 90 against 60 mm; see whether the two stand in each other&#39;s place, or the rotor turns on the other side.</li>`)
}

// One address, two readers: JSON for programs, the page for people.
func TestIndexForBoth(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, accept := range []string{"", "Accept: */*", "Accept: application/json"} {
		a := s.Ask(t, "GET", "/", "", accept)
		require.Equal(t, "application/json", a.Header.Get("Content-Type"), accept)
	}
	require.Contains(t, page(t, s, "/", 200).Text(), `action="/find"`)
}

// The page of candidates says the same as the operation, none of these included.
func TestCandidatesSayWhatTheMatchSays(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	text := page(t, s, "/find?"+readings(s), 200).Text()
	require.Contains(t, text, "None of these")
	require.Contains(t, text, "What to measure next")
	require.Contains(t, text, "demo, invented")
	require.Contains(t, text, s.demo.Families[3].Slug)
	body := fmt.Sprintf(`{"measurements":{"rotor_position":"outside","phases":1,"slots":%d,"gap_diameter_mm":{"value":%v,"resolution":0.05},"stack_length_mm":{"value":%v,"resolution":0.05},"tooth_width_mm":{"value":%v,"resolution":0.05}},"supply":{"voltage_v":230,"frequency_hz":50}}`,
		s.demo.Families[3].Core.Slots, s.demo.Families[3].Core.GapDiameter.Value, s.demo.Families[3].Cores[0].StackLength.Value, s.demo.Families[3].Core.ToothWidth.Value)
	a := s.Ask(t, "POST", "/v1/matches", body)
	require.Equal(t, 200, a.StatusCode, a.Text())
	for _, next := range a.List(t, "next") {
		require.Contains(t, text, "#f-"+next.(map[string]any)["field"].(string))
	}
	none := a.Number(t, "none", "winding")
	require.Contains(t, text, httpapi.Percent(none))
}

// What to measure next leads to its question, in a part of the form that is open.
func TestNextLeadsToItsQuestion(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	text := page(t, s, "/find?slots=14&rotor_position=outside", 200).Text()
	next := regexp.MustCompile(`edit=([a-z0-9_.]+)#f-([a-z0-9_.]+)"`).FindAllStringSubmatch(text, -1)
	require.NotEmpty(t, next)
	for _, m := range append(next, []string{"", "second_ring.tooth_width_mm", "second_ring.tooth_width_mm"}) {
		require.Equal(t, m[1], m[2])
		form := page(t, s, "/find?slots=14&rotor_position=outside&edit="+m[1], 200).Text()
		before, _, found := strings.Cut(form, `id="f-`+m[1]+`"`)
		require.True(t, found, "the form does not ask for %s", m[1])
		part := before[strings.LastIndex(before, "<details"):]
		require.Contains(t, part[:strings.Index(part, ">")], " open", m[1])
	}
}

// Nothing given, or something to change, leads back to the form with all that was typed.
func TestFindGoesBackToTheForm(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, target := range []string{"/find", "/find?slots=&gap_diameter_mm=", "/find?with=inch", "/find?slots=14&edit=1"} {
		require.Contains(t, page(t, s, target, 200).Text(), `<form action="/find"`, target)
	}
	text := page(t, s, "/find?slots=14&gap_diameter_mm=abc", 422).Text()
	require.Contains(t, text, `aria-invalid="true"`)
	require.Contains(t, text, "Write one number, such as 118.2")
	require.Contains(t, text, `value="abc"`)
	require.Contains(t, text, `value="14"`)
	// What the domain refuses as a whole is told at its field too.
	text = page(t, s, "/find?slots=360&gap_diameter_mm=10&tooth_width_mm=900", 422).Text()
	require.Contains(t, text, `<a href="#tooth_width_mm">Tooth width</a>`)
}

// A failure is a page that names the field and the remedy.
func TestErrorPages(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for target, want := range map[string]struct {
		status int
		says   []string
	}{
		"/no/such/page":            {404, []string{"There is nothing at this address", "What to do"}},
		"/windings/no-such-record": {404, []string{"There is no winding record no-such-record", "What to do"}},
		"/windings/A%00B":          {404, []string{"What to do"}},
		"/find?sltos=14":           {400, []string{"sltos", "Did you mean slots?"}},
		"/find?slots=1&slots=2":    {400, []string{"Send slots once"}},
		"/find?slots=%zz":          {400, []string{"Percent-encode"}},
		"/find/winding?proposal=9": {422, []string{"proposal", "from 1 to 3"}},
		"/wires?sistem=swg":        {400, []string{"sistem", "Did you mean system?"}},
	} {
		a := page(t, s, target, want.status)
		for _, text := range want.says {
			require.Contains(t, a.Text(), text, target)
		}
		require.Contains(t, a.Text(), a.Header.Get("X-Request-Id"), target)
		require.Equal(t, "no-store", a.Header.Get("Cache-Control"), target)
	}
	require.Equal(t, "application/problem+json", s.Send("GET", "/no/such", "").Header.Get("Content-Type"))
	require.Equal(t, 406, s.Send("GET", "/wires", "", "Accept: application/json").StatusCode)
	require.Contains(t, s.Send("POST", "/find", "slots=14", asBrowser).Text(), "<h1>This address does not take that method</h1>")
	empty := shop{httpapi.NewHost(t, httpapi.Config{Families: s.store, Windings: s.store}), s.store, s.demo}
	require.Contains(t, page(t, empty, "/find?slots=14", 503).Text(), "still being loaded")
	page(t, empty, "/", 200)
}

// What a messenger hangs on an address is told and does no harm. Programs are refused it.
func TestStrangersInTheAddress(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, path := range []string{"/", "/find?slots=14", "/wires?system=swg", "/data-sheet", "/vetting-desk", "/docs", "/problems", "/windings/demo-air-cooler-01-a"} {
		with := "&"
		if !strings.Contains(path, "?") {
			with = "?"
		}
		plain := page(t, s, path, 200).Text()
		a := page(t, s, path+with+"sent_by=%3Cb%3E&quux", 200).Text()
		require.Equal(t, plain, regexp.MustCompile(`<p class="small">The address holds what this page does not read, and it was left out: <code>sent_by</code>, <code>quux</code></p>\n`).ReplaceAllString(a, ""), path)
		require.NotEqual(t, plain, a, path)
	}
	require.Equal(t, 400, s.Send("GET", "/v1/wires?quux=1", "").StatusCode)
}

// Every parameter of every form, with hostile text: a page, never a fault of ours, never markup.
func TestHostileForms(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	hostile := []string{`"><script>x()</script>`, `' onfocus=x() autofocus='`, "</textarea><img src=x onerror=x()>", "{{.}}", "1e309", "-0", strings.Repeat("9", 400), "½", "\u202e1", "../../etc", "%s%d%n"}
	for path, params := range httpapi.InputsOfForms() {
		for i, name := range params {
			for k := range whenShort(1, 3) {
				text := hostile[(i+k*4)%len(hostile)]
				target := path + "?" + url.Values{name: {text}}.Encode()
				a := s.Send("GET", target, "", asBrowser)
				require.Less(t, a.StatusCode, 500, "%s: %s", target, a.Text())
				require.NotContains(t, a.Text(), "<script>x", target)
				require.NotContains(t, a.Text(), "<img src=x", target)
				require.NotContains(t, a.Text(), "' onfocus=x() autofocus='\"", target)
			}
		}
	}
}

// A record is shown with all that it holds, cautions before anything that could be done with it.
func TestRecordPage(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for n := 0; n < len(s.demo.Windings); n += whenShort(6, 1) {
		w := s.demo.Windings[n]
		for _, target := range []string{"/windings/" + w.Slug, "/windings/" + w.ID + "/sheet"} {
			text := page(t, s, target, 200).Text()
			main := text[strings.Index(text, "<main"):]
			require.Less(t, strings.Index(main, `class="cautions`), strings.Index(main, `class="set"`), target)
			require.Contains(t, main, "Danger", target)
			require.Contains(t, main, "demo, invented", target)
			require.GreaterOrEqual(t, strings.Count(main, "data:image/svg&#43;xml;base64,"), 2, "%s: drawings", target)
			require.Contains(t, main, "Insulation resistance at 500 V DC", target)
			require.Contains(t, main, "Slot liner", target)
			require.NotContains(t, main, "What could not be worked out", target)
		}
	}
}

// A proposal's page shows the turns, ranges, wire and probability that the operation gives.
func TestProposalSaysWhatTheMatchSays(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, family := range []int{3, 20, 40} {
		f := s.demo.Families[family].Core
		a := s.Ask(t, "POST", "/v1/matches", fmt.Sprintf(`{"measurements":{"rotor_position":"%s","phases":%d,"slots":%d,"gap_diameter_mm":{"value":%s,"resolution":0.05},"stack_length_mm":{"value":%v,"resolution":0.05},"tooth_width_mm":{"value":%v,"resolution":0.05}},"supply":{"voltage_v":230,"frequency_hz":50}}`,
			f.RotorPosition, f.Phases, f.Slots, f.GapDiameter.Text, s.demo.Families[family].Cores[0].StackLength.Value, f.ToothWidth.Value))
		require.Equal(t, 200, a.StatusCode, a.Text())
		for n := range a.List(t, "proposals") {
			text := page(t, s, fmt.Sprintf("/find/winding?%s&proposal=%d", readingsOf(s, family), n+1), 200).Text()
			require.Contains(t, text, httpapi.Percent(a.Number(t, "proposals", n, "probability")))
			for k := range a.List(t, "proposals", n, "coil_sets") {
				turns := func(p string) float64 {
					return a.Number(t, "proposals", n, "coil_sets", k, "series_turns", p)
				}
				require.Contains(t, text, "<dd>"+httpapi.Turns(turns("p50"))+" ")
				require.Contains(t, text, "("+httpapi.TurnSpread(turns("p05"), turns("p95"))+")")
			}
		}
	}
}

// A proposal shows its basis, its ranges and its drawings, and says when the catalogue has moved on.
func TestProposalPage(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	q := readings(s)
	for n := 1; n <= 2; n++ {
		text := page(t, s, fmt.Sprintf("/find/winding?%s&proposal=%d&revision=1", q, n), 200).Text()
		require.Contains(t, text, "nine times in ten")
		require.Contains(t, text, "data:image/svg&#43;xml;base64,")
		require.Contains(t, text, "Not measured, but taken from")
		require.Contains(t, text, "The catalogue has moved on")
	}
	require.Contains(t, page(t, s, "/find/sheet?"+q, 200).Text(), "Readings of the day")
	// With next to nothing known the page still answers, or says what to measure.
	for _, few := range []string{"slots=14", "supply.voltage_v=230", "slots=24&rotor_position=inside&gap_diameter_mm=700&back_diameter_mm=130", "phases=3&slots=36&stack_length_mm=80"} {
		for _, at := range []string{"/find?", "/find/winding?", "/find/sheet?"} {
			page(t, s, at+few, 200)
		}
	}
}

// Every address that a page leads to answers.
func TestEveryLinkAnswers(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	link := regexp.MustCompile(`(?:href|src|action)="(/[^"]*)"`)
	asked := map[string]bool{}
	for _, target := range pagesShown(s) {
		for _, m := range link.FindAllStringSubmatch(page(t, s, target, 200).Text(), -1) {
			to, _, _ := strings.Cut(html.UnescapeString(m[1]), "#")
			if !asked[to] && to != "/docs" { // the API reference has tests of its own
				asked[to] = true
				require.Less(t, s.Send("GET", to, "", asBrowser).StatusCode, 400, "%s leads to %s", target, to)
			}
		}
	}
	require.Greater(t, len(asked), 20)
}
