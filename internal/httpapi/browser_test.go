package httpapi_test

import (
	"context"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"statorbook/internal/httpapi"

	cdpage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// patience is the limit of what must happen at some time, no matter when: a crowded machine is slow, and that is
// not what these tests look for.
const patience = 5 * time.Minute

// whenShort is how many of many with -short, which .ci/run uses beside the race detector: that makes all of them
// slow and looks for what some show as well. go test ./... does them all.
func whenShort(short, long int) int {
	if testing.Short() {
		return short
	}
	return long
}

// browserPath finds an installed Chromium or Chrome; without one the test is skipped and says so.
func browserPath(t testing.TB) string {
	t.Helper()
	if testing.Short() {
		t.Skip("the browser is driven without -short: what the race detector could find here, the other tests meet too")
	}
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	t.Skip("no browser is installed: the tests that drive one need chromium (Debian package chromium)")
	return ""
}

// tab is a tab of a headless browser of its own, on a server of its own.
type tab struct {
	ctx  context.Context
	base string
	mu   sync.Mutex
	said []string // by the console, the security policy, failing requests and dialogs
}

// consoleMark is what the test itself writes into the console, to know that all before it has come.
const consoleMark = "statorbook-test-mark"

// openTab serves s and opens a tab of that size; below 600 it is a phone.
func openTab(t testing.TB, s shop, width, height int64) *tab {
	t.Helper()
	browser := browserPath(t)
	server := httptest.NewServer(httpapi.Handler(s.Host))
	t.Cleanup(server.Close)
	b := &tab{base: server.URL}
	size := chromedp.EmulateViewport(width, height)
	if width < 600 {
		size = chromedp.EmulateViewport(width, height, chromedp.EmulateMobile)
	}
	var err error
	for range 3 { // on a crowded machine Chromium now and then dies while it starts; that says nothing about the pages
		if b.ctx, err = startBrowser(t, browser, size); err == nil {
			break
		}
	}
	require.NoError(t, err)
	_, err = chromedp.Call(b.ctx, cdpage.AddScriptToEvaluateOnNewDocument, cdpage.AddScriptToEvaluateOnNewDocumentParams{Source: watchRest})
	require.NoError(t, err)
	b.hear()
	return b
}

// startBrowser starts a browser with one tab. The first call may have no time limit: it would end the browser.
func startBrowser(t testing.TB, path string, first chromedp.Action[chromedp.Void]) (context.Context, error) {
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.Flag("disable-gpu", true), chromedp.WSURLReadTimeout(patience))
	allocated, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, closeTab := chromedp.NewContext(allocated)
	t.Cleanup(closeTab)
	return ctx, chromedp.Do(ctx, first)
}

// hear notes all that the browser says until the tab is closed. A dialog stops a page until somebody answers it.
func (b *tab) hear() {
	messages, dialogs := chromedp.Console(b.ctx), chromedp.Events(b.ctx, cdpage.JavascriptDialogOpening)
	go func() {
		for m, err := range messages {
			if err == nil {
				b.note(m.String())
			}
		}
	}()
	go func() {
		for d, err := range dialogs {
			if err == nil {
				b.note("dialog: " + d.Message)
				_, _ = chromedp.Call(b.ctx, cdpage.HandleJavaScriptDialog, cdpage.HandleJavaScriptDialogParams{Accept: true})
			}
		}
	}()
}

func (b *tab) note(what string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.said = append(b.said, what)
}

func (b *tab) heard() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]string(nil), b.said...)
}

// quiet asserts that nothing was said: no console message, no report of the security policy, no failed request, no dialog.
func (b *tab) quiet(t testing.TB) {
	t.Helper()
	eval[any](t, b, `console.info("`+consoleMark+`"), 0`)
	require.Eventually(t, func() bool {
		said := b.heard()
		return len(said) > 0 && strings.Contains(said[len(said)-1], consoleMark)
	}, patience, 10*time.Millisecond)
	for _, what := range b.heard() {
		require.Contains(t, what, consoleMark, "the browser complained")
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.said = nil
}

// do runs steps within a time that no page should need.
func (b *tab) do(t testing.TB, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	require.NoError(t, chromedp.Do(ctx, steps...))
}

// run gives the value of an action.
func run[T any](t testing.TB, b *tab, a chromedp.Action[T]) T {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, a)
	require.NoError(t, err)
	return v
}

// eval gives the value of an expression in the page.
func eval[T any](t testing.TB, b *tab, expression string) T {
	t.Helper()
	return run(t, b, chromedp.Evaluate[T](expression))
}

// until waits until an expression holds; while a page gives way to another there is nothing to ask.
func (b *tab) until(t testing.TB, expression string, says ...any) {
	t.Helper()
	require.Eventually(t, func() bool {
		ctx, cancel := context.WithTimeout(b.ctx, patience)
		defer cancel()
		holds, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("!!("+expression+")"))
		return err == nil && holds
	}, patience, 50*time.Millisecond, says...)
}

// watchRest lets a page tell whether it is at rest: no timer is set and no request under way.
const watchRest = `(() => {
	const later = window.setTimeout, drop = window.clearTimeout, ask = window.fetch, timers = new Set();
	let asking = 0;
	const answered = () => later(() => asking--, 20); // when the page has read it too
	window.setTimeout = (f, ...rest) => { const id = later((...a) => { timers.delete(id); f(...a); }, ...rest); timers.add(id); return id; };
	window.clearTimeout = (id) => { timers.delete(id); drop(id); };
	window.fetch = async (...a) => {
		asking++;
		try {
			const answer = await ask(...a);
			answer.clone().arrayBuffer().then(answered, answered);
			return answer;
		} catch (why) { answered(); throw why; }
	};
	window.resting = () => timers.size + asking === 0;
})()`

// click clicks in the middle of an element once the page is at rest: an answer that comes in between could move the
// element away, or wipe what the click brings.
func (b *tab) click(t testing.TB, selector string) {
	t.Helper()
	b.until(t, "window.resting()", "the page never rests")
	b.do(t, chromedp.Click(css(selector)))
}

// open loads a page.
func (b *tab) open(t testing.TB, target string) {
	t.Helper()
	b.do(t, chromedp.Navigate(b.base+target))
}

// follow does what leads to another page and waits for it.
func (b *tab) follow(t testing.TB, step chromedp.Action[chromedp.Void]) {
	t.Helper()
	run(t, b, chromedp.WaitEvent(cdpage.LoadEventFired, nil, step))
}

// css is a selector of one element by CSS.
func css(selector string) chromedp.CSS { return chromedp.CSS(selector) }

// fill types into the field of that name.
func (b *tab) fill(t testing.TB, name, text string) {
	t.Helper()
	b.do(t, chromedp.SendKeys(css(`[name="`+name+`"]`), text))
}

// has asserts that the page shows a text.
func (b *tab) has(t testing.TB, texts ...string) {
	t.Helper()
	shown := eval[string](t, b, "document.body.innerText")
	for _, text := range texts {
		require.Contains(t, shown, text)
	}
}

// keepPicture writes what the tab shows into the folder that STATORBOOK_SHOTS names, to be looked at.
func (b *tab) keepPicture(t testing.TB, name string) {
	t.Helper()
	if folder := os.Getenv("STATORBOOK_SHOTS"); folder != "" {
		require.NoError(t, os.WriteFile(folder+"/"+name+".png", run(t, b, chromedp.FullScreenshot(100)), 0o600))
	}
}
