package httpapi_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/httpapi"
	"statorbook/internal/jsonin"

	"github.com/stretchr/testify/require"
)

const (
	importsAt = "/v1/imports"
	bundleAt  = "/v1/bundles/published"
	asBundle  = "Content-Type: application/x-ndjson"
)

// bundleHost serves bundles, with the key of a steward.
func bundleHost(t testing.TB) (k *keyed, steward string) {
	t.Helper()
	k = openKeyed(t, func(c *httpapi.Config) { c.Bundles = c.Keys.(httpapi.BundleStore) })
	_, steward = k.issue(t, "demo-p1", 30, catalog.ScopeSteward)
	return k, steward
}

// demoFamilies is a bundle of n demo families, the first of them signed by signer unless that is "".
func demoFamilies(t testing.TB, n int, signer string) string {
	t.Helper()
	var out bytes.Buffer
	w := bundle.NewWriter(&out)
	require.NoError(t, w.Manifest("demo", 1, bundle.Manifest{Licence: "CC0-1.0", Demo: true, Title: "demo families"}))
	for i := range n {
		id := "f0000000-0000-4000-8000-" + strings.Repeat("0", 12-len(strconv.Itoa(i))) + strconv.Itoa(i)
		f := bundle.Family{ID: id, Lamination: bundle.Lamination{Title: "demo " + strconv.Itoa(i)}, Origin: bundle.Origin{Demo: true, Source: "invented", Licence: "CC0-1.0"}}
		require.NoError(t, w.Write(bundle.KindFamily, id, 1, f))
		if i > 0 || signer == "" {
			continue
		}
		sum, err := bundle.ContentHash(f)
		require.NoError(t, err)
		s := bundle.Statement{Act: "publication", Kind: bundle.KindFamily, Record: id, Revision: 1, SHA256: hex.EncodeToString(sum[:]),
			Institute: "demo-far-school", Author: "demo-f1", Vetter: "demo-f2"}
		note, err := bundle.SignStatement(signer, s)
		require.NoError(t, err)
		require.NoError(t, w.Review(s, note))
	}
	require.NoError(t, w.Close())
	return out.String()
}

func packed(t testing.TB, text string) string {
	t.Helper()
	var out bytes.Buffer
	w := gzip.NewWriter(&out)
	_, err := io.WriteString(w, text)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return out.String()
}

// linesOf gives kind and id of each record, and proves that the bundle is whole.
func linesOf(t testing.TB, text string) []string {
	t.Helper()
	var all []string
	for r := bundle.NewReader(strings.NewReader(text), bundle.Options{}); ; {
		line, err := r.Next()
		if err == io.EOF {
			return all
		}
		require.NoError(t, err)
		if line.Kind != bundle.KindManifest {
			all = append(all, string(line.Kind)+" "+line.ID+" "+line.SHA256)
		}
	}
}

