package httpapi_test

import (
	"bytes"
	"compress/gzip"
	"html"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"statorbook/internal/httpapi"

	"github.com/stretchr/testify/require"
)

// docsAddresses are the pages and files under /docs, with what they are.
var docsAddresses = map[string]string{
	"/docs":                               "text/html; charset=utf-8",
	"/docs/reference":                     "text/html; charset=utf-8",
	"/docs/renderer/swagger-ui.css":       "text/css; charset=utf-8",
	"/docs/renderer/swagger-ui-bundle.js": "text/javascript; charset=utf-8",
	"/assets/quickstart.mjs":              "text/javascript; charset=utf-8",
}

// serveShop gives a shop on a real connection, and its address.
func serveShop(t *testing.T) (shop, string) {
	t.Helper()
	s := openShop(t)
	server := httptest.NewServer(httpapi.Handler(s.Host))
	t.Cleanup(server.Close)
	return s, server.URL
}

// fetch gets an address as it goes over the wire.
func fetch(t *testing.T, url string, headers ...string) (*http.Response, []byte) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	require.NoError(t, err)
	for _, line := range headers {
		name, value, _ := strings.Cut(line, ": ")
		req.Header.Set(name, value)
	}
	resp, err := (&http.Client{Transport: &http.Transport{DisableCompression: true, DisableKeepAlives: true}}).Do(req)
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return resp, body
}

// A command of the docs and what it prints, as they stand in the page.
var (
	commandBlock = regexp.MustCompile(`(?s)<code class="command"([^>]*)>(.*?)</code></pre>(?:\s*<pre tabindex="0" class="says"><code>(.*?)</code></pre>)?`)
	testedBy     = regexp.MustCompile(`data-tested="([a-z]+)"`)
)

// TestQuickStartsRun runs every command of /docs as a reader would, in a shell, against a live
// server, and compares what it prints with what the page says. A block with data-tested is run
// elsewhere, by .ci/client: "client" is the generator, "program" needs the program and its keys.
func TestQuickStartsRun(t *testing.T) {
	t.Parallel()
	for _, tool := range []string{"sh", "curl", "node"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip("the quick starts need " + tool + ", which is not installed here")
		}
	}
	_, server := serveShop(t)
	_, page := fetch(t, server+"/docs")
	blocks := commandBlock.FindAllStringSubmatch(string(page), -1)
	require.GreaterOrEqual(t, len(blocks), 9, "too few commands were found: this test looks at the wrong places")
	folder := t.TempDir()
	for _, b := range blocks {
		command := html.UnescapeString(b[2])
		if by := testedBy.FindStringSubmatch(b[1]); by != nil {
			require.Contains(t, []string{"client", "program"}, by[1], command)
			continue
		}
		require.Contains(t, command, "localhost:8080", "a command that asks nothing")
		require.NotEmpty(t, b[3], "%s: the page does not say what comes back", command)
		run := exec.CommandContext(t.Context(), "sh", "-c", strings.ReplaceAll(command, "localhost:8080", strings.TrimPrefix(server, "http://")))
		run.Dir = folder
		out, err := run.CombinedOutput()
		require.NoError(t, err, "%s\n%s", command, out)
		require.Equal(t, html.UnescapeString(b[3]), strings.TrimRight(string(out), "\n"), command)
	}
}

var (
	readmeBlock = regexp.MustCompile("(?s)```sh\n(.*?)```\n```\n(.*?)\n?```")
	requestID   = regexp.MustCompile(`"request_id":"[^"]*"`)
	longNumber  = regexp.MustCompile(`(\.\d{6})\d+`)
)

