package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"statorbook/internal/score"
	"statorbook/internal/simworld"

	"github.com/stretchr/testify/require"
)

// TestEvaluate goes all the way: makes a small world, serves it from a database of its own, asks over
// HTTP, draws, and leaves nothing behind. The database that the environment names must not be touched:
// it does not even exist.
func TestEvaluate(t *testing.T) {
	temp, out := enterable(t), t.TempDir()
	t.Setenv("TMPDIR", temp)
	env := map[string]string{"DATABASE_URL": "postgres://nobody@127.0.0.1:1/none?connect_timeout=1", "STATORBOOK_DATA_DIR": filepath.Join(out, "never")}
	world, drawing := filepath.Join(out, "world"), filepath.Join(out, "curve.svg")
	code, text, errText := runCommand(t, env, "", "evaluate", "-seed", "3", "-records", "150", "-queries", "60", "-entries", "60", "-write", world, "-svg", drawing)
	require.Equal(t, 0, code, errText)
	require.Contains(t, text, "the simulated world of seed 3 (usual constants): 150 records of")
	require.Contains(t, text, "60 measured stators asked over HTTP")
	require.Contains(t, text, "60 record sheets checked")
	require.Contains(t, text, "No real motor was in this")
	require.NotContains(t, text, "refused")
	for _, m := range score.Measures() {
		require.Contains(t, text, m.Name)
	}
	// A small world says little, but a matcher that works names most cores, and more than its neighbours.
	cells := cellsOf(t, text, "core named first, where it is catalogued, %")
	require.Greater(t, cells[1], "90")
	require.Less(t, cells[len(cells)-2], cells[1])
	svg, err := os.ReadFile(drawing)
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(string(svg), "<svg ") && strings.HasSuffix(string(svg), "</svg>\n"))

	left, err := os.ReadDir(temp)
	require.NoError(t, err)
	require.Empty(t, left, "the private database is gone")
	require.NoDirExists(t, env["STATORBOOK_DATA_DIR"])

	// The folder that it left is a world like any other, and gives the same figures.
	require.NoError(t, os.WriteFile(filepath.Join(world, scoresFile), []byte("The best on this world:\nrecord n 40 | record top-1 95.0 top-3 99.0\n"), 0o600))
	code, again, errText := runCommand(t, env, "", "evaluate", world)
	require.Equal(t, 0, code, errText)
	require.Contains(t, again, "reference, from scores.txt: The best on this world")
	cells = cellsOf(t, again, "record named first, where it is catalogued, %")
	require.Contains(t, cells, "95.0")
	require.Contains(t, cells, ">= 93.50")
	require.Equal(t, afterTable(text), afterTable(again))
}

// enterable is a temporary folder that the database's user can enter.
func enterable(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.Chmod(filepath.Dir(dir), 0o755))
	return dir
}

// afterTable is the report from the lines by kind of truth on.
func afterTable(report string) string {
	_, rest, _ := strings.Cut(report, "what it really was")
	return rest
}

// cellsOf are the cells of one line of a table, without its name.
func cellsOf(t *testing.T, report, name string) []string {
	t.Helper()
	for line := range strings.Lines(report) {
		if rest, ok := strings.CutPrefix(line, name); ok {
			return regexp.MustCompile(` {2,}`).Split(strings.TrimSpace(rest), -1)
		}
	}
	t.Fatalf("no line %q in\n%s", name, report)
	return nil
}

