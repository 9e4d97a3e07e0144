package httpapi_test

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// docsBytesMax bounds what /docs and the reference each load, as it goes over the wire.
const docsBytesMax = 600_000

// await waits until a JavaScript expression holds.
func await(t *testing.T, b *tab, expression string) {
	t.Helper()
	b.until(t, expression, expression)
}

// loaded is what the page has asked for so far.
type loaded struct {
	Names []string `json:"names"`
	Bytes int64    `json:"bytes"`
}

// stayedHere asserts that nothing was complained about and that every request went to the server; it gives the bytes that came.
func stayedHere(t *testing.T, b *tab) int64 {
	t.Helper()
	b.quiet(t)
	all := eval[loaded](t, b, `(all => ({names: all.map(e => e.name), bytes: all.reduce((sum, e) => sum + e.transferSize, 0)}))(
		[...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')])`)
	require.NotEmpty(t, all.Names)
	for _, url := range all.Names {
		require.True(t, strings.HasPrefix(url, b.base+"/"), "a request to %.100s", url)
	}
	return all.Bytes
}

// accessible runs axe-core on the page as it stands, and asserts that nothing serious is found.
func accessible(t *testing.T, b *tab) {
	t.Helper()
	path := os.Getenv("STATORBOOK_AXE")
	if path == "" {
		t.Log("STATORBOOK_AXE is not set (path of axe.min.js, npm package axe-core): accessibility is not checked")
		return
	}
	axe, err := os.ReadFile(path)
	require.NoError(t, err)
	eval[any](t, b, string(axe)+";0")
	require.Empty(t, run(t, b, chromedp.Evaluate[string](`axe.run().then(r => r.violations.filter(v => ['serious', 'critical'].includes(v.impact))
		.map(v => v.impact + ' ' + v.id + ' ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 200)).join(' | ')).join('\n'))`, chromedp.EvalAwaitPromise)))
}

const referenceShown = `document.querySelectorAll('#reference .opblock').length > 25`

// runOne opens a block, waits until the renderer has come to rest in it, presses its button with what
// stands there, and gives the status of the live answer. Before that rest the button does nothing; who gets no
// answer for some seconds presses it again.
const runOne = `(async id => {
	const pause = () => new Promise(r => setTimeout(r, 100));
	const until = async (find, again) => { for (let i = 1; i < 600; i++) { const e = find(); if (e) return e; if (i % 40 === 0) again?.(); await pause(); } throw new Error(id + ': nothing at ' + find); };
	const block = document.getElementById(id);
	block.querySelector('.opblock-summary-control').click();
	await until(() => block.querySelector('.execute'));
	for (let before = ''; before !== block.innerHTML;) { before = block.innerHTML; await pause(); await pause(); }
	const press = () => block.querySelector('.execute')?.click();
	press();
	const status = await until(() => block.querySelector('.live-responses-table .response .response-col_status'), press);
	const text = status.textContent.trim();
	block.querySelector('.opblock-summary-control').click();
	return text;
})`

// TestBrowserDocs looks at the quick starts as a person would: they load from here alone, nothing is
// reported, and the example runs against the live server.
func TestBrowserDocs(t *testing.T) {
	t.Parallel()
	b := openTab(t, openShop(t), 1200, 900)
	b.open(t, "/docs")
	await(t, b, `document.readyState === 'complete' && !document.getElementById('run').hidden`)
	weight := stayedHere(t, b)
	t.Logf("/docs: %d bytes", weight)
	require.Less(t, weight, int64(docsBytesMax))
	require.Contains(t, eval[string](t, b, `document.querySelector('.command').textContent`), strings.TrimPrefix(b.base, "http://"))
	b.do(t, chromedp.Click(css("#run")))
	await(t, b, `document.getElementById('prints').textContent.includes('none of the records')`)
	b.has(t, "SWG 24 is 0.5588 mm bare.", "demo-air-cooler-01-a (demo): probability 0.81")
	stayedHere(t, b)
	accessible(t, b)
}

