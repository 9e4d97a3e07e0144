package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"statorbook/internal/pgtest"

	"github.com/stretchr/testify/require"
)

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
	}
	os.Exit(pgtest.Main(m))
}

// patience is the limit of what must happen at some time, no matter when: a crowded machine is slow, and that is
// not what these tests look for.
const patience = 5 * time.Minute

// roomy gives a time limit the room that a crowded machine needs: twenty times what a question takes there at this
// moment. Where nothing else runs that is about a tenth of a second.
func roomy(limit time.Duration, question func()) time.Duration {
	slowest := time.Duration(0)
	for range 5 {
		begun := time.Now()
		question()
		slowest = max(slowest, time.Since(begun))
	}
	return limit + 20*slowest
}

// buffer is a stream that a command writes while the test reads it.
type buffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *buffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *buffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

// command runs one command to its end and gives its exit code and streams.
func runCommand(t *testing.T, env map[string]string, in string, args ...string) (code int, out, errOut string) {
	t.Helper()
	var o, e buffer
	code = run(t.Context(), args, console{out: &o, err: &e, in: strings.NewReader(in), getenv: func(k string) string { return env[k] }})
	return code, o.String(), e.String()
}

// started is a server under test.
type started struct {
	base string
	out  *buffer
	err  *buffer
	stop func() int
}

// startServer runs serve until the test ends and waits for its line.
func startServer(t *testing.T, env map[string]string) started {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	s := started{out: &buffer{}, err: &buffer{}}
	done := make(chan int, 1)
	go func() {
		done <- run(ctx, nil, console{out: s.out, err: s.err, in: strings.NewReader(""), getenv: func(k string) string { return env[k] }})
	}()
	var once sync.Once
	code := 0
	s.stop = func() int {
		once.Do(func() { cancel(); code = <-done })
		return code
	}
	t.Cleanup(func() { s.stop() })
	require.Eventually(t, func() bool {
		_, line, ok := strings.Cut(s.out.String(), "listening on ")
		if !ok || !strings.Contains(line, "\n") {
			return false
		}
		s.base = strings.SplitN(line, "\n", 2)[0]
		return true
	}, patience, 20*time.Millisecond, "no line: %s", s.err)
	return s
}

func get(t *testing.T, url string) (int, map[string]any) {
	t.Helper()
	res, err := http.Get(url)
	require.NoError(t, err)
	defer func() { _ = res.Body.Close() }()
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	var v map[string]any
	require.NoError(t, json.Unmarshal(body, &v), "%s", body)
	return res.StatusCode, v
}

func post(t *testing.T, url, body string) (int, map[string]any) {
	t.Helper()
	res, err := http.Post(url, "application/json", strings.NewReader(body))
	require.NoError(t, err)
	defer func() { _ = res.Body.Close() }()
	var v map[string]any
	require.NoError(t, json.NewDecoder(res.Body).Decode(&v))
	return res.StatusCode, v
}

func givenDatabase(t *testing.T) map[string]string {
	t.Helper()
	owner, app := pgtest.NewURLs(t)
	return map[string]string{"DATABASE_URL": app, "DATABASE_OWNER_URL": owner, "STATORBOOK_ADDR": "127.0.0.1:0", "STATORBOOK_DATA_DIR": t.TempDir()}
}