// TestEvaluateFlagsAreChecked: what is wrong, and what would be right. No database is started for it.
func TestEvaluateFlagsAreChecked(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"-seed", "x"}, 1, `invalid value "x" for flag -seed: it must be a whole number from 0 to 18446744073709551615`},
		{[]string{"-seed", "-1"}, 1, "from 0 to 18446744073709551615"},
		{[]string{"-records", "0"}, 1, "-records: it must be a whole number from 1 to 5000000"},
		{[]string{"-records", "1e3"}, 1, "from 1 to 5000000"},
		{[]string{"-queries", "0"}, 1, "-queries: it must be a whole number from 1 to 1000000"},
		{[]string{"-entries", "1000001"}, 1, "-entries: it must be a whole number from 0 to 1000000"},
		{[]string{"-loud"}, 1, "flag provided but not defined: -loud"},
		{[]string{"one", "two"}, 2, "usage: go run ./api evaluate"},
		{[]string{"-seed", "4", "some-folder"}, 1, "-seed makes a world, but some-folder is one"},
		{[]string{"no-such-folder"}, 1, "no-such-folder"},
		{[]string{"evaluate.go"}, 1, "evaluate.go is not a folder: evaluate takes a folder with catalogue.jsonl and queries.jsonl"},
		{[]string{"-h"}, 0, "queries.jsonl"},
		{[]string{"-records", "5", "-h"}, 0, "usage: go run ./api evaluate"},
	} {
		code, out, errOut := runCommand(t, nil, "", append([]string{"evaluate"}, c.args...)...)
		require.Equal(t, c.code, code, c.args)
		require.Contains(t, out+errOut, c.want, c.args)
	}
	o, err := evaluateFlags([]string{"-seed", "0", "-perturb"})
	require.NoError(t, err)
	require.Equal(t, simworld.Config{Seed: 0, Records: 2000, Queries: 1500, Entries: 4000, Perturb: 1}, o.world, "the world of section 8, shifted")
}

// goodQuery is a query that can be asked.
const goodQuery = `{"id": "Q1", "request": {"measurements": {"slots": 24}}, "truth": {"kind": "new_family", "series_turns": 400, "conductor_area_mm2": 0.2}}`

// smallWorld writes a small simulated world.
func smallWorld(t *testing.T) string {
	t.Helper()
	wires, err := seedWires()
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, writeWorld(dir, simworld.Config{Seed: 9, Records: 6, Queries: 4, Entries: 4}, wires))
	return dir
}

// TestWorldsAreReadThroughFirst: each fault is told with its file and line.
func TestWorldsAreReadThroughFirst(t *testing.T) {
	t.Parallel()
	wires, err := seedWires()
	require.NoError(t, err)
	w, err := openWorld(smallWorld(t), wires)
	require.NoError(t, err)
	require.Equal(t, []int{6, 4, 4}, []int{w.simple.Records(), w.queries, w.entries})
	require.Nil(t, w.reference)
	require.Greater(t, len(w.gauges), 40)

	with := func(line string) string { return goodQuery + "\n" + line + "\n" }
	truth := func(text string) string {
		return with(`{"id": "Q2", "request": {"measurements": {"slots": 24}}, "truth": {` + text + `}}`)
	}
	for _, c := range []struct{ file, text, want string }{
		{queriesFile, with("{"), "queries.jsonl: line 2: it is not a JSON object of id, request and truth"},
		{queriesFile, with(""), "queries.jsonl: line 2: it is not a JSON object"},
		{queriesFile, with(`[]`), "queries.jsonl: line 2: it is not a JSON object"},
		{queriesFile, with(`{"id": "Q2", "truth": {"kind": "record"}}`), "queries.jsonl: line 2: request must be an object"},
		{queriesFile, with(`{"id": "Q2", "request": 7}`), "line 2: request must be an object"},
		{queriesFile, truth(``), `line 2: truth.kind must be record, new_winding, new_stack or new_family, not ""`},
		{queriesFile, truth(`"kind": "Record"`), `not "Record"`},
		{queriesFile, truth(`"kind": "record", "series_turns": 1, "conductor_area_mm2": 1`), "line 2: truth.winding_id is missing"},
		{queriesFile, truth(`"kind": "record", "winding_id": "a", "series_turns": 1, "conductor_area_mm2": 1`), "line 2: truth.core_id is missing"},
		{queriesFile, truth(`"kind": "new_winding", "series_turns": 1, "conductor_area_mm2": 1`), "line 2: truth.core_id is missing"},
		{queriesFile, truth(`"kind": "new_stack", "conductor_area_mm2": 1`), "line 2: truth.series_turns must be above 0"},
		{queriesFile, truth(`"kind": "new_stack", "series_turns": 1, "conductor_area_mm2": -1`), "line 2: truth.conductor_area_mm2 must be above 0"},
		{queriesFile, truth(`"kind": "new_stack", "series_turns": "many"`), "line 2: it is not a JSON object of id, request and truth"},
		{queriesFile, with(strings.Replace(goodQuery, `"slots"`, `"slotz"`, 1)), "line 2: request: One thing in the body is wrong.; /measurements/slotz"},
		{queriesFile, with(strings.Replace(goodQuery, "24", `"many"`, 1)), "/measurements/slots"},
		{queriesFile, with(`{"id": "` + strings.Repeat("x", maxEvalLine) + `"}`), "queries.jsonl: line 2: it is longer than 1048576 bytes"},
		{queriesFile, "", "queries.jsonl: there is no query in it"},
		{entriesFile, `{"id": "E1", "request": {}, "truth": {}}`, "entries.jsonl: line 1: truth.slip is missing"},
		{entriesFile, "{}", "entries.jsonl: line 1: request must be an object"},
		{catalogueFile, "", "catalogue.jsonl: line 1: The file ends without its end line"},
		{catalogueFile, `{"kind": "family"`, "catalogue.jsonl: line 1: The body cannot be read as JSON"},
		{catalogueFile, `{"kind": "manifest", "id": "m", "revision": 1, "body": {"format": 1}}` + "\n" + `{"kind": "winding", "id": "x", "revision": 1, "body": {}}`, "catalogue.jsonl: line 2 (winding x)"},
	} {
		dir := smallWorld(t)
		require.NoError(t, os.WriteFile(filepath.Join(dir, c.file), []byte(c.text), 0o600))
		_, err := openWorld(dir, wires)
		require.ErrorContains(t, err, c.want, "%.200s", c.text)
		require.ErrorContains(t, err, dir)
	}
}

