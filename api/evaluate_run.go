package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"statorbook/internal/bundle"
	"statorbook/internal/score"
	"statorbook/internal/unit"
)

// evalWorkers is how many requests are under way at once.
const evalWorkers = 4

// evalRun is what an evaluation found.
type evalRun struct {
	ours, nearest, gaussian score.Result
	unanswered, refused     int // queries and sheets that the service understood and would not answer
	asking, checking        time.Duration
}

// matchAnswer is what is scored of an answer of POST /v1/matches.
type matchAnswer struct {
	Candidates []struct {
		WindingID   string  `json:"winding_id"`
		Probability float64 `json:"probability"`
	} `json:"candidates"`
	Cores []struct {
		CoreID      string  `json:"core_id"`
		Probability float64 `json:"probability"`
	} `json:"cores"`
	None struct {
		Winding float64 `json:"winding"`
		Core    float64 `json:"core"`
	} `json:"none"`
	Overall   []rolePart `json:"overall"`
	Proposals []struct {
		Probability float64    `json:"probability"`
		CoilSets    []rolePart `json:"coil_sets"`
	} `json:"proposals"`
}

// rolePart is what is said of one coil set.
type rolePart struct {
	Role        string       `json:"role"`
	SeriesTurns bundle.Range `json:"series_turns"`
	Area        bundle.Range `json:"conductor_area_mm2"`
}

// mainOf finds the main winding or phase u.
func mainOf(list []rolePart) *rolePart {
	for i := range list {
		if list[i].Role == "main" || list[i].Role == "phase_u" {
			return &list[i]
		}
	}
	return nil
}

// scored is the answer as it is scored.
func (m *matchAnswer) scored() score.Answer {
	a := score.Answer{NoRecord: m.None.Winding, NoCore: m.None.Core}
	for _, c := range m.Candidates {
		a.Records = append(a.Records, score.Belief{ID: c.WindingID, P: c.Probability})
	}
	for _, c := range m.Cores {
		a.Cores = append(a.Cores, score.Belief{ID: c.CoreID, P: c.Probability})
	}
	for _, p := range m.Proposals {
		g := score.Guess{P: p.Probability}
		if r := mainOf(p.CoilSets); r != nil {
			g.SeriesTurns, g.ConductorArea = r.SeriesTurns.P50, r.Area.P50
		}
		a.Guesses = append(a.Guesses, g)
	}
	if r := mainOf(m.Overall); r != nil {
		a.SeriesTurns = &unit.Range{P05: r.SeriesTurns.P05, P50: r.SeriesTurns.P50, P95: r.SeriesTurns.P95}
		a.ConductorArea = &unit.Range{P05: r.Area.P05, P50: r.Area.P50, P95: r.Area.P95}
	}
	return a
}

// checkAnswer is what is scored of an answer of POST /v1/winding-checks.
type checkAnswer struct {
	Odds float64 `json:"odds"`
	Slip *struct {
		Code string `json:"code"`
	} `json:"likely_slip"`
}

// three are the outcomes of one query.
type three struct {
	ours, nearest, gaussian score.Outcome
	unanswered              bool
}

// tellStep tells somebody who waits at a terminal what is being done.
func tellStep(c console, text string) {
	if isTerminal(c.err) {
		fmt.Fprintln(c.err, text)
	}
}

// run loads the world into a lab and asks everything.
func (w *evalWorld) run(ctx context.Context, c console, l *lab) (*evalRun, error) {
	tellStep(c, fmt.Sprintf("importing %d records", w.simple.Records()))
	if err := l.load(ctx, filepath.Join(w.dir, catalogueFile)); err != nil {
		return nil, err
	}
	if err := l.listen(evalWorkers); err != nil {
		return nil, err
	}
	run := &evalRun{}
	tellStep(c, fmt.Sprintf("asking %d queries", w.queries))
	if err := run.askQueries(ctx, w, l); err != nil || w.entries == 0 {
		return run, err
	}
	tellStep(c, fmt.Sprintf("checking %d record sheets", w.entries))
	return run, run.checkSheets(ctx, w, l)
}

func (r *evalRun) askQueries(ctx context.Context, w *evalWorld, l *lab) error {
	begun := time.Now()
	outcomes, err := askAll(ctx, w.lines(queriesFile), func(ctx context.Context, q *evalLine) (three, error) { return w.ask(ctx, l, q) })
	r.asking = time.Since(begun)
	for _, o := range outcomes {
		r.ours.Outcomes = append(r.ours.Outcomes, o.ours)
		r.nearest.Outcomes = append(r.nearest.Outcomes, o.nearest)
		r.gaussian.Outcomes = append(r.gaussian.Outcomes, o.gaussian)
		if o.unanswered {
			r.unanswered++
		}
	}
	return err
}

func (r *evalRun) checkSheets(ctx context.Context, w *evalWorld, l *lab) error {
	begun := time.Now()
	sheets, err := askAll(ctx, w.lines(entriesFile), func(ctx context.Context, e *evalLine) (score.Checked, error) { return check(ctx, l, e) })
	r.checking = time.Since(begun)
	r.ours.Slips = score.JudgeSlips(sheets)
	for _, s := range sheets {
		if math.IsInf(s.Odds, 0) {
			r.refused++
		}
	}
	return err
}