// A bundle goes in by the hands of a steward, first looked at, then stored once; and comes out the same.
func TestBundleOverHTTP(t *testing.T) {
	t.Parallel()
	k, steward := bundleHost(t)
	_, others := k.issue(t, "demo-p2", 30, catalog.ScopeContribute, catalog.ScopeVet, catalog.ScopePublish)
	signer, verifier := signingPair(t, "demo-far-school", "f")
	text := demoFamilies(t, 3, signer)
	require.Equal(t, 201, k.Ask(t, "POST", "/v1/institutes", pinBody("demo-far-school", "Demo far school", verifier), steward, "Idempotency-Key: pin").StatusCode)

	require.Equal(t, 401, k.Ask(t, "POST", importsAt, text, asBundle).StatusCode)
	require.Equal(t, 403, k.Ask(t, "POST", importsAt, text, asBundle, others).StatusCode)
	dry := k.Ask(t, "POST", importsAt, text, asBundle, steward)
	require.Equal(t, 200, dry.StatusCode, dry.Text())
	require.Equal(t, []any{true, false, 4.0, 4.0}, []any{dry.At(t, "dry_run"), dry.At(t, "applied"), dry.At(t, "lines"), dry.At(t, "counts", "new")})
	require.Empty(t, linesOf(t, k.Ask(t, "GET", bundleAt, "").Text()), "looking stores nothing")

	require.Equal(t, "IDEMPOTENCY_KEY_REQUIRED", k.Ask(t, "POST", importsAt+"?apply=true", text, asBundle, steward).Problem(t).Errors[0].Code)
	done := k.Ask(t, "POST", importsAt+"?apply=true", text, asBundle, steward, "Idempotency-Key: one")
	require.Equal(t, 200, done.StatusCode, done.Text())
	require.Equal(t, []any{false, true, 4.0}, []any{done.At(t, "dry_run"), done.At(t, "applied"), done.At(t, "counts", "new")})
	require.Empty(t, done.List(t, "rows"), "there is nothing to say about any line")
	again := k.Ask(t, "POST", importsAt+"?apply=true", text, asBundle, steward, "Idempotency-Key: one")
	require.Equal(t, done.Text(), again.Text(), "a repeated request counts once")
	require.Equal(t, 422, k.Ask(t, "POST", importsAt+"?apply=true", demoFamilies(t, 2, ""), asBundle, steward, "Idempotency-Key: one").StatusCode)
	zipped := k.Ask(t, "POST", importsAt+"?apply=true", packed(t, text), asBundle, steward, "Idempotency-Key: two", "Content-Encoding: gzip")
	require.Equal(t, 4.0, zipped.At(t, "counts", "same"), zipped.Text())
	require.Equal(t, false, zipped.At(t, "applied"))

	out := k.Ask(t, "GET", bundleAt, "")
	require.Equal(t, []string{"application/x-ndjson"}, out.Header["Content-Type"])
	require.Equal(t, linesOf(t, text), linesOf(t, out.Text()))
	keys, err := bundle.NewKeys(verifier)
	require.NoError(t, err)
	report := bundle.Verify(bundle.NewReader(strings.NewReader(out.Text()), bundle.Options{}), keys)
	require.Equal(t, []int{1, 2, 0}, []int{report.Proved, report.Unproved, report.Failed})
	require.Len(t, linesOf(t, k.Ask(t, "GET", bundleAt+"?institute=demo-far-school", "").Text()), 2)
	revision := strconv.Itoa(int(done.Number(t, "catalogue_revision")))
	require.Empty(t, linesOf(t, k.Ask(t, "GET", bundleAt+"?since="+revision, "").Text()))
	require.Len(t, linesOf(t, k.Ask(t, "GET", bundleAt+"?since=0", "").Text()), 4)
	f, err := k.store.Family(t.Context(), "f0000000-0000-4000-8000-000000000000")
	require.NoError(t, err)
	require.Equal(t, []string{"demo-far-school", "demo-f1", "demo-f2"}, []string{f.Institute, f.Author, f.Vetter})
}

// The body of a line is what GET answers at the record's own address, to the byte, its tag included.
func TestBundleBodiesAreTheGets(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	address := map[string]string{"wire": "/v1/wires/", "insulation_class": "/v1/insulation-classes/", "family": "/v1/stator-families/", "winding": "/v1/windings/"}
	materials := s.Ask(t, "GET", "/v1/insulating-materials", "").Text()
	seen := map[string]int{}
	for text := range strings.Lines(s.Ask(t, "GET", bundleAt, "").Text()) {
		var line struct {
			Kind, ID string
			Body     json.RawMessage
		}
		require.NoError(t, json.Unmarshal([]byte(text), &line))
		seen[line.Kind]++
		switch at := address[line.Kind]; {
		case at != "" && seen[line.Kind] <= 40:
			require.Equal(t, s.Ask(t, "GET", at+line.ID, "").Text(), string(line.Body)+"\n")
		case line.Kind == "insulating_material":
			require.Contains(t, materials, string(line.Body))
		}
	}
	require.Equal(t, map[string]int{"manifest": 1, "wire": 216, "insulation_class": 9, "insulating_material": 14, "family": 67, "winding": 220, "end": 1}, seen)
}