// TestFiguresOutOfBounds: a figure that the service will refuse is for the service to refuse, and to lose by.
func TestFiguresOutOfBounds(t *testing.T) {
	t.Parallel()
	l := &evalLine{}
	require.NoError(t, l.read([]byte(strings.Replace(goodQuery, `"slots": 24`, `"slots": 24, "gap_diameter_mm": 1e9`, 1))))
	truth, question, err := l.query()
	require.NoError(t, err)
	require.Equal(t, score.NewFamily, truth.Kind)
	require.Equal(t, score.Question{}, question)
}

func TestFilesOfAWorldThatMayBeAbsent(t *testing.T) {
	t.Parallel()
	wires, err := seedWires()
	require.NoError(t, err)
	for _, file := range []string{catalogueFile, queriesFile} {
		dir := smallWorld(t)
		require.NoError(t, os.Remove(filepath.Join(dir, file)))
		_, err := openWorld(dir, wires)
		require.ErrorIs(t, err, os.ErrNotExist)
		require.ErrorContains(t, err, file)
	}
	dir := smallWorld(t)
	require.NoError(t, os.Remove(filepath.Join(dir, entriesFile)))
	w, err := openWorld(dir, wires)
	require.NoError(t, err)
	require.Zero(t, w.entries)
}

// TestRefusedLinesOfACatalogue: a world whose catalogue cannot be taken whole is not measured.
func TestRefusedLinesOfACatalogue(t *testing.T) {
	t.Parallel()
	home := enterable(t)
	l, err := openLab(t.Context(), console{out: &buffer{}, err: &buffer{}}, config{pgBin: os.Getenv("STATORBOOK_PG_BIN")}, filepath.Join(home, "postgres"))
	require.NoError(t, err)
	defer func() { require.NoError(t, l.close()) }()
	data, err := os.ReadFile(sampleBundle)
	require.NoError(t, err)
	lines := slices.Collect(strings.Lines(string(data)))
	first := slices.IndexFunc(lines, func(line string) bool { return strings.Contains(line, `"winding"`) })
	core := regexp.MustCompile(`"core_id": *"[^"]*"`)
	require.Regexp(t, core, lines[first])
	lines[first] = core.ReplaceAllString(lines[first], `"core_id": "00000000-0000-4000-8000-000000000000"`)
	bad := filepath.Join(home, "bad.jsonl")
	require.NoError(t, os.WriteFile(bad, []byte(strings.Join(resealed(lines), "")), 0o600))
	err = l.load(t.Context(), bad)
	require.ErrorContains(t, err, "bad.jsonl: line")
	require.ErrorContains(t, err, "unknown_core")
	require.Nil(t, l.service.keeper.current.Load(), "nothing is served of it")
	require.NoError(t, l.load(t.Context(), sampleBundle))
	require.NotNil(t, l.service.keeper.current.Load())
	require.ErrorContains(t, l.load(t.Context(), sampleBundle), "nothing in it is new")
}

