package httpapi

import (
	"context"
	"time"

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