// TestReadmeCallsRun runs the calls that the README shows, and compares what comes back with what it says,
// but for the id of a request and the last digits of a probability, which processors reckon differently.
func TestReadmeCallsRun(t *testing.T) {
	t.Parallel()
	for _, tool := range []string{"sh", "curl", "python3"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip("the calls of the README need " + tool + ", which is not installed here")
		}
	}
	readme, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	_, rest, found := strings.Cut(string(readme), "\n## Ten calls\n")
	require.True(t, found)
	calls := readmeBlock.FindAllStringSubmatch(strings.Split(rest, "\n## ")[0], -1)
	require.Len(t, calls, 10)
	_, server := serveShop(t)
	folder := t.TempDir()
	same := func(said string) string {
		said = strings.TrimRight(strings.ReplaceAll(said, "\r\n", "\n"), "\n") // CSV ends its lines so
		return longNumber.ReplaceAllString(requestID.ReplaceAllString(said, `"request_id":""`), "$1")
	}
	for _, call := range calls {
		command := strings.NewReplacer("localhost:8080", strings.TrimPrefix(server, "http://"), "/tmp/", folder+"/").Replace(call[1])
		require.NotEqual(t, call[1], command, "a command that asks nothing")
		out, err := exec.CommandContext(t.Context(), "sh", "-c", command).CombinedOutput()
		require.NoError(t, err, "%s\n%s", call[1], out)
		require.Equal(t, same(call[2]), same(string(out)), call[1])
	}
}

// TestGoClientCommand holds the versions that /docs tells against those that are pinned and checked.
func TestGoClientCommand(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	page := s.Send("GET", "/docs", "", "Accept: text/html").Text()
	for file, module := range map[string]string{
		"../../.ci/tools/go.mod":  "github.com/oapi-codegen/oapi-codegen/v2",
		"../../.ci/client/go.mod": "github.com/oapi-codegen/runtime",
	} {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		pinned := regexp.MustCompile(regexp.QuoteMeta(module) + ` (v[0-9.]+)`).FindSubmatch(text)
		require.NotNil(t, pinned, "%s does not pin %s", file, module)
		require.Regexp(t, regexp.QuoteMeta(module)+`[a-z/-]*@`+regexp.QuoteMeta(string(pinned[1]))+`[\s<]`, page)
	}
	const flags = "-generate types,client -package statorbook -o statorbook.go"
	require.Contains(t, page, flags)
	client, err := os.ReadFile("../../.ci/client/client_test.go")
	require.NoError(t, err)
	require.Contains(t, string(client), "-generate types,client ")
}

// TestDocsReadWithoutScript finds errors, units and every fix in the page as it is sent.
func TestDocsReadWithoutScript(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	page := html.UnescapeString(s.Send("GET", "/docs", "").Text())
	for _, p := range s.Ask(t, "GET", "/problems", "").List(t, "items") {
		p := p.(map[string]any)
		require.Contains(t, page, `<a href="`+p["type"].(string)+`">`+p["title"].(string)+`</a>`)
		require.Contains(t, page, p["fix"])
	}
	units := s.Ask(t, "GET", "/v1/meta", "").At(t, "units").(map[string]any)
	require.Greater(t, len(units), 100)
	for field, unit := range units {
		unit := unit.(map[string]any)
		row := regexp.MustCompile(`<tr><td>` + regexp.QuoteMeta(unit["quantity"].(string)) + `</td><td>` + regexp.QuoteMeta(unit["label"].(string)) + `</td><td><code>` +
			regexp.QuoteMeta(unit["ucum"].(string)) + `</code></td><td>[^\n]*<code>` + field + `</code>`)
		require.Regexp(t, row, page, field)
	}
	for _, target := range regexp.MustCompile(`href="#([a-z]+)"`).FindAllStringSubmatch(page, -1) {
		require.Contains(t, page, ` id="`+target[1]+`"`, "a link of the page leads nowhere")
	}
}

