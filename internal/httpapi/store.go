package httpapi

import (
	"context"
	"time"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// FamilyStore reads published stator families, withdrawn ones included. ref is a UUID or a slug; an
// unknown one is errs.KindNotFound. Pages are in the order of slugs.
type FamilyStore interface {
	Family(ctx context.Context, ref string) (catalog.Family, error)
	Families(ctx context.Context, filter catalog.FamilyFilter, page catalog.PageRequest) (catalog.Page[catalog.Family], error)
}

// WindingStore reads published winding records, withdrawn ones included, as FamilyStore does.
type WindingStore interface {
	Winding(ctx context.Context, ref string) (catalog.Winding, error)
	Windings(ctx context.Context, filter catalog.WindingFilter, page catalog.PageRequest) (catalog.Page[catalog.Winding], error)
}

// KeyStore tells whose a key is. secretHash is the SHA-256 of its secret. An unknown, wrong, expired or
// revoked key is errs.KindUnauthenticated, with the same words and in the same time.
type KeyStore interface {
	Authenticate(ctx context.Context, id string, secretHash [32]byte, now time.Time) (catalog.Key, error)
}

// InstituteStore tells of institutes and the keys that they sign with, by slug, and accepts the key of a
// foreign one.
type InstituteStore interface {
	Signatory(ctx context.Context, slug string) (catalog.Signatory, error)
	Signatories(ctx context.Context, page catalog.PageRequest) (catalog.Page[catalog.Signatory], error)
	PinSigningKey(ctx context.Context, a catalog.Act, i catalog.Institute, verifier string, render func(catalog.Signatory) (catalog.Reply, error)) (catalog.Reply, error)
}

// DraftStore keeps private drafts. Whoever may not know of one hears errs.KindNotFound, as of an id that
// there is none of.
type DraftStore interface {
	CreateDraft(ctx context.Context, a catalog.Act, record catalog.Record, render catalog.Render) (catalog.Reply, error)
	EditDraft(ctx context.Context, a catalog.Act, d catalog.DraftRef, record catalog.Record, render catalog.Render) (catalog.Reply, error)
	Draft(ctx context.Context, actor catalog.Actor, kind catalog.Kind, id string) (catalog.Record, error)
	Drafts(ctx context.Context, actor catalog.Actor, kind catalog.Kind, filter catalog.DraftFilter, page catalog.PageRequest) (catalog.Page[catalog.Record], error)
}

// WorkflowStore moves a record through its life. Each act is one transaction with its audit row, and
// happens once for one Idempotency-Key.
type WorkflowStore interface {
	Submit(ctx context.Context, a catalog.Act, d catalog.DraftRef, judged catalog.Hash, findings []errs.Finding, render catalog.Render) (catalog.Reply, error)
	Vet(ctx context.Context, a catalog.Act, d catalog.DraftRef, seen catalog.Hash, answers []catalog.Answer, render catalog.Render) (catalog.Reply, error)
	Return(ctx context.Context, a catalog.Act, d catalog.DraftRef, reason string, render catalog.Render) (catalog.Reply, error)
	Publish(ctx context.Context, a catalog.Act, d catalog.DraftRef, slug string, sign func(bundle.Statement) ([]byte, error), render catalog.Render) (catalog.Reply, error)
	Withdraw(ctx context.Context, a catalog.Act, kind catalog.Kind, ref string, why catalog.Reason, sign func(bundle.Statement) ([]byte, error), render catalog.Render) (catalog.Reply, error)
	StartErratum(ctx context.Context, a catalog.Act, kind catalog.Kind, ref string, why catalog.Reason, render catalog.Render) (catalog.Reply, error)
}

// WitnessStore keeps what others say of published records, and what they were before.
type WitnessStore interface {
	Sight(ctx context.Context, a catalog.Act, ref, job string, render catalog.Render) (catalog.Reply, error)
	Report(ctx context.Context, a catalog.Act, kind catalog.Kind, ref, text string, answer func(catalog.ProblemReport) (catalog.Reply, error)) (catalog.Reply, error)
	AnswerReport(ctx context.Context, a catalog.Act, kind catalog.Kind, ref, report, text string, answer func(catalog.ProblemReport) (catalog.Reply, error)) (catalog.Reply, error)
	Reports(ctx context.Context, kind catalog.Kind, ref string) ([]catalog.ProblemReport, error)
	Revision(ctx context.Context, kind catalog.Kind, ref string, revision int) (catalog.RevisionOf, error)
	Revisions(ctx context.Context, kind catalog.Kind, ref string, after, size int) ([]catalog.RevisionOf, int, error)
}

// unknownRecord refuses an id that has not even the form of one, before the database is asked.
func unknownRecord(what, ref string) error {
	if jsonin.IsUUID(ref) || jsonin.IsSlug(ref) {
		return nil
	}
	return noRecord(what, ref)
}

func noRecord(what, ref string) error {
	detail := "There is no " + what + " " + printable(ref) + "."
	return errs.New(errs.KindNotFound, detail, errs.Field{Parameter: "id", Code: codeUnknownID, Detail: detail, Got: printable(ref)})
}