// TestMainJob is the newcomer's way: serve, look a wire up, measure a demo stator, get its winding.
func TestMainJob(t *testing.T) {
	t.Parallel()
	s := startServer(t, givenDatabase(t))
	status, wire := get(t, s.base+"/v1/wires/swg-34")
	require.Equal(t, 200, status)
	// SWG 34 is 0.0092 in by the legal inch values of 1883/84: 0.23368 mm.
	require.InDelta(t, 0.0092*25.4, wire["conductor"].(map[string]any)["diameter_mm"], 1e-9)

	_, list := get(t, s.base+"/v1/windings?page_size=3")
	record := list["items"].([]any)[0].(map[string]any)
	core, err := json.Marshal(record["core_as_measured"])
	require.NoError(t, err)
	plate, err := json.Marshal(record["nameplate"])
	require.NoError(t, err)
	status, answer := post(t, s.base+"/v1/matches", fmt.Sprintf(`{"measurements": %s, "nameplate": %s}`, core, plate))
	require.Equal(t, 200, status, "%v", answer)
	first := answer["candidates"].([]any)[0].(map[string]any)
	require.Equal(t, record["core_id"], first["core_id"], "a demo record's own dimensions must find its own core")
	require.NotEmpty(t, answer["cautions"])
	require.NotEmpty(t, answer["proposals"])
	require.Equal(t, 0, s.stop(), "a clean stop: %s", s.err)
}

// TestImportedRecordMatchesWithinTwoSeconds imports the committed sample beside a running server.
func TestImportedRecordMatchesWithinTwoSeconds(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	s := startServer(t, env)
	_, before := get(t, s.base+"/v1/meta")
	code, out, errOut := runCommand(t, env, "", "import", sampleBundle)
	require.Equal(t, 0, code, errOut)
	require.Contains(t, out, "dry run")
	_, same := get(t, s.base+"/v1/meta")
	require.Equal(t, before["catalogue_revision"], same["catalogue_revision"], "a dry run stores nothing")

	code, out, errOut = runCommand(t, env, "", "import", "-apply", sampleBundle)
	require.Equal(t, 0, code, errOut)
	stored := time.Now()
	require.Contains(t, out, "stored")
	id, request := firstWinding(t, sampleBundle)
	found := func() bool {
		status, answer := post(t, s.base+"/v1/matches", request)
		require.Equal(t, 200, status, "%v", answer)
		candidates := answer["candidates"].([]any)
		return len(candidates) > 0 && candidates[0].(map[string]any)["winding_id"] == id
	}
	require.Eventually(t, found, patience, 50*time.Millisecond, "the imported record must be the first candidate for its own dimensions and plate")
	require.Less(t, time.Since(stored), roomy(2*time.Second, func() { found() }))
}

// firstWinding gives the id of the first winding record of a bundle, and a match request with its own dimensions and plate.
func firstWinding(t *testing.T, file string) (id, request string) {
	t.Helper()
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	for line := range strings.Lines(string(data)) {
		var l struct {
			Kind, ID string
			Body     struct {
				Core  json.RawMessage `json:"core_as_measured"`
				Plate json.RawMessage `json:"nameplate"`
			}
		}
		require.NoError(t, json.Unmarshal([]byte(line), &l))
		if l.Kind == "winding" {
			return l.ID, fmt.Sprintf(`{"measurements": %s, "nameplate": %s}`, l.Body.Core, l.Body.Plate)
		}
	}
	t.Fatal("the bundle holds no winding")
	return "", ""
}

const sampleBundle = "../testdata/worlds-sample/plain-catalogue.jsonl"

func TestExportReadsBackAsTheSame(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	code, _, errOut := runCommand(t, env, "", "seed")
	require.Equal(t, 0, code, errOut)
	file := filepath.Join(t.TempDir(), "all.jsonl")
	code, _, errOut = runCommand(t, env, "", "export", file)
	require.Equal(t, 0, code, errOut)
	code, out, errOut := runCommand(t, env, "", "import", "-apply", "-strict", file)
	require.Equal(t, 0, code, errOut)
	require.Contains(t, out, "new 0")
	require.Contains(t, out, "refused 0")
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	code, _, errOut = runCommand(t, env, strings.Replace(string(data), "demo-", "DEMO-", 1), "import", "-apply", "-")
	require.Equal(t, 1, code, "a changed bundle must not be taken")
	require.NotEmpty(t, errOut)
}

func TestTakenPortIsSaid(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { _ = l.Close() }()
	code, out, errOut := runCommand(t, map[string]string{"STATORBOOK_ADDR": l.Addr().String(), "STATORBOOK_DATA_DIR": t.TempDir()}, "", "serve")
	require.Equal(t, 1, code)
	require.Empty(t, out)
	require.Contains(t, errOut, "is taken by another program")
}

