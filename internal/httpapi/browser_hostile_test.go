package httpapi_test

import (
	"fmt"
	"net/url"
	"strings"
	"testing"

	"statorbook/internal/catalog"
	"statorbook/internal/httpapi"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
	"statorbook/internal/unit"

	"github.com/stretchr/testify/require"
)

// markups are ways to make a browser run a script, ours and common ones; P is what would tell that it ran.
var markups = []string{
	`<script>P</script>`, `"><script>P</script>`, `'><script>P</script>`, `</title><script>P</script>`, `</style><script>P</script>`, `</textarea><script>P</script>`, `--><script>P</script>`,
	`<img src=x onerror=P>`, `<img src=x onerror="P">`, `"><img src=x onerror=P>`, `<svg onload=P>`, `<svg/onload=P>`, `<svg><script>P</script></svg>`, `<svg><animate onbegin=P attributeName=x dur=1s>`,
	`<body onload=P>`, `<input autofocus onfocus=P>`, `" autofocus onfocus="P`, `' autofocus onfocus='P`, ` onmouseover=P `, `<details open ontoggle=P>`, `<video><source onerror=P></video>`,
	`<audio src=x onerror=P>`, `<iframe srcdoc="<script>parent.P</script>">`, `<iframe src="javascript:P">`, `<object data="javascript:P">`, `<embed src="javascript:P">`, `<a href="javascript:P" id=x>x</a>`,
	`<form action="javascript:P"><button>x</button></form>`, `<math><mtext><script>P</script></mtext></math>`, `<base href="//x.invalid/">`, `<meta http-equiv="refresh" content="0;url=javascript:P">`,
	`<link rel=stylesheet href="data:text/css,*{}">`, `<style>@import 'x'</style>`, `<div style="background:url(javascript:P)">`, `]]><script>P</script>`, `<![CDATA[<script>P</script>]]>`, `<?xml-stylesheet href="javascript:P"?>`,
	`{{P}}`, `${P}`, `<%= P %>`, `javascript:P`, `data:text/html,<script>P</script>`, `<noscript><p title="</noscript><script>P</script>">`, `<template><script>P</script></template>`, `<xmp><script>P</script></xmp>`,
	`<textarea autofocus onfocus=P>`, `<select autofocus onfocus=P>`, `<keygen autofocus onfocus=P>`, `<marquee onstart=P>`, `&lt;script&gt;P&lt;/script&gt;`, `&#60;script&#62;P&#60;/script&#62;`, `\u003cscript\u003eP\u003c/script\u003e`,
}

// The hostile texts: each way in two wordings, so that there are a hundred and more.
func hostileTexts() []string {
	var all []string
	for i, m := range markups {
		all = append(all, strings.ReplaceAll(m, "P", fmt.Sprintf("ran(%d)", i)), "a"+strings.ReplaceAll(m, "P", fmt.Sprintf("top.ran(%d)", i))+"<b>z")
	}
	return all
}

// sabotage fills every text of a record that the catalogue takes freely with hostile text.
func sabotage(w *catalog.Winding, texts []string, n int) {
	at := n
	next := func(most int) string {
		at++
		text := texts[at%len(texts)]
		return text[:min(len(text), most)]
	}
	w.ThermalCutout, w.Wedge, w.Sleeving, w.Varnish, w.Direction = next(200), next(200), next(200), next(200), next(200)
	w.ViewingEnd, w.Slot1Mark, w.Remarks, w.Source = next(200), next(200), texts[n]+"\n"+next(200), next(200)
	w.Nameplate.Duty = next(60)
	w.Liner = &catalog.Liner{Material: next(200), Thickness: unit.Of(0.2)}
	w.Leads = []catalog.Lead{{Mark: next(40), ColourSeen: next(40), GoesTo: next(100)}}
	if len(w.Scheme.CoilSets) > 0 {
		w.Scheme.CoilSets[0].LeadPair = next(40)
	}
}

