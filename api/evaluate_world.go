package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/score"
	"statorbook/internal/wire"
)

// The files of a world.
const (
	catalogueFile = "catalogue.jsonl"
	queriesFile   = "queries.jsonl"
	entriesFile   = "entries.jsonl"
	scoresFile    = "scores.txt"
)

// evalWorld is a world on disk, read through once and found sound.
type evalWorld struct {
	dir              string
	gauges           score.Gauges
	simple           *score.Simple
	families         int
	queries, entries int
	referenceTitle   string
	reference        score.Reference // nil if there is none
}

// evalTruth is the truth of a query, and of an entry.
type evalTruth struct {
	Kind          string  `json:"kind,omitempty"`
	WindingID     string  `json:"winding_id,omitempty"`
	CoreID        string  `json:"core_id,omitempty"`
	SeriesTurns   float64 `json:"series_turns,omitempty"`
	ConductorArea float64 `json:"conductor_area_mm2,omitempty"`
	Slip          *string `json:"slip,omitempty"`
}

// evalLine is a line of queries.jsonl or entries.jsonl.
type evalLine struct {
	ID      string          `json:"id"`
	Request json.RawMessage `json:"request"`
	Truth   evalTruth       `json:"truth"`
	where   string          // file and line, for errors
}

// openWorld reads a folder through, so that what is wrong with it is told before anything is started.
func openWorld(dir string, wires *wire.Table) (*evalWorld, error) {
	if info, err := os.Stat(dir); err != nil {
		return nil, err
	} else if !info.IsDir() {
		return nil, fmt.Errorf("%s is not a folder: evaluate takes a folder with %s and %s", dir, catalogueFile, queriesFile)
	}
	w := &evalWorld{dir: dir, simple: score.NewSimple(wires)}
	for _, s := range wires.Sizes(wire.SWG) {
		w.gauges = append(w.gauges, float64(s.Diameter))
	}
	if err := w.readCatalogue(); err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Join(dir, catalogueFile), err)
	}
	for l, err := range w.lines(queriesFile) {
		if err == nil {
			_, _, err = l.query()
		}
		if err != nil {
			return nil, err
		}
		w.queries++
	}
	if w.queries == 0 {
		return nil, fmt.Errorf("%s: there is no query in it", filepath.Join(dir, queriesFile))
	}
	for l, err := range w.lines(entriesFile) {
		if errors.Is(err, fs.ErrNotExist) {
			break
		}
		if err == nil && l.Truth.Slip == nil {
			err = fmt.Errorf("%s: truth.slip is missing; it is empty for a clean sheet", l.where)
		}
		if err != nil {
			return nil, err
		}
		w.entries++
	}
	text, err := os.ReadFile(filepath.Join(dir, scoresFile))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	w.referenceTitle, w.reference = score.ReadReference(string(text))
	return w, nil
}

// readCatalogue gives the records to the simple matchers.
func (w *evalWorld) readCatalogue() error {
	f, err := os.Open(filepath.Join(w.dir, catalogueFile))
	if err != nil {
		return errors.Unwrap(err) // the caller names the file
	}
	defer func() { _ = f.Close() }() // read only
	families := map[string]*bundle.Family{}
	for r := bundle.NewReader(f, bundle.Options{}); ; {
		line, err := r.Next()
		switch {
		case errors.Is(err, io.EOF):
			w.families = len(families)
			return nil
		case err != nil:
			return err
		case line.Kind == bundle.KindFamily:
			families[line.Family.ID] = line.Family
		case line.Kind == bundle.KindCore && families[line.Core.FamilyID] != nil:
			f := families[line.Core.FamilyID]
			f.Cores = append(f.Cores, bundle.FamilyCore{ID: line.Core.ID, StackLength: line.Core.StackLength})
		case line.Kind == bundle.KindWinding:
			f := families[line.Winding.FamilyID]
			if f == nil {
				return fmt.Errorf("line %d: winding %s: its family %s does not stand before it", line.Number, line.ID, line.Winding.FamilyID)
			}
			family := f.ToDomain()
			w.simple.Add(&family, []catalog.Winding{line.Winding.ToDomain()})
		}
	}
}

// maxEvalLine is the longest line that is read; a request may have 64 KiB.
const maxEvalLine = 1 << 20