// ask asks one query of the service and of the simple matchers.
func (w *evalWorld) ask(ctx context.Context, l *lab, q *evalLine) (three, error) {
	truth, question, err := q.query()
	if err != nil {
		return three{}, err
	}
	body, err := q.body()
	if err != nil {
		return three{}, err
	}
	var answer matchAnswer
	var out three
	var ours score.Answer // an unanswered query gives the truth no chance
	err = l.post(ctx, "/v1/matches", body, &answer)
	switch {
	case errors.Is(err, errUnanswered):
		out.unanswered = true
	case err != nil:
		return three{}, fmt.Errorf("%s: %w", q.where, err)
	default:
		ours = answer.scored()
	}
	nearest, gaussian := w.simple.Nearest(&question), w.simple.Gaussian(&question)
	out.ours, out.nearest, out.gaussian = score.Judge(&ours, &truth, w.gauges), score.Judge(&nearest, &truth, w.gauges), score.Judge(&gaussian, &truth, w.gauges)
	return out, nil
}

// check has one record sheet checked. One that is refused counts against the check either way: as a
// false alarm if it is clean, else as a slip not found.
func check(ctx context.Context, l *lab, e *evalLine) (score.Checked, error) {
	var answer checkAnswer
	err := l.post(ctx, "/v1/winding-checks", e.Request, &answer)
	out := score.Checked{Slip: *e.Truth.Slip, Odds: answer.Odds}
	switch {
	case errors.Is(err, errUnanswered) && out.Slip == "":
		out.Odds = math.Inf(1)
	case errors.Is(err, errUnanswered):
		out.Odds = math.Inf(-1)
	case err != nil:
		return out, fmt.Errorf("%s: %w", e.where, err)
	}
	if answer.Slip != nil {
		out.Named = answer.Slip.Code
	}
	return out, nil
}

// askAll asks about every line with several workers and gives the results in the order of the lines.
// The first failure ends it.
func askAll[R any](ctx context.Context, lines iter.Seq2[*evalLine, error], ask func(context.Context, *evalLine) (R, error)) ([]R, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	type task struct {
		at   int
		line *evalLine
	}
	tasks := make(chan task)
	var mu sync.Mutex
	var results []R
	var wg sync.WaitGroup
	for range evalWorkers {
		wg.Go(func() {
			for t := range tasks {
				r, err := ask(ctx, t.line)
				if err != nil {
					cancel(err)
					continue
				}
				mu.Lock()
				results[t.at] = r
				mu.Unlock()
			}
		})
	}
	for line, err := range lines {
		if err != nil {
			cancel(err)
		}
		if ctx.Err() != nil {
			break
		}
		mu.Lock()
		results = append(results, *new(R))
		at := len(results) - 1
		mu.Unlock()
		tasks <- task{at, line}
	}
	close(tasks)
	wg.Wait()
	return results, context.Cause(ctx)
}

// evalMeaning says what the figures mean, in words for the person who reads them.
const evalMeaning = `What the probability means. It is a posterior probability: of all stators like these about which the
service said 80 %, about 80 % were what it said, as far as this world goes. It holds among stators like
the catalogue's and technicians like the simulated ones; "none" is the chance that the answer is not in
the catalogue at all. No real motor was in this: stators, windings, nameplates, readings and slips are
all invented. Trust the gaps between the columns and whether said and came true agree, not the height
of any figure, and do not quote one as an accuracy in the field. Floors are for a world of 2,000 records,
1,500 queries and 4,000 sheets; one missed by less than its standard error (+-) is chance, two are not.
Nearest: five nearest neighbours by dimensions and plate. Gaussian: normal reading errors, a constant
for "none". Neither looks at wire, copper or supply, and neither checks record sheets.
`

// print writes the report.
func (r *evalRun) print(out io.Writer, title string, w *evalWorld) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %d records of %d laminations\n", title, w.simple.Records(), w.families)
	fmt.Fprintf(&b, "%d measured stators asked over HTTP in %.1f s, %d at a time", w.queries, r.asking.Seconds(), evalWorkers)
	if w.entries > 0 {
		fmt.Fprintf(&b, "; %d record sheets checked in %.1f s", w.entries, r.checking.Seconds())
	}
	if r.unanswered > 0 {
		fmt.Fprintf(&b, "; %d queries were refused as impossible (422) and count as wrong", r.unanswered)
	}
	if r.refused > 0 {
		fmt.Fprintf(&b, "; %d record sheets were refused (422) and count as false alarms if clean, as not found if wrong", r.refused)
	}
	b.WriteString("\n\n")
	if w.reference != nil {
		fmt.Fprintf(&b, "reference, from %s: %s\n", scoresFile, w.referenceTitle)
	}
	b.WriteString(score.Table([]score.Column{{Title: "ours", Result: &r.ours}, {Title: "nearest", Result: &r.nearest}, {Title: "Gaussian", Result: &r.gaussian}}, w.reference))
	b.WriteString("\n" + score.KindsTable(r.ours.Outcomes) + "\nSaid and come true: | is the mean probability said, o the share that came true, @ both\n")
	for _, curve := range r.ours.Outcomes.Curves() {
		b.WriteString(curve.Text())
	}
	if r.ours.Slips != nil {
		b.WriteString("\n" + score.SlipsTable(r.ours.Slips))
	}
	b.WriteString("\n" + evalMeaning)
	_, err := io.WriteString(out, b.String())
	return err
}