// TestDocsStayHere looks at what the pages may load: nothing from elsewhere, nothing inline, and
// every address that they name is served.
func TestDocsStayHere(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for address, kind := range docsAddresses {
		a := s.Send("GET", address, "")
		require.Equal(t, http.StatusOK, a.StatusCode, "%s: %s", address, a.Text())
		require.Equal(t, kind, a.Header.Get("Content-Type"), address)
		require.Equal(t, "nosniff", a.Header.Get("X-Content-Type-Options"))
		require.Empty(t, a.Header.Get("Set-Cookie"))
		policy := a.Header.Get("Content-Security-Policy")
		require.Contains(t, policy, "default-src 'none'", address)
		require.NotContains(t, policy, "unsafe", address)
		if !strings.HasPrefix(kind, "text/html") {
			continue
		}
		page := a.Text()
		require.NotRegexp(t, `<script(>| [^>]*[^r]>\s*[^<\s])|<style| style=| on[a-z]+=`, page, "something inline")
		for _, link := range regexp.MustCompile(`(?:href|src|data-module|data-contract)="([^"]*)"`).FindAllStringSubmatch(page, -1) {
			target := html.UnescapeString(link[1])
			if strings.HasPrefix(target, "#") {
				continue
			}
			require.True(t, strings.HasPrefix(target, "/") && !strings.HasPrefix(target, "//"), "%s leads out of here", target)
			require.Equal(t, http.StatusOK, s.Send("GET", target, "").StatusCode, "%s leads nowhere", target)
		}
	}
}

// TestDocsRefuse sends what the pages under /docs must refuse.
func TestDocsRefuse(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for address := range docsAddresses {
		if strings.HasPrefix(address, "/docs/renderer/") { // a page sets a stranger aside
			require.Equal(t, http.StatusBadRequest, s.Send("GET", address+"?no_such_parameter=1", "").StatusCode, address)
		}
		require.Equal(t, http.StatusMethodNotAllowed, s.Send("POST", address, "{}").StatusCode, address)
		require.Equal(t, http.StatusNotAcceptable, s.Send("GET", address, "", "Accept: application/vnd.nobody").StatusCode, address)
		require.Equal(t, http.StatusNotFound, s.Send("GET", address+"/", "").StatusCode, address)
	}
	for _, name := range []string{"swagger-ui.css.gz", "swagger-ui-bundle.js.gz", "swagger-ui.js", "embed.go", "favicon-16x16.png", "..%2Fdocs.go", "%2e%2e"} {
		require.Equal(t, http.StatusNotFound, s.Send("GET", "/docs/renderer/"+name, "").StatusCode, name)
	}
}

// TestRendererFiles: packed and plain are the same file with tags of their own, and a held tag spares the rest.
func TestRendererFiles(t *testing.T) {
	t.Parallel()
	_, server := serveShop(t)
	for address := range docsAddresses {
		if !strings.HasPrefix(address, "/docs/renderer/") {
			continue
		}
		plain, text := fetch(t, server+address, "Accept-Encoding: identity")
		packed, small := fetch(t, server+address, "Accept-Encoding: gzip")
		require.Empty(t, plain.Header.Get("Content-Encoding"))
		require.Equal(t, "gzip", packed.Header.Get("Content-Encoding"))
		require.Less(t, len(small), len(text)/3)
		r, err := gzip.NewReader(bytes.NewReader(small))
		require.NoError(t, err)
		unpacked, err := io.ReadAll(r)
		require.NoError(t, err)
		require.True(t, bytes.Equal(text, unpacked), "%s differs by its coding", address)
		require.NotEqual(t, plain.Header.Get("ETag"), packed.Header.Get("ETag"))
		require.Contains(t, packed.Header.Get("Vary"), "Accept-Encoding")
		require.Contains(t, plain.Header.Get("Vary"), "Accept-Encoding")
		held, nothing := fetch(t, server+address, "Accept-Encoding: gzip", "If-None-Match: "+packed.Header.Get("ETag"))
		require.Equal(t, http.StatusNotModified, held.StatusCode)
		require.Empty(t, nothing)
		require.Empty(t, held.Header.Get("Content-Encoding"))
	}
}
