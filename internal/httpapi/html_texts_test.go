package httpapi

import (
	"encoding/xml"
	"io"
	"io/fs"
	"path"
	"regexp"
	"strings"
	"testing"

	"statorbook/internal/bundle"
	"statorbook/internal/web"
	"statorbook/internal/winding"

	"github.com/stretchr/testify/require"
)

var (
	textCall  = regexp.MustCompile(`\b(?:t|prose) "([^"]+)"`)
	proseCall = regexp.MustCompile(`\bprose "([^"]+)"`)
	commands  = regexp.MustCompile(`(?s)<pre.*?</pre>`) // what is typed and printed is the same in every language
	wordCall  = regexp.MustCompile(`\bword "([^"]+)"`)
	plainText = regexp.MustCompile(`>[^<>{}]*[A-Za-z]{2,}[^<>{}]*<`)
)

func templatesOf(t *testing.T) map[string]string {
	t.Helper()
	return filesOf(t, "templates/*.html")
}

func filesOf(t *testing.T, pattern string) map[string]string {
	t.Helper()
	names, err := fs.Glob(web.Files, pattern)
	require.NoError(t, err)
	all := map[string]string{}
	for _, name := range names {
		body, err := fs.ReadFile(web.Files, name)
		require.NoError(t, err)
		all[path.Base(name)] = string(body)
	}
	require.NotEmpty(t, all)
	return all
}

// Every text that a template names is in the catalogue, and no template says a word of its own.
func TestTextCatalogue(t *testing.T) {
	t.Parallel()
	p, err := loadPages()
	require.NoError(t, err)
	for name, body := range templatesOf(t) {
		for _, m := range textCall.FindAllStringSubmatch(body, -1) {
			require.Contains(t, p.texts, m[1], name)
		}
		for _, m := range wordCall.FindAllStringSubmatch(body, -1) {
			found := false
			for key := range p.texts {
				found = found || strings.HasPrefix(key, m[1]+".")
			}
			require.True(t, found, "%s: no text begins with %s.", name, m[1])
		}
		for _, m := range proseCall.FindAllStringSubmatch(body, -1) {
			inlineOnly(t, m[1], p.texts[m[1]])
		}
		for _, said := range plainText.FindAllString(commands.ReplaceAllString(body, ""), -1) {
			if said != ">/docs<" {
				t.Errorf("%s says %q, which belongs into the text catalogue", name, said)
			}
		}
	}
}

// inlineOnly asserts that a text with markup holds closed inline elements and links into the site.
func inlineOnly(t *testing.T, key, text string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader("<p>" + text + "</p>"))
	for {
		token, err := d.Token()
		if err == io.EOF {
			return
		}
		require.NoError(t, err, key)
		switch token := token.(type) {
		case xml.StartElement:
			require.Contains(t, []string{"p", "a", "code", "strong"}, token.Name.Local, key)
			for _, a := range token.Attr {
				require.Equal(t, "href", a.Name.Local, key)
				require.Regexp(t, `^(/|#|%s$)`, a.Value, key)
			}
		case xml.EndElement, xml.CharData:
		default:
			t.Errorf("%s holds a %T", key, token)
		}
	}
}

// Every question of every form has a label, every word to choose and every danger a text.
func TestTextsOfForms(t *testing.T) {
	t.Parallel()
	p, err := loadPages()
	require.NoError(t, err)
	for _, inputs := range [][]input{findInputs, wireInputs, replaceInputs, scrapInputs} {
		for _, in := range inputs {
			require.Contains(t, p.texts, "field."+rowNumber.ReplaceAllString(in.Name, "."))
			for _, word := range in.Options {
				require.Contains(t, p.texts, "choice."+word, in.Name)
			}
		}
	}
	for _, i := range instruments {
		require.Contains(t, p.texts, "instrument."+i.Name)
	}
	for _, c := range winding.StandardCautions() {
		if c.Severity == winding.CautionDanger {
			require.Contains(t, p.texts, "caution."+c.ID)
		}
	}
	for _, s := range findSections {
		require.Contains(t, p.texts, "find."+s.ID)
		require.Contains(t, p.texts, "find."+s.ID+"_lead")
	}
}

// The scale of words is that of the IPCC's guidance note (2010), table 1; bounds fall to the surer word.
func TestLikelihood(t *testing.T) {
	t.Parallel()
	for p, want := range map[float64]string{
		1: "virtually_certain", 0.99: "virtually_certain", 0.95: "very_likely", 0.9: "very_likely", 0.7: "likely", 0.66: "likely", 0.5: "even", 0.33: "even",
		0.2: "unlikely", 0.05: "very_unlikely", 0.005: "exceptionally_unlikely", 0: "exceptionally_unlikely",
	} {
		require.Equal(t, want, likelihood(p), "%g", p)
	}
	for p, want := range map[float64]string{0: "< 0.1 %", 0.0004: "< 0.1 %", 0.004: "0.4 %", 0.28: "28 %", 0.994: "99.4 %", 0.99995: "> 99.9 %", 1: "> 99.9 %"} {
		require.Equal(t, want, percent(p), "%g", p)
	}
	for bits, want := range map[float64]string{2: "whole", 1: "whole", 0.7: "much", 0.2: "some", 0.05: "little"} {
		require.Equal(t, want, telling(bits))
	}
}