// resealed gives the lines of a bundle with an end line that fits them.
func resealed(lines []string) []string {
	lines = slices.Clone(lines)
	last := len(lines) - 1
	sum := sha256.Sum256([]byte(strings.Join(lines[:last], "")))
	lines[last] = fmt.Sprintf("{\"kind\": \"end\", \"count\": %d, \"sha256\": \"%x\"}\n", last, sum)
	return lines
}

// TestSimpleMatchersBreakTheFloors: a matcher that is no more than one of the simple ones would not pass.
func TestSimpleMatchersBreakTheFloors(t *testing.T) {
	t.Parallel()
	wires, err := seedWires()
	require.NoError(t, err)
	dir := t.TempDir()
	require.NoError(t, writeWorld(dir, simworld.Config{Seed: 5, Records: 400, Queries: 200}, wires))
	w, err := openWorld(dir, wires)
	require.NoError(t, err)
	var nearest, gaussian score.Result
	for line, err := range w.lines(queriesFile) {
		require.NoError(t, err)
		truth, question, err := line.query()
		require.NoError(t, err)
		a, b := w.simple.Nearest(&question), w.simple.Gaussian(&question)
		nearest.Outcomes, gaussian.Outcomes = append(nearest.Outcomes, score.Judge(&a, &truth, w.gauges)), append(gaussian.Outcomes, score.Judge(&b, &truth, w.gauges))
	}
	for name, r := range map[string]*score.Result{"nearest": &nearest, "gaussian": &gaussian} {
		var broken []string
		for _, m := range score.Measures() {
			if !m.Floor.Holds(m.From(r)) {
				broken = append(broken, m.Key)
			}
		}
		require.Subset(t, broken, []string{"core_top1", "record_top1", "log_loss", "auc_core", "auc_record", "ece_record", "first_right", "one_of_three", "new_one_of_three", "new_turns_p90", "cover_turns_unlikely"}, name)
	}
}

// numbered yields n lines.
func numbered(n int, last error) iter.Seq2[*evalLine, error] {
	return func(yield func(*evalLine, error) bool) {
		for range n {
			if !yield(&evalLine{}, nil) {
				return
			}
		}
		if last != nil {
			yield(nil, last)
		}
	}
}

func TestAskAll(t *testing.T) {
	t.Parallel()
	at := 0
	lines := func(yield func(*evalLine, error) bool) {
		for l, err := range numbered(40, nil) {
			at++
			l.ID = strings.Repeat("i", at)
			if !yield(l, err) {
				return
			}
		}
	}
	got, err := askAll(t.Context(), lines, func(_ context.Context, l *evalLine) (int, error) {
		time.Sleep(time.Duration(len(l.ID)%3) * time.Millisecond) // so that they end out of turn
		return len(l.ID), nil
	})
	require.NoError(t, err)
	require.Len(t, got, 40)
	require.True(t, slices.IsSorted(got), "in the order of the lines: %v", got)

	broken := errors.New("broken")
	_, err = askAll(t.Context(), numbered(3, broken), func(context.Context, *evalLine) (int, error) { return 0, nil })
	require.ErrorIs(t, err, broken, "a line that cannot be read")
	_, err = askAll(t.Context(), numbered(1000, nil), func(context.Context, *evalLine) (int, error) { return 0, broken })
	require.ErrorIs(t, err, broken, "an answer that cannot be had")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = askAll(ctx, numbered(1000, nil), func(context.Context, *evalLine) (int, error) { return 0, nil })
	require.ErrorIs(t, err, context.Canceled, "somebody pressed Ctrl-C")
}