// lines reads a file of JSON lines. What cannot be read is an error with its file and line.
func (w *evalWorld) lines(name string) iter.Seq2[*evalLine, error] {
	path := filepath.Join(w.dir, name)
	return func(yield func(*evalLine, error) bool) {
		f, err := os.Open(path)
		if err != nil {
			yield(nil, err)
			return
		}
		defer func() { _ = f.Close() }() // read only
		in := bufio.NewScanner(f)
		in.Buffer(make([]byte, 0, 64<<10), maxEvalLine)
		n := 0
		for in.Scan() {
			n++
			l := &evalLine{where: fmt.Sprintf("%s: line %d", path, n)}
			if err := l.read(in.Bytes()); err != nil {
				yield(nil, fmt.Errorf("%s: %w", l.where, err))
				return
			}
			if !yield(l, nil) {
				return
			}
		}
		err = in.Err()
		if errors.Is(err, bufio.ErrTooLong) {
			err = fmt.Errorf("it is longer than %d bytes", maxEvalLine)
		}
		if err != nil {
			yield(nil, fmt.Errorf("%s: line %d: %w", path, n+1, err))
		}
	}
}

func (l *evalLine) read(text []byte) error {
	if err := json.Unmarshal(text, l); err != nil {
		return fmt.Errorf("it is not a JSON object of id, request and truth: %w", err)
	}
	if len(l.Request) == 0 || l.Request[0] != '{' {
		return errors.New("request must be an object")
	}
	l.Request = slices.Clone(l.Request)
	return nil
}

// askedStator is what the simple matchers need of a request.
type askedStator struct {
	Measurements bundle.Core       `json:"measurements"`
	Nameplate    *bundle.Nameplate `json:"nameplate"`
	MotorType    jsonin.Raw        `json:"motor_type"`
	Supply       jsonin.Raw        `json:"supply"`
	Remains      jsonin.Raw        `json:"remains"`
	Stock        jsonin.Raw        `json:"stock"`
	Limit        jsonin.Raw        `json:"limit"`
}

// query gives the truth of a query and what the simple matchers are asked: nothing, if a figure of it is
// out of all bounds.
func (l *evalLine) query() (score.Truth, score.Question, error) {
	t := score.Truth{Kind: score.Kind(l.Truth.Kind), WindingID: l.Truth.WindingID, CoreID: l.Truth.CoreID, SeriesTurns: l.Truth.SeriesTurns, ConductorArea: l.Truth.ConductorArea}
	var q score.Question
	fail := func(text string) (score.Truth, score.Question, error) {
		return t, q, fmt.Errorf("%s: %s", l.where, text)
	}
	switch {
	case !slices.Contains(score.Kinds(), t.Kind):
		return fail(fmt.Sprintf("truth.kind must be record, new_winding, new_stack or new_family, not %q", l.Truth.Kind))
	case t.Kind == score.Record && t.WindingID == "":
		return fail("truth.winding_id is missing; a record has one")
	case (t.Kind == score.Record || t.Kind == score.NewWinding) && t.CoreID == "":
		return fail("truth.core_id is missing; a record and a new winding have one")
	case !(t.SeriesTurns > 0):
		return fail("truth.series_turns must be above 0")
	case !(t.ConductorArea > 0):
		return fail("truth.conductor_area_mm2 must be above 0")
	}
	var asked askedStator
	err := jsonin.Decode(l.Request, &asked, jsonin.Single)
	switch {
	case err != nil && errs.KindOf(err) == errs.KindImpossible:
		return t, q, nil // a figure out of all bounds, such as a slip makes: the service will say so
	case err != nil:
		return fail("request: " + err.Error())
	}
	q.Core = asked.Measurements.ToDomain()
	if asked.Nameplate != nil {
		plate := asked.Nameplate.ToDomain()
		q.Nameplate = &plate
	}
	return t, q, nil
}

// body is the request with the longest list of candidates, so that the truth is seen wherever it stands.
func (l *evalLine) body() ([]byte, error) {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(l.Request, &members); err != nil {
		return nil, err
	}
	members["limit"] = json.RawMessage("50") // the most that the contract allows
	return json.Marshal(members)
}