// TestServiceWaitsForItsDatabase starts without a database: alive, not ready, 503 with a problem.
func TestServiceWaitsForItsDatabase(t *testing.T) {
	t.Parallel()
	nowhere := "postgres://nobody@127.0.0.1:1/none?connect_timeout=1"
	s := startServer(t, map[string]string{"DATABASE_URL": nowhere, "DATABASE_OWNER_URL": nowhere + "&application_name=owner", "STATORBOOK_ADDR": "127.0.0.1:0"})
	status, _ := get(t, s.base+"/livez")
	require.Equal(t, 200, status)
	for _, path := range []string{"/readyz", "/v1/wires/swg-34", "/v1/windings/demo-x"} {
		status, problem := get(t, s.base+path)
		require.Equal(t, 503, status, path)
		require.NotContains(t, fmt.Sprint(problem), "nobody", "no driver text reaches a caller")
	}
	require.Equal(t, 0, s.stop(), "stopping while waiting is no error")
}

func TestCommandsAndTheirHelp(t *testing.T) {
	t.Parallel()
	for _, cmd := range commands() {
		code, out, _ := runCommand(t, nil, "", cmd.name, "-h")
		require.Equal(t, 0, code, cmd.name)
		require.Contains(t, out, "usage: go run ./api "+cmd.name)
	}
	cases := []struct {
		env  map[string]string
		args []string
		code int
		want string
	}{
		{nil, []string{"-h"}, 0, "DATABASE_URL"},
		{nil, []string{"version"}, 0, "statorbook "},
		{nil, []string{"wind"}, 2, `no command "wind"`},
		{nil, []string{"version", "extra"}, 2, "usage"},
		{nil, []string{"import"}, 2, "usage"},
		{nil, []string{"import", "-loud", "x"}, 2, "usage"},
		{map[string]string{"STATORBOOK_ADDR": "8080"}, []string{"serve"}, 1, "must be host:port"},
		{map[string]string{"DATABASE_OWNER_URL": "postgres://x"}, []string{"serve"}, 1, "without DATABASE_URL"},
		{nil, []string{"import", "no-such-file.jsonl"}, 1, "no-such-file.jsonl"},
	}
	for _, c := range cases {
		code, out, errOut := runCommand(t, c.env, "", c.args...)
		require.Equal(t, c.code, code, c.args)
		require.Contains(t, out+errOut, c.want, c.args)
	}
}

func TestHealthAsksTheServer(t *testing.T) {
	t.Parallel()
	s := startServer(t, givenDatabase(t))
	addr := strings.TrimPrefix(s.base, "http://")
	code, _, errOut := runCommand(t, map[string]string{"STATORBOOK_ADDR": addr}, "", "health")
	require.Equal(t, 0, code, errOut)
	s.stop()
	// Not the port that it had: by now that may be another test's.
	code, _, _ = runCommand(t, map[string]string{"STATORBOOK_ADDR": "127.0.0.1:1"}, "", "health")
	require.Equal(t, 1, code)
}

// BenchmarkStart measures a start on a database that is migrated and seeded, to the first ready answer.
func BenchmarkStart(b *testing.B) {
	owner, app := pgtest.NewURLs(b)
	env := map[string]string{"DATABASE_URL": app, "DATABASE_OWNER_URL": owner, "STATORBOOK_ADDR": "127.0.0.1:0", "STATORBOOK_DATA_DIR": b.TempDir()}
	b.ReportAllocs()
	for b.Loop() {
		ctx, cancel := context.WithCancel(b.Context())
		out := &buffer{}
		done := make(chan int, 1)
		go func() {
			done <- run(ctx, nil, console{out: out, err: io.Discard, getenv: func(k string) string { return env[k] }})
		}()
		for !strings.Contains(out.String(), "listening on") {
			time.Sleep(time.Millisecond)
		}
		cancel()
		<-done
	}
}