// TestBrowserReference runs an operation of each subject from the reference, with the example that
// stands there: the live server answers 200. (TestEveryOperationAnswers asks all of them, without the page.)
func TestBrowserReference(t *testing.T) {
	t.Parallel()
	b := openTab(t, openShop(t), 1200, 900)
	b.open(t, "/docs/reference")
	await(t, b, referenceShown)
	weight := stayedHere(t, b)
	t.Logf("/docs/reference: %d bytes", weight)
	require.Less(t, weight, int64(docsBytesMax))
	accessible(t, b)
	for _, id := range []string{
		"wires-listWires", "wires-postWireEquivalentsBatch", "insulation-getInsulationClass", "catalogue-getStatorFamily",
		"matching-postMatch", "windings-getWindingDiagram", "service-getLive",
	} {
		script := runOne + "('operations-" + id + "')"
		require.Equal(t, "200", run(t, b, chromedp.Evaluate[string](script, chromedp.EvalAwaitPromise)), id)
	}
	stayedHere(t, b)
}

// TestBrowserReferenceByKeyboard reaches an operation, opens it, and runs its example with Tab and Enter alone.
func TestBrowserReferenceByKeyboard(t *testing.T) {
	t.Parallel()
	b := openTab(t, openShop(t), 1200, 900)
	b.open(t, "/docs/reference")
	await(t, b, referenceShown)
	const block = "#operations-wires-postWireEquivalents "
	pressUntil(t, b, kb.Tab, `document.activeElement.closest('`+block+`.opblock-summary')`)
	b.do(t, chromedp.KeyEvent(kb.Enter))
	await(t, b, `document.querySelector('`+block+`.execute')`)
	// Pressed before the renderer has come to rest in the block, the button does nothing.
	run(t, b, chromedp.Evaluate[bool](`(async () => { const e = document.querySelector('`+block+`'); for (let before = ''; before !== e.innerHTML;) {
		before = e.innerHTML; await new Promise(r => setTimeout(r, 500)); } return true; })()`, chromedp.EvalAwaitPromise))
	pressUntil(t, b, kb.Tab, `document.activeElement.matches('.execute')`)
	answered := `document.querySelector('` + block + `.live-responses-table .response .response-col_status')?.textContent.trim() === '200'`
	for begun := time.Now(); !eval[bool](t, b, answered); time.Sleep(2 * time.Second) { // at rest for half a second may not be at rest for good: then it is pressed again
		require.Less(t, time.Since(begun), patience)
		b.do(t, chromedp.KeyEvent(kb.Enter))
	}
	stayedHere(t, b)
	accessible(t, b)
}

// pressUntil presses a key until the expression holds.
func pressUntil(t *testing.T, b *tab, key, expression string) {
	t.Helper()
	for range 200 {
		b.do(t, chromedp.KeyEvent(key))
		if eval[bool](t, b, "!!("+expression+")") {
			return
		}
	}
	t.Fatal("the keyboard does not reach ", expression)
}

// TestBrowserDocsWithoutScript reads what a browser shows that runs no JavaScript.
func TestBrowserDocsWithoutScript(t *testing.T) {
	t.Parallel()
	b := openTab(t, openShop(t), 360, 740)
	_, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	b.open(t, "/docs")
	b.has(t, "curl -s localhost:8080", "Retry-After", "gap_diameter_mm", "Isolate and prove dead")
	require.True(t, eval[bool](t, b, `document.getElementById('run').hidden`), "a button that would do nothing")
	b.open(t, "/docs/reference")
	b.has(t, "This page needs JavaScript")
}

// TestBrowserSees proves that the checks above can fail: what a policy blocks is heard.
func TestBrowserSees(t *testing.T) {
	t.Parallel()
	b := openTab(t, openShop(t), 1200, 900)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Security-Policy", "default-src 'none'")
		_, _ = io.WriteString(w, `<!doctype html><title>bad</title><script>window.ran = true</script>`)
	}))
	t.Cleanup(server.Close)
	b.do(t, chromedp.Navigate(server.URL))
	require.Eventually(t, func() bool { return strings.Contains(strings.Join(b.heard(), "\n"), "Content Security Policy") }, patience, 20*time.Millisecond)
}