// openHostileShop imports the demo set with every free text turned hostile, one text leading in each record.
func openHostileShop(t *testing.T) (shop, []string) {
	t.Helper()
	_, address := pgtest.NewFrom(t, "httpapi-demo", fill)
	store, err := postgres.Open(t.Context(), address, postgres.WithConns(4))
	require.NoError(t, err)
	t.Cleanup(store.Close)
	texts := hostileTexts()
	set := demoSet(snapshotOf(t, store).Wires)
	for i := range set.Families {
		f := &set.Families[i]
		f.ID, f.Slug, f.Title, f.Source = "0"+f.ID[1:8]+"-ffff"+f.ID[13:], "hostile-"+f.Slug, texts[i%len(texts)], texts[(i+7)%len(texts)]
		for k := range f.Cores {
			f.Cores[k].ID = "0" + f.Cores[k].ID[1:8] + "-eeee" + f.Cores[k].ID[13:]
		}
	}
	for i := range set.Windings {
		w := &set.Windings[i]
		w.ID, w.Slug, w.FamilyID, w.CoreID = "0"+w.ID[1:8]+"-dddd"+w.ID[13:], fmt.Sprintf("hostile-%d", i), "0"+w.FamilyID[1:8]+"-ffff"+w.FamilyID[13:], "0"+w.CoreID[1:8]+"-eeee"+w.CoreID[13:]
		sabotage(w, texts, i%len(texts))
	}
	body, err := demoBundle(set)
	require.NoError(t, err)
	require.NoError(t, importText(t.Context(), store, body))
	snap := snapshotOf(t, store)
	return shop{httpapi.NewHost(t, httpapi.Config{Snapshot: func() *httpapi.Snapshot { return snap }, Families: store, Windings: store}), store, set}, texts
}

// A hundred and more hostile texts in records are shown as what they are: no script runs, no policy is
// broken, and no element comes into being from them.
func TestBrowserHostileRecords(t *testing.T) {
	t.Parallel()
	browserPath(t)
	s, texts := openHostileShop(t)
	require.GreaterOrEqual(t, len(texts), 100)
	require.GreaterOrEqual(t, len(s.demo.Windings), len(texts))
	b := openTab(t, s, 1280, 900)
	shown := map[string]bool{}
	for i := 0; i < len(texts); i += 4 { // each record shows some fourteen texts
		at := "/windings/" + s.demo.Windings[i].ID
		if i%20 == 16 {
			at += "/sheet"
		}
		b.open(t, at)
		require.Zero(t, eval[int](t, b, strangers), "record %d", i)
		said := eval[string](t, b, `document.querySelector("main").textContent`)
		for _, text := range texts {
			shown[text] = shown[text] || strings.Contains(said, text)
		}
	}
	b.quiet(t)
	for _, text := range texts {
		require.True(t, shown[text], "never shown as it is: %s", text)
	}
	// The drawings of the operation, opened alone, are SVG documents that could run scripts.
	for i := 0; i < len(texts); i += 6 {
		for _, view := range []string{"core", "slots", "connection"} {
			b.open(t, "/v1/windings/"+s.demo.Windings[i].ID+"/diagram.svg?view="+view)
			require.Zero(t, eval[int](t, b, `document.querySelectorAll("script, foreignObject, iframe, a, image, [onload], [onerror]").length`))
		}
	}
	// The lists of candidates call the records by their families' titles.
	for i := 0; i < len(s.demo.Families); i += 6 {
		b.open(t, "/find?"+readingsOf(s, i))
		require.Contains(t, eval[string](t, b, "document.body.textContent"), "hostile-")
		require.Zero(t, eval[int](t, b, strangers), "family %d", i)
	}
	b.quiet(t)
	// What a search is told comes back on the page: five texts at a time.
	asked := []string{"nameplate.insulation_class", "gap_diameter_mm", "stock", "slots", "with"}
	for i := 0; i < len(texts); i += len(asked) {
		v := url.Values{"edit": {"1"}}
		for k, name := range asked {
			v.Set(name, texts[(i+k)%len(texts)])
		}
		b.open(t, "/find?"+v.Encode())
		require.Zero(t, eval[int](t, b, strangers), "texts from %d", i)
	}
	said := b.heard()
	for _, what := range said {
		require.Contains(t, what, "422", "only refusals of the form may be told")
	}
}

// strangers counts what no page of ours holds: scripts and handlers other than its own, and marks that a script ran.
const strangers = `document.querySelectorAll("script:not([src^='/assets/bench.js']), iframe, object, embed, base, style, b b, main img:not([src^='data:image/svg+xml;base64,']), [onload], [onerror], [onfocus], [ontoggle], [onstart], a[href^='javascript']").length + (window.ran ? 1 : 0)`
