//go:build !unix || aix || solaris

package pgtest

import (
	"context"

	"statorbook/internal/localpg"
)

// startPrivate says what to do on a system without a private server.
func startPrivate(ctx context.Context) (*server, error) {
	_, err := localpg.FindBinaries(ctx, localpg.Config{Root: "."})
	return nil, err
}
