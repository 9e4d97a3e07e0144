package postgres

import (
	"context"
	"errors"
	"io"
	"time"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

const (
	importTimeout  = time.Hour        // of one statement; the reader may be a slow pipe
	importLockWait = 60 * time.Second // for another import to end
	progressEvery  = 1000             // lines
)

// ImportOptions changes how Import works.
type ImportOptions struct {
	// DryRun decides on every line and stores nothing.
	DryRun bool
	// Keys are the signing keys whose reviews prove a record, see Verifiers. Their institutes must be known
	// here. Without keys every record lands unproved.
	Keys *bundle.Keys
	// Credit names whose work the demo records without a review are. Without it, and for all other
	// records without one, author and vetter stay empty, and the record is foreign.
	Credit *Authorship
	// Strict stores nothing at all if any line is refused or conflicting.
	Strict bool
	// OnRow hears of every line: of those that cannot be read while reading, of the others when all
	// are decided, both in the order of the file. It runs inside the transaction and must not block.
	OnRow func(catalog.ImportRow) error
	// Progress hears how many lines were read, every thousand.
	Progress func(lines int)
}

// errDry ends the transaction of a dry run, or of a strict import with a bad line.
var errDry = errors.New("nothing is to be stored")

// Import reads a bundle to its end and stores what is new in one transaction: all of it, or, if the
// file turns out to be cut or changed, nothing. A line that cannot be taken is reported and does
// not stop the others. Reading holds no lock; deciding and storing do, so that of two imports of one
// file the second finds everything there. The catalogue revision rises by one, if anything is new.
func (s *Store) Import(ctx context.Context, in *bundle.Reader, o ImportOptions) (catalog.ImportReport, error) {
	run := newImport(in, o)
	conn, err := s.acquire(ctx)
	if err != nil {
		return run.report, err
	}
	defer conn.Release()
	err = pgx.BeginTxFunc(ctx, conn, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if err := limitTransaction(ctx, tx, importTimeout, importLockWait); err != nil {
			return err
		}
		return run.all(ctx, tx)
	})
	return run.report, run.failure(err)
}

func newImport(in *bundle.Reader, o ImportOptions) *importRun {
	return &importRun{o: o, in: in, lockWait: importLockWait, report: catalog.ImportReport{Counts: map[catalog.Outcome]int{}}}
}

// failure says what an error of the transaction means to the caller, nil if nothing was to be stored.
func (run *importRun) failure(err error) error {
	var bad *bundle.LineError
	switch {
	case errors.Is(err, errDry):
		run.report.Applied = false
		return nil
	case errors.As(run.broken, &bad):
		return bad // the caller wants the line as well as the kind
	case run.broken != nil:
		return wrap(run.broken, "the import was given up")
	}
	return wrap(err, "the import failed")
}

// importRun is one import under way.
type importRun struct {
	o     ImportOptions
	in    *bundle.Reader
	by    authors
	lint  *linter
	actor *acting // who asked for it, nil for the operator
	held  *staged // the last record, until what follows shows whether it has reviews

	signatories map[string]bool // institutes with a key here
	lockWait    time.Duration   // for another import to end

	broken error // why reading ended early; the server only tells that it did
	report catalog.ImportReport
}

// all is the transaction.
func (run *importRun) all(ctx context.Context, tx pgx.Tx) error {
	if err := createStage(ctx, tx); err != nil {
		return err
	}
	var err error
	if run.lint, err = newLinter(ctx, tx); err != nil {
		return err
	}
	if run.signatories, err = signatories(ctx, tx); err != nil {
		return err
	}
	if err := copyStage(ctx, tx, run.next); err != nil {
		return err
	}
	if err := lockCatalogue(ctx, tx, run.lockWait); err != nil {
		return err
	}
	if run.o.Credit != nil {
		if run.by, err = ensureAuthors(ctx, tx, *run.o.Credit); err != nil {
			return err
		}
	}
	if err := run.apply(ctx, tx); err != nil {
		return err
	}
	if err := run.tell(ctx, tx); err != nil {
		return err
	}
	bad := run.report.Counts[catalog.OutcomeRefused] + run.report.Counts[catalog.OutcomeConflicting]
	if run.o.DryRun || run.o.Strict && bad > 0 {
		return errDry
	}
	run.report.Applied = run.report.Counts[catalog.OutcomeNew] > 0
	return nil
}

