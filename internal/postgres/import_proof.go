package postgres

import (
	"cmp"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"regexp"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

// The codes of reviews. The first three leave the record unproved, the others refuse it: somebody
// changed it, or the review.
const (
	proofUnsigned = "not_signed"
	proofUnknown  = "signer_unknown"
	proofSecond   = "second_review"
	proofAlone    = "review_without_record"
	proofBad      = "proof_invalid"
	proofContent  = "proof_of_other_content"
	proofState    = "proof_of_other_state"
)

// proof is a review that holds: a known key of the institute that it speaks for signed it, and it is
// about this very revision.
type proof struct {
	line      int
	statement bundle.Statement
	note      string
}

// heldReasons are the reason codes that the tables take.
var heldReasons = regexp.MustCompile(`^[a-z_]{1,40}$`)

// reason is the reason code as it is stored, NULL if there is none.
func (p *proof) reason() *string {
	if !heldReasons.MatchString(p.statement.Reason) {
		return nil
	}
	return &p.statement.Reason
}

// signatories reads which institutes have a key here.
func signatories(ctx context.Context, tx pgx.Tx) (map[string]bool, error) {
	rows, err := tx.Query(ctx, `SELECT i.slug FROM institute i WHERE EXISTS (SELECT FROM signing_key k WHERE k.institute_id = i.id)`)
	if err != nil {
		return nil, err
	}
	slugs, err := pgx.CollectRows(rows, pgx.RowTo[string])
	known := map[string]bool{}
	for _, slug := range slugs {
		known[slug] = true
	}
	return known, err
}

// review holds a review against the record before it. What is wrong with the record itself is kept in
// it until the next record comes.
func (run *importRun) review(line *bundle.Line) error {
	told := catalog.ImportRow{Line: line.Number, Kind: string(line.Kind), ID: line.ID, Revision: line.Revision, Outcome: catalog.OutcomeIgnored}
	r := run.held
	if r == nil || r.kind != line.Review.Kind || r.id != line.ID || r.revision != line.Revision {
		told.Code = proofAlone
		return run.turnDownCode(told)
	}
	p, code, detail := run.judge(r, line)
	switch code {
	case "":
		if r.proof == nil {
			r.proof = p
			return nil // its outcome is that of the record
		}
		told.Code = proofSecond
	case proofUnsigned, proofUnknown:
		r.doubt, told.Code, told.Detail = cmp.Or(r.doubt, detail), code, detail
		if code == proofUnknown {
			told.Detail += " Accept the key of " + line.Review.Statement().Institute + ", then import again: the proof is taken in."
		}
	default:
		r.bad = code
		told.Outcome, told.Code, told.Detail = catalog.OutcomeRefused, code, detail
		if err := run.dropHeld(); err != nil {
			return err
		}
	}
	return run.turnDownCode(told)
}

// judge says what a review is worth for the record.
func (run *importRun) judge(r *staged, line *bundle.Line) (*proof, string, string) {
	said := line.Review.Statement()
	if line.Review.Note == "" {
		return nil, proofUnsigned, "The review of " + said.Institute + " is not signed."
	}
	if said.SHA256 != hex.EncodeToString(r.hash) {
		return nil, proofContent, ""
	}
	if (said.Act == "withdrawal") != (r.state == string(catalog.Withdrawn)) {
		return nil, proofState, ""
	}
	_, err := bundle.OpenStatement([]byte(line.Review.Note), run.o.Keys)
	var no *errs.Error
	if errors.As(err, &no) {
		code := ""
		if len(no.Fields) > 0 {
			code = no.Fields[0].Code
		}
		if code == bundle.CodeSignerUnknown || code == bundle.CodeSignerOther {
			return nil, proofUnknown, no.Detail
		}
		return nil, proofBad, no.Detail
	}
	if err != nil {
		return nil, proofBad, err.Error()
	}
	if !run.signatories[said.Institute] {
		return nil, proofUnknown, "No key of " + said.Institute + " is accepted here."
	}
	return &proof{line.Number, said, line.Review.Note}, "", ""
}

// badReview refuses the record whose review cannot be read.
func (run *importRun) badReview(id string) error {
	if run.held == nil || run.held.id != id {
		return nil
	}
	run.held.bad = proofBad
	return run.dropHeld()
}

// dropHeld reports the record that waits as refused.
func (run *importRun) dropHeld() error {
	r := run.held
	run.held = nil
	delete(run.lint.families, r.id) // its figures say nothing about the records that follow
	if p := r.proof; p != nil {     // a good review does not save it
		if err := run.turnDownCode(catalog.ImportRow{Line: p.line, Kind: string(bundle.KindReview), ID: r.id, Revision: r.revision,
			Outcome: catalog.OutcomeIgnored, Code: proofAlone}); err != nil {
			return err
		}
	}
	return run.turnDownCode(catalog.ImportRow{Line: r.line, Kind: r.kind, ID: r.id, Revision: r.revision, Outcome: catalog.OutcomeRefused, Code: r.bad})
}

// turnDownCode reports a line with the words of its code.
func (run *importRun) turnDownCode(row catalog.ImportRow) error {
	row.Detail = cmp.Or(row.Detail, importDetails[row.Code])
	return run.turnDown(row)
}

// release gives the record that waited, ready for the stage. One that is neither proved nor a
// demonstration says so.
func (run *importRun) release() (*staged, error) {
	r := run.held
	run.held = nil
	if r == nil || r.kind != string(bundle.KindFamily) && r.kind != string(bundle.KindWinding) {
		return r, nil
	}
	if r.proof == nil && (!r.demo || r.doubt != "") {
		r.doubts = append(r.doubts, catalog.Unproved(r.institute, r.doubt))
	}
	var err error
	r.findings, err = json.Marshal(bundle.FindingsOf(r.doubts))
	return r, err
}

// openSeal holds the signature over the whole file against the known keys. One that is not of a known
// key says nothing, one that does not hold spoils the file.
func (run *importRun) openSeal() error {
	m := run.in.Manifest()
	if m == nil || m.Signer == "" {
		return nil
	}
	by, err := run.in.OpenSeal(run.o.Keys)
	var no *errs.Error
	if errors.As(err, &no) && len(no.Fields) > 0 && (no.Fields[0].Code == bundle.CodeSignerUnknown || no.Fields[0].Code == bundle.CodeSignerOther) {
		return nil
	}
	run.report.SealedBy = by.Signers
	return err
}

// applyProofs keeps the statements about what is new or was unproved, and gives the reviews their outcomes:
// that of the record, but new where the proof alone is.
func applyProofs(ctx context.Context, tx pgx.Tx) error {
	_, err := tx.Exec(ctx, `
		INSERT INTO statement (record_kind, record_id, revision, note)
		SELECT r.kind, r.id::uuid, r.revision, r.note FROM import_row r JOIN import_verdict v USING (line)
		WHERE v.outcome = 'new' AND r.note IS NOT NULL ORDER BY r.line`)
	if err != nil {
		return err
	}
	if err := adoptProofs(ctx, tx); err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO import_verdict (line, kind, outcome, code)
		SELECT r.review_line, 'review', CASE WHEN l.line IS NOT NULL THEN 'new' WHEN v.outcome = 'new' OR v.outcome = 'same' AND s.note IS NOT NULL THEN v.outcome ELSE 'ignored' END,
		       CASE WHEN v.outcome = 'same' AND s.note IS NULL THEN 'proof_not_taken' WHEN v.outcome NOT IN ('new', 'same') THEN 'review_without_record' END
		FROM import_row r JOIN import_verdict v USING (line) LEFT JOIN import_late l USING (line)
		     LEFT JOIN statement s ON s.record_kind = r.kind AND s.record_id = r.id::uuid AND s.revision = r.revision
		WHERE r.review_line IS NOT NULL`)
	return err
}

// ensureProvers makes the persons whom the proofs of new records name.
func ensureProvers(ctx context.Context, tx pgx.Tx, kind catalog.Kind) error {
	_, err := tx.Exec(ctx, `
		INSERT INTO person (institute_id, pseudonym)
		SELECT DISTINCT p.id, x.pseudonym FROM import_row r JOIN import_verdict v USING (line) JOIN institute p ON p.slug = r.signer
		CROSS JOIN LATERAL (VALUES (r.author), (r.vetter)) x (pseudonym)
		WHERE v.outcome = 'new' AND r.kind = $1 ON CONFLICT (institute_id, pseudonym) DO NOTHING`, string(kind))
	return err
}