// What an institute of this server holds comes sealed with its key, if that is here and the registered one.
func TestBundleIsSealed(t *testing.T) {
	t.Parallel()
	signer, verifier := signingPair(t, keySchool, "a")
	sealing := func(signer string, fail error) func(*httpapi.Config) {
		return func(c *httpapi.Config) {
			c.Bundles = c.Keys.(httpapi.BundleStore)
			c.Seal = func(string) (string, func(*bundle.Writer) error, error) {
				id, _, err := bundle.KeyIDOf(signer)
				require.NoError(t, err)
				return id, func(w *bundle.Writer) error { return w.CloseSealed(signer) }, fail
			}
		}
	}
	keys, err := bundle.NewKeys(verifier)
	require.NoError(t, err)
	verified := func(k *keyed, query string) bundle.Report {
		a := k.Ask(t, "GET", bundleAt+query, "")
		require.Equal(t, 200, a.StatusCode, a.Text())
		return bundle.Verify(bundle.NewReader(strings.NewReader(a.Text()), bundle.Options{}), keys)
	}
	other, _ := signingPair(t, keySchool, "z")
	good, unregistered, gone := openKeyed(t, sealing(signer, nil)), openKeyed(t, sealing(other, nil)), openKeyed(t, sealing(signer, io.EOF))
	ofSchool := "?institute=" + keySchool
	report := verified(good, ofSchool)
	require.True(t, report.OK(), "%+v", report.Problems)
	require.Equal(t, []string{keySchool}, report.Seal.Signers)
	for _, r := range []bundle.Report{verified(good, ""), verified(unregistered, ofSchool), verified(gone, ofSchool)} {
		require.Equal(t, bundle.CodeUnsealed, r.Problems[0].Code, "unsigned, and it says so")
		require.Equal(t, 1, r.ProblemCount)
	}
	_, verifier = signingPair(t, "demo-far-school", "f")
	require.NoError(t, good.store.AcceptSigningKey(t.Context(), catalog.Act{}, catalog.Institute{Slug: "demo-far-school", Title: "Demo far school"}, verifier))
	require.Equal(t, bundle.CodeUnsealed, verified(good, "?institute=demo-far-school").Problems[0].Code, "nobody signs for another server")
}

// What is doubtful or refused is listed by line, the rest only counted.
func TestImportTellsItsRows(t *testing.T) {
	t.Parallel()
	k, steward := bundleHost(t)
	forged, _ := signingPair(t, "demo-far-school", "g")
	a := k.Ask(t, "POST", importsAt, demoFamilies(t, 2, forged), asBundle, steward)
	require.Equal(t, 200, a.StatusCode, a.Text())
	require.Equal(t, []any{"new", "ignored"}, []any{a.At(t, "rows", 0, "outcome"), a.At(t, "rows", 1, "outcome")})
	require.Equal(t, "signer_unknown", a.At(t, "rows", 1, "code"))
	require.Equal(t, "unproved", a.At(t, "rows", 0, "findings", 0, "code"))

	text := `{"kind":"manifest","id":"demo","revision":1,"body":{"format":1}}` + "\n"
	text += strings.Repeat(`{"kind":"family","id":"no uuid","revision":1,"body":{"title":"demo"}}`+"\n", 700)
	a = k.Ask(t, "POST", importsAt, closed(text), asBundle, steward)
	require.Equal(t, 200, a.StatusCode, a.Text())
	require.Len(t, a.List(t, "rows"), 500)
	require.Equal(t, []any{700.0, 200.0}, []any{a.At(t, "counts", "refused"), a.At(t, "rows_left_off")})
	require.Equal(t, "/id", a.At(t, "rows", 0, "errors", 0, "pointer"))
}

// closed adds the end line.
func closed(text string) string {
	sum := sha256.Sum256([]byte(text))
	return text + `{"kind":"end","count":` + strconv.Itoa(strings.Count(text, "\n")) + `,"sha256":"` + hex.EncodeToString(sum[:]) + `"}` + "\n"
}