// apply decides and stores, kind after kind.
func (run *importRun) apply(ctx context.Context, tx pgx.Tx) error {
	if err := applyReference(ctx, tx); err != nil {
		return err
	}
	if err := applyFamilies(ctx, tx, run.by); err != nil {
		return err
	}
	if err := applyCores(ctx, tx); err != nil {
		return err
	}
	if err := applyWindings(ctx, tx, run.by); err != nil {
		return err
	}
	if err := applyProofs(ctx, tx); err != nil {
		return err
	}
	_, err := tx.Exec(ctx, `
		INSERT INTO change (catalogue_revision, item, change, record_kind, record_id, revision, content_hash, reason_code)
		SELECT s.revision, row_number() OVER (ORDER BY r.line), v.change, r.kind, r.id, r.revision, r.content_hash, r.reason_code
		FROM import_row r JOIN import_verdict v USING (line), catalogue_state s WHERE v.outcome = 'new'`)
	return err
}

// tell reports on the decided lines and leaves the audit row of an import that changed something.
func (run *importRun) tell(ctx context.Context, tx pgx.Tx) error {
	rows, err := tx.Query(ctx, `SELECT outcome, count(*) FROM import_verdict GROUP BY outcome`)
	if err != nil {
		return err
	}
	var outcome string
	var n int
	_, err = pgx.ForEachRow(rows, []any{&outcome, &n}, func() error {
		run.report.Counts[catalog.Outcome(outcome)] += n
		return nil
	})
	if err != nil {
		return err
	}
	if run.o.OnRow != nil {
		if err := run.tellRows(ctx, tx); err != nil {
			return err
		}
	}
	if run.report.Counts[catalog.OutcomeNew] > 0 {
		if err := run.audit(ctx, tx); err != nil {
			return err
		}
	}
	return tx.QueryRow(ctx, `SELECT revision FROM catalogue_state`).Scan(&run.report.Revision)
}

// audit leaves the row that says who brought how much.
func (run *importRun) audit(ctx context.Context, tx pgx.Tx) error {
	institute := run.by.institute
	var person, key, request *string
	if a := run.actor; a != nil {
		institute, person, key, request = nullText(a.institute), nullText(a.person), nullText(a.KeyID), nullText(a.RequestID)
	}
	_, err := tx.Exec(ctx, `
		INSERT INTO audit (action, institute_id, person_id, key_id, request_id, detail)
		VALUES ('import', $1::uuid, $2::uuid, $3, $4, jsonb_build_object('lines', $5::integer, 'new', $6::integer))`,
		institute, person, key, request, run.report.Lines, run.report.Counts[catalog.OutcomeNew])
	return err
}

// tellRows hands every decided line to OnRow.
func (run *importRun) tellRows(ctx context.Context, tx pgx.Tx) error {
	rows, err := tx.Query(ctx, `
		SELECT r.line, r.kind, r.id, r.revision, v.outcome, coalesce(v.code, ''), CASE WHEN v.outcome = 'new' THEN r.findings ELSE '[]' END
		FROM import_row r JOIN import_verdict v USING (line)
		UNION ALL
		SELECT v.line, v.kind, r.id, r.revision, v.outcome, coalesce(v.code, ''), '[]'
		FROM import_row r JOIN import_verdict v ON v.line = r.review_line ORDER BY 1`)
	if err != nil {
		return err
	}
	var row catalog.ImportRow
	var outcome string
	var findings []byte
	_, err = pgx.ForEachRow(rows, []any{&row.Line, &row.Kind, &row.ID, &row.Revision, &outcome, &row.Code, &findings}, func() error {
		row.Outcome, row.Detail = catalog.Outcome(outcome), importDetails[row.Code]
		var err error
		if row.Findings, err = readFindings(findings); err != nil {
			return err
		}
		return run.o.OnRow(row)
	})
	return err
}

