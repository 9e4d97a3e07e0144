package catalog

import "statorbook/internal/errs"

// Outcome is what an import made of one line.
type Outcome string

// The outcomes. Only New changes anything.
const (
	OutcomeNew         Outcome = "new"         // stored, or would be stored by a dry run
	OutcomeSame        Outcome = "same"        // this revision is here already, with the same content
	OutcomeConflicting Outcome = "conflicting" // something else is here in its place; nothing was changed
	OutcomeRefused     Outcome = "refused"     // the line cannot be read, or points to what is not there
	OutcomeIgnored     Outcome = "ignored"     // the line has no record of its own
)

// ImportRow is the report on one line of a bundle.
type ImportRow struct {
	Line     int    // from 1
	Kind, ID string // "" where the line does not tell
	Revision int
	Outcome  Outcome
	Code     string         // lower_snake reason of an outcome that is not new or same, "" for those
	Detail   string         // one sentence that names the remedy
	Fields   []errs.Field   // what is wrong with a refused line
	Findings []errs.Finding // what is doubtful about a record that was taken
}

// ImportReport sums an import up.
type ImportReport struct {
	Lines    int // without manifest and end line
	Counts   map[Outcome]int
	Applied  bool  // false for a dry run, and when nothing was new
	Revision int64 // the catalogue revision afterwards
	Licence  string
	Title    string
	Demo     bool     // what the manifest says
	SealedBy []string // names of the known keys that signed the whole file, nil if none did
}