func TestImportHostile(t *testing.T) {
	t.Parallel()
	k, steward := bundleHost(t)
	good := demoFamilies(t, 20, "")
	gz := packed(t, good)
	zip := "Content-Encoding: gzip"
	apply := importsAt + "?apply=true"
	row := func(target, body string, status int, code, place string, headers ...string) httpapi.Hostile {
		return httpapi.Post(target, body, status, code, place, append([]string{asBundle, steward, "Idempotency-Key: hostile"}, headers...)...)
	}
	var bomb bytes.Buffer // 200 MB of spaces in 200 kB
	w := gzip.NewWriter(&bomb)
	for range 200 {
		_, err := w.Write(bytes.Repeat([]byte(" "), 1<<20))
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	require.Less(t, bomb.Len(), 300<<10)
	rows := []httpapi.Hostile{
		row(apply, bomb.String(), 413, jsonin.CodeTooLarge, "", zip),
		row(apply, packed(t, bomb.String()), 400, jsonin.CodeSyntax, "*", zip), // packed twice: what is inside is no JSON
		row(apply, packed(t, strings.Repeat(" ", 8<<20+1)), 413, jsonin.CodeTooLarge, "", zip),
		row(apply, strings.Repeat("\n", 8<<20+1), 413, jsonin.CodeTooLarge, ""),
		row(apply, gz[:len(gz)-1], 400, "BAD_GZIP", "Content-Encoding", zip),
		row(apply, gz[:len(gz)/2], 400, "BAD_GZIP", "Content-Encoding", zip),
		row(apply, gz[:5], 400, "BAD_GZIP", "Content-Encoding", zip),
		row(apply, gz+"x", 400, "BAD_GZIP", "Content-Encoding", zip),
		row(apply, gz+"\x00\x00\x00\x00", 400, "BAD_GZIP", "Content-Encoding", zip),
		row(apply, gz+gz, 400, "", "", zip), // two members are one text (RFC 1952 section 2.2): a bundle behind a bundle
		row(apply, strings.Replace(gz, gz[20:24], "\xff\xff\xff\xff", 1), 400, "BAD_GZIP", "Content-Encoding", zip),
		row(apply, good, 400, "BAD_GZIP", "Content-Encoding", zip),
		row(apply, gz, 400, jsonin.CodeSyntax, "*"),
		row(apply, gz, 415, "UNSUPPORTED_ENCODING", "Content-Encoding", "Content-Encoding: deflate"),
		row(apply, gz, 415, "UNSUPPORTED_ENCODING", "Content-Encoding", "Content-Encoding: gzip, gzip"),
		row(apply, good, 415, "UNSUPPORTED_TYPE", "Content-Type", "Content-Type: application/json"),
		row(apply, good, 415, "UNSUPPORTED_TYPE", "Content-Type", "Content-Type: application/x-ndjson; charset=utf-16"),
		row(apply, good, 415, "UNSUPPORTED_TYPE", "Content-Type", "Content-Type: text/plain"),
		row(apply, good, 406, "NOT_OFFERED", "Accept", "Accept: text/html"),
		row(apply, "", 400, "", ""),
		row(apply, "\n", 400, jsonin.CodeEmpty, "*"),
		row(apply, "{", 400, jsonin.CodeSyntax, "*"),
		row(apply, "[]\n", 400, jsonin.CodeType, "*"),
		row(apply, good+"\n", 400, "", ""),
		row(apply, good+"x", 400, "", ""),
		row(apply, good+good, 400, "", ""),
		row(apply, strings.SplitAfterN(good, "\n", 2)[1], 400, "", ""),
		row(apply, strings.Replace(good, "demo 7", "demo 8", 1), 422, bundle.CodeHash, "/sha256"),
		row(apply, strings.Replace(good, `"format":1`, `"format":2`, 1), 422, "", ""),
		row(apply, strings.Replace(good, "demo 7", strings.Repeat("x", 1<<20), 1), 413, "", ""),
		row(apply, strings.Replace(good, "\"count\":21", "\"count\":22", 1), 422, bundle.CodeCount, "/count"),
		row(importsAt+"?apply=yes", good, 400, jsonin.CodeValue, "apply"),
		row(importsAt+"?apply=", good, 400, jsonin.CodeValue, "apply"),
		row(importsAt+"?dry_run=false", good, 400, "UNKNOWN_PARAMETER", "dry_run"),
		row(apply+"&apply=true", good, 400, "REPEATED_PARAMETER", "apply"),
	}
	for tenth := 1; tenth < 10; tenth++ {
		rows = append(rows, row(apply, good[:len(good)*tenth/10], 400, "", ""))
	}
	for _, method := range []string{"GET", "PUT", "PATCH", "DELETE"} {
		rows = append(rows, httpapi.Refused(method, importsAt, 405))
	}
	httpapi.Refuse(t, k.Host, rows)
	page, err := k.store.Families(t.Context(), catalog.FamilyFilter{}, catalog.PageRequest{})
	require.NoError(t, err)
	require.Empty(t, page.Items, "nothing of all this was stored")
	a := k.Ask(t, "POST", apply, good, asBundle, steward, "Idempotency-Key: hostile")
	require.Equal(t, 20.0, a.At(t, "counts", "new"), "a refused request spends no key")
}

func TestPublishedBundleHostile(t *testing.T) {
	t.Parallel()
	k, _ := bundleHost(t)
	rows := append(httpapi.StrangeQueries(bundleAt), httpapi.StrangeQueries(bundleAt+"?since=1")...)
	for _, bad := range []string{"A-B", "a%20b", "-a", "a--b", "ab", "'--", "..%2F", "%C3%A4bc", "demo_school"} {
		rows = append(rows, httpapi.Get(bundleAt+"?institute="+bad, 400, jsonin.CodeFormat, "institute"))
	}
	rows = append(rows,
		httpapi.Get(bundleAt+"?institute=", 400, jsonin.CodeTextLength, "institute"),
		httpapi.Get(bundleAt+"?institute="+strings.Repeat("a", 101), 400, jsonin.CodeTextLength, "institute"),
		httpapi.Get(bundleAt+"?institute=demo-no-school", 404, "UNKNOWN_ID", "institute"),
		httpapi.Get(bundleAt+"?since=-1", 422, jsonin.CodeRange, "since"),
		httpapi.Get(bundleAt+"?since=1000000000001", 422, jsonin.CodeRange, "since"),
		httpapi.Get(bundleAt+"?since=1000000000000", 422, jsonin.CodeRange, "since"), // not reached yet
		httpapi.Get(bundleAt+"?since=99999999999999999999", 400, jsonin.CodeInteger, "since"),
		httpapi.Get(bundleAt+"?since=1.5", 400, jsonin.CodeInteger, "since"),
		httpapi.Get(bundleAt+"?since=today", 400, jsonin.CodeInteger, "since"),
		httpapi.Get(bundleAt+"?since=1&since=2", 400, "REPEATED_PARAMETER", "since"),
		httpapi.Get(bundleAt, 406, "NOT_OFFERED", "Accept", "Accept: application/json"),
		httpapi.Get("/v1/bundles", 404, "", ""), httpapi.Get("/v1/bundles/draft", 404, "", ""))
	for _, method := range []string{"POST", "PUT", "PATCH", "DELETE"} {
		rows = append(rows, httpapi.Refused(method, bundleAt, 405))
	}
	httpapi.Refuse(t, k.Host, rows)
}

// stubborn is a store whose bundles break off or wait.
type stubborn struct {
	lines int
	fail  error
	enter chan<- struct{}
	leave <-chan struct{}
}

func (s stubborn) ExportBundle(_ context.Context, out *bundle.Writer, _, _ string, _ int64) error {
	if s.enter != nil {
		s.enter <- struct{}{}
		<-s.leave
	}
	if s.lines == 0 && s.fail != nil {
		return s.fail
	}
	if err := out.Manifest("demo", 1, bundle.Manifest{}); err != nil {
		return err
	}
	for i := range s.lines {
		f := bundle.Family{Lamination: bundle.Lamination{Title: "demo"}}
		if err := out.Write(bundle.KindFamily, "f0000000-0000-4000-8000-"+strconv.Itoa(100000000000+i), 1, f); err != nil {
			return err
		}
	}
	return s.fail
}

func (s stubborn) ImportBundle(context.Context, catalog.Act, *bundle.Reader, bool, func(catalog.ImportRow) error, func(catalog.ImportReport) (catalog.Reply, error)) (catalog.Reply, error) {
	return catalog.Reply{}, s.fail
}

// A bundle that breaks off never looks whole: the connection is cut. One that fails at once is a problem.
func TestBundleBreaksOff(t *testing.T) {
	t.Parallel()
	gone := errs.New(errs.KindUnavailable, "The database is away.")
	host := httpapi.NewHost(t, httpapi.Config{Bundles: stubborn{fail: gone}})
	require.Equal(t, 503, host.Ask(t, "GET", bundleAt, "").StatusCode)

	server := httptest.NewServer(httpapi.NewHost(t, httpapi.Config{Bundles: stubborn{lines: 5000, fail: gone}}).Handler())
	t.Cleanup(server.Close)
	client := &http.Client{Transport: &http.Transport{DisableCompression: true}}
	res, err := client.Get(server.URL + bundleAt)
	require.NoError(t, err)
	require.Equal(t, 200, res.StatusCode)
	text, err := io.ReadAll(res.Body)
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
	require.NoError(t, res.Body.Close())
	require.NotEmpty(t, text)
	require.NotContains(t, string(text), `"kind":"end"`)
	require.True(t, json.Valid(text[:bytes.IndexByte(text, '\n')]))
}

// Only so many bundles are on their way at once; the next is told to come back.
func TestBundlesTakeTurns(t *testing.T) {
	t.Parallel()
	enter, leave := make(chan struct{}), make(chan struct{})
	host := httpapi.NewHost(t, httpapi.Config{Bundles: stubborn{enter: enter, leave: leave}})
	answers := make(chan int, 2)
	for range 2 {
		go func() { answers <- host.Send("GET", bundleAt, "").StatusCode }()
		<-enter
	}
	busy := host.Ask(t, "GET", bundleAt, "")
	require.Equal(t, 503, busy.StatusCode)
	require.NotEmpty(t, busy.Header.Get("Retry-After"))
	close(leave)
	require.Equal(t, []int{200, 200}, []int{<-answers, <-answers})
	go func() { <-enter }()
	require.Equal(t, 200, host.Ask(t, "GET", bundleAt, "").StatusCode, "the places are free again")
}