// importDetails words the codes of lines that were not taken.
var importDetails = map[string]string{
	"other_content":        "This revision is here with other content. A change needs a higher revision.",
	"other_state":          "This revision is here in another state. A change of state needs a higher revision.",
	"older_revision":       "A newer revision is here already.",
	"held_here":            "An institute holds this record, by its own proof; an import without a proof of the same institute cannot replace it.",
	"slug_taken":           "Another record has this slug. Leave the slug out to get a new one.",
	"core_taken":           "One of its cores belongs to another family.",
	"unknown_family":       "Its family is neither here nor in this bundle.",
	"unknown_core":         "Its core is neither here nor in this bundle.",
	"core_of_other_family": "Its core belongs to another family than it names.",
	"not_published":        "A bundle carries published, superseded and withdrawn records only.",
	"core_without_id":      "Each core of a family needs an id of its own.",
	"line":                 "The line cannot be taken as it is.",
	"own_record":           "An institute of this server signed this record, and it is not here. Restore it from a backup: an import makes nothing ours.",
	proofUnsigned:          "The review is not signed: the record lands without a proof.",
	proofUnknown:           "No key that is accepted here signed the review: the record lands without a proof.",
	proofSecond:            "Another review proves the record already.",
	proofAlone:             "The record that the review speaks about was not taken, or is not in the line before it.",
	proofBad:               "The review of this record does not hold: one of the two was changed.",
	proofContent:           "The review of this record is about other content.",
	proofState:             "The review says another act than the record's state.",
	"proof_not_taken":      "The record is here without this proof: another institute holds it, or a newer revision of it is here, or an institute of this server signed. Its next revision brings its own proof.",
}

// next gives the next row for the stage, nil at the end of the bundle.
func (run *importRun) next() (*staged, error) {
	row, err := run.read()
	run.broken = err
	return row, err
}

// read goes on to the next line that can be staged, and reports on those before it.
func (run *importRun) read() (*staged, error) {
	for {
		line, err := run.in.Next()
		var bad *bundle.LineError
		switch {
		case errors.Is(err, io.EOF):
			if err := run.openSeal(); err != nil {
				return nil, err
			}
			return run.release()
		case errors.As(err, &bad) && !bad.Fatal:
			err = run.badLine(bad)
		case err != nil:
		case line.Kind == bundle.KindManifest:
			run.report.Licence, run.report.Title, run.report.Demo = line.Manifest.Licence, line.Manifest.Title, line.Manifest.Demo
		case line.Kind == bundle.KindReview:
			run.count()
			err = run.review(line)
		default:
			run.count()
			before, err := run.hold(line)
			if err != nil || before != nil {
				return before, err
			}
		}
		if err != nil {
			return nil, err
		}
	}
}

// badLine reports a line that cannot be read.
func (run *importRun) badLine(bad *bundle.LineError) error {
	run.count()
	if bad.Kind == bundle.KindReview {
		if err := run.badReview(bad.ID); err != nil {
			return err
		}
	}
	return run.turnDown(catalog.ImportRow{Line: bad.Line, Kind: string(bad.Kind), ID: bad.ID, Outcome: catalog.OutcomeRefused,
		Code: "line", Detail: bad.Err.Detail, Fields: bad.Err.Fields})
}

// hold keeps a record until what follows shows whether it has reviews, and gives the one that waited before.
func (run *importRun) hold(line *bundle.Line) (before *staged, err error) {
	row, no, err := run.lint.stage(line)
	if err != nil {
		return nil, err
	}
	if before, err = run.release(); err != nil {
		return nil, err
	}
	if run.held = row; no != nil {
		err = run.turnDownCode(catalog.ImportRow{Line: line.Number, Kind: string(line.Kind), ID: line.ID, Revision: line.Revision,
			Outcome: catalog.OutcomeRefused, Code: no.code, Detail: no.detail, Fields: no.fields})
	}
	return before, err
}

// count notes one more line.
func (run *importRun) count() {
	run.report.Lines++
	if run.o.Progress != nil && run.report.Lines%progressEvery == 0 {
		run.o.Progress(run.report.Lines)
	}
}

// turnDown reports a line that does not reach the stage.
func (run *importRun) turnDown(row catalog.ImportRow) error {
	run.report.Counts[row.Outcome]++
	if run.o.OnRow == nil {
		return nil
	}
	return run.o.OnRow(row)
}

// readFindings reads stored findings.
func readFindings(stored []byte) ([]errs.Finding, error) {
	if len(stored) <= len("[]") {
		return nil, nil
	}
	var list []bundle.Finding
	if err := unmarshal(stored, &list); err != nil {
		return nil, err
	}
	return bundle.FindingsToDomain(list), nil
}

// readAnswers reads a stored checklist.
func readAnswers(stored []byte) ([]catalog.Answer, error) {
	if len(stored) <= len("[]") {
		return nil, nil
	}
	var list []bundle.Answer
	if err := unmarshal(stored, &list); err != nil {
		return nil, err
	}
	return bundle.AnswersToDomain(list), nil
}
