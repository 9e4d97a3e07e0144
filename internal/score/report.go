package score

import (
	"fmt"
	"math"
	"strings"
)

// Column is one matcher in a table.
type Column struct {
	Title  string
	Result *Result
}

// Reference holds what the best that is known reached on the same world, by key of Measure.
type Reference map[string]float64

// Table lists the demanded numbers: the first column with its standard error and whether it keeps the
// floor, beside it the reference if there is one, then the other columns. "-" is not measured.
func Table(columns []Column, ref Reference) string {
	head := []string{"", "cases", columns[0].Title, "+-", "floor", "kept"}
	if ref != nil {
		head = append(head, "reference", "bound", "kept")
	}
	for _, c := range columns[1:] {
		head = append(head, c.Title)
	}
	rows := [][]string{head}
	for _, m := range measures {
		v := m.From(columns[0].Result)
		row := []string{m.Name, fmt.Sprint(v.N), figure(v.V, m.Decimals), "", band(m.Floor, m.Decimals), kept(m.Floor, v)}
		if v.SE > 0 {
			row[3] = figure(v.SE, m.Decimals)
		}
		if ref != nil {
			row = append(row, besideCells(&m, v, ref)...)
		}
		for _, c := range columns[1:] {
			row = append(row, figure(m.From(c.Result).V, m.Decimals))
		}
		rows = append(rows, row)
	}
	return aligned(rows)
}

// besideCells gives the three cells that set a value beside a reference.
func besideCells(m *Measure, v Value, ref Reference) []string {
	at, ok := ref[m.Key]
	switch {
	case !ok:
		return []string{"-", "", ""}
	case m.Beside == nil:
		return []string{figure(at, m.Decimals), "", ""}
	}
	b := m.Beside(at)
	return []string{figure(at, m.Decimals), band(b, m.Decimals+1), kept(b, v)}
}

// KindsTable has one line for each kind of truth.
func KindsTable(s Outcomes) string {
	rows := [][]string{{"what it really was", "cases", "core first", "record first", "log loss", "first right", "one of three", "turns 50 %", "turns 90 %", "turns held", "area held"}}
	for _, k := range Kinds() {
		o := s.Of(k)
		r := &Result{Outcomes: o}
		percent := func(hit func(*Outcome) bool) string { return figure(share(all, hit)(r).V, 1) }
		turns := o.each(func(o *Outcome) float64 { return o.TurnsError })
		rows = append(rows, []string{string(k), fmt.Sprint(len(o)), percent(func(o *Outcome) bool { return o.CoreRank == 1 }), percent(func(o *Outcome) bool { return o.RecordRank == 1 }),
			figure(logLoss(r).V, 3), percent(func(o *Outcome) bool { return o.Right[0] }), percent((*Outcome).OneOfThree),
			figure(Quantile(turns, 0.5), 3), figure(Quantile(turns, 0.9), 3), percent(coversTurns), percent(coversArea)})
	}
	return aligned(rows)
}

// SlipsTable has one line for each kind of slip.
func SlipsTable(s *Slips) string {
	rows := [][]string{{"slip", "sheets", "found % at 1 %", "at 2 %", "rightly named %"}}
	note := ""
	for _, k := range s.Kinds {
		name := k.Slip
		if !k.Counted() {
			name += " *"
			note = "* not one of the 22 kinds of the demand; left out of the means\n"
		}
		rows = append(rows, []string{name, fmt.Sprint(k.N), figure(k.Found1, 1), figure(k.Found2, 1), figure(k.Named, 1)})
	}
	rows = append(rows, []string{"mean of the kinds", fmt.Sprint(s.Wrong), figure(s.Mean1, 1), figure(s.Mean2, 1), ""})
	return aligned(rows) + note + fmt.Sprintf("%d clean sheets; 1 and 2 %% of them are called wrong too (ln odds above %.2f and %.2f)\n", s.Clean, s.Odds1, s.Odds2)
}

// figure writes a number, "-" for one that is not there.
func figure(v float64, decimals int) string {
	switch {
	case math.IsNaN(v):
		return "-"
	case math.IsInf(v, 0):
		return "none"
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

// band writes what a value must lie in.
func band(b Band, decimals int) string {
	switch {
	case math.IsInf(b.High, 1):
		return ">= " + figure(b.Low, decimals)
	case math.IsInf(b.Low, -1):
		return "<= " + figure(b.High, decimals)
	}
	return figure(b.Low, decimals) + " to " + figure(b.High, decimals)
}

func kept(b Band, v Value) string {
	switch {
	case math.IsNaN(v.V):
		return "-"
	case b.Holds(v):
		return "yes"
	}
	return "NO"
}

// aligned sets rows in columns, the first one to the left, the others to the right.
func aligned(rows [][]string) string {
	width := make([]int, len(rows[0]))
	for _, r := range rows {
		for i, cell := range r {
			width[i] = max(width[i], len(cell))
		}
	}
	var b strings.Builder
	for _, r := range rows {
		line := fmt.Sprintf("%-*s", width[0], r[0])
		for i, cell := range r[1:] {
			line += fmt.Sprintf("  %*s", width[i+1], cell)
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	return b.String()
}