func TestNumbersForPeople(t *testing.T) {
	t.Parallel()
	var none *float64
	v := 0.123456
	for want, given := range map[string]any{"–": none, "0.1235": v, "0.1235 ": &v, "12350": 12345.6, "4.50": bundle.M{}, "0": 0.0, "14": 14, "1e+06": 1e6} {
		if m, ok := given.(bundle.M); ok {
			m.Given, m.Value, m.Text = true, 4.5, "4.50"
			given = m
		}
		require.Equal(t, strings.TrimSpace(want), num(given))
	}
	require.Equal(t, "1 – 3", spread(bundle.Range{P05: 1, P50: 2, P95: 3}))
	require.Equal(t, "2", spread(bundle.Range{P05: 2, P50: 2, P95: 2}))
	require.Equal(t, "+1.5", signed(1.5))
	require.Equal(t, "−1.5", signed(-1.5))
}

// People read labels where programs read names.
func TestPeopleReadLabels(t *testing.T) {
	t.Parallel()
	p, err := loadPages()
	require.NoError(t, err)
	for said, want := range map[string]string{
		"Gap_diameter_mm is 1215; usual are 15 to 350.":       "Gap diameter is 1215; usual are 15 to 350.",
		"Give second_ring.slots or core.slot_depth_mm.":       "Give slots of the second ring or slot depth.",
		"At 0.75 mm and v1.2, no_such_name stays. See e.g. 3": "At 0.75 mm and v1.2, no_such_name stays. See e.g. 3",
		"": "",
	} {
		require.Equal(t, want, p.texts.people(said))
	}
	require.Equal(t, "Slot depth", p.texts.label("core.slot_depth_mm"))
	require.Equal(t, "Wire diameter", p.texts.label("remains.wires.2.diameter_mm"))
	require.Equal(t, "Turns counted", p.texts.label("remains.coils[0].turns"))
}

// A withdrawn record says so, and why, before anything else, and its reason is text.
func TestWithdrawnRecordSaysSo(t *testing.T) {
	t.Parallel()
	p, err := loadPages()
	require.NoError(t, err)
	s := &server{pages: p}
	record := bundle.Winding{Slug: "demo-x", Standing: bundle.Standing{WithdrawnReason: "turns <b>miscounted</b>"}}
	for _, name := range []string{"winding", "sheet"} {
		body, err := s.renderPage(name, pageView{Title: "demo-x", Body: windingBody{Title: "demo-x", Status: "withdrawn", Record: &record}})
		require.NoError(t, err)
		text := string(body)
		require.Contains(t, text, `<span class="status">withdrawn</span>`)
		require.Contains(t, text, "This record was withdrawn.</b> turns &lt;b&gt;miscounted&lt;/b&gt;")
		require.Less(t, strings.Index(text, "was withdrawn"), strings.Index(text, "<h2>"))
	}
}

// Keys that no template and no code asks for would rot.
func TestNoTextIsIdle(t *testing.T) {
	t.Parallel()
	p, err := loadPages()
	require.NoError(t, err)
	var said strings.Builder
	for _, body := range templatesOf(t) {
		said.WriteString(body)
	}
	var script strings.Builder
	for _, body := range filesOf(t, "assets/*.js") {
		script.WriteString(body)
	}
	chosen := regexp.MustCompile(`^say\.([0-9]{3}|list_(none_)?(submitted|vetted))$`) // by the status of an answer or the state of a record
	inCode := `candidates.proposal fault.number fault.instrument fault.stock fault.stock_long wire.strands candidates.title find.title winding.title sheet.title wires.title replace.title scrap.title
		problems.title nav.find nav.wires nav.replace nav.scrap nav.sheet nav.desk keyed.sheet_title keyed.desk_title fault.numbers find.check test.at_least test.at_most test.no_more
		plate.no_volts plate.poles fault.needed settle.plate_volts settle.taps settle.unlike proposal.slots proposal.gap proposal.stack`
	for key := range p.texts {
		head, word, _ := strings.Cut(key, ".")
		switch head {
		case "say":
			require.True(t, chosen.MatchString(key) || strings.Contains(script.String(), `"`+word+`"`), "no script says %s", key)
			continue
		case "field", "hint", "letter", "choice", "status", "basis", "slip", "caution", "severity", "likely", "tells", "row", "system", "instrument", "pattern", "joining", "mass", "origin", "limit", "record", "excluded", "unit", "blank", "fix":
			continue
		}
		if strings.Contains(said.String(), `"`+key+`"`) || strings.Contains(inCode, key) {
			continue
		}
		prefix := key[:strings.LastIndexByte(key, '.')+1]
		require.True(t, strings.Contains(said.String(), `(print "`+prefix) || strings.Contains(said.String(), `"`+key[:strings.LastIndexAny(key, "._")+1]), "nothing says %s", key)
	}
}

// Turns are whole: a range of them is told in whole turns and is never narrower than it was computed.
func TestTurnsAreWhole(t *testing.T) {
	t.Parallel()
	for want, r := range map[string]bundle.Range{
		"46 – 57": {P05: 46.07, P50: 51, P95: 56.57}, "2296": {P05: 2296, P50: 2296, P95: 2296}, "12345 – 12347": {P05: 12345, P50: 12346, P95: 12346.01},
		"51": {P05: 51 - 1e-9, P50: 51, P95: 51 + 1e-9},
	} {
		require.Equal(t, want, turnSpread(r))
	}
	require.Equal(t, "12345", turns(12345))
	require.Equal(t, "34.9", num(rounded(0.1, 34.8814)), "nobody cuts a liner to a hundredth of a millimetre")
}
