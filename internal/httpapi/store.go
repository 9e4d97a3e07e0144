package httpapi

import (
	"context"

	"statorbook/internal/catalog"
)

// FamilyStore reads published stator families. An unknown id is errs.KindNotFound.
type FamilyStore interface {
	Family(ctx context.Context, idOrSlug string) (catalog.Family, error)
}

// WindingStore reads published winding records, withdrawn ones included. An unknown id is errs.KindNotFound.
type WindingStore interface {
	Winding(ctx context.Context, idOrSlug string) (catalog.Winding, error)
}
