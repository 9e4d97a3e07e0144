package errs_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
)

// The text of an error, for logs and the command line, says each thing once and names the places.
func TestErrorSaysEachThingOnce(t *testing.T) {
	t.Parallel()
	for want, err := range map[string]error{
		"Poles are odd.":                errs.New(errs.KindImpossible, "Poles are odd.", errs.Field{Pointer: "/poles", Detail: "Poles are odd."}),
		"Not JSON: line 1.":             errs.New(errs.KindSyntax, "Not JSON: line 1.", errs.Field{Detail: "line 1"}),
		"Not JSON: line 1.; /a: line 1": errs.New(errs.KindSyntax, "Not JSON: line 1.", errs.Field{Pointer: "/a", Detail: "line 1"}),
		"/a: is odd; since: is late":    errs.New(errs.KindSyntax, "", errs.Field{Pointer: "/a", Detail: "is odd"}, errs.Field{Parameter: "since", Detail: "is late"}),
		"It failed: no disk":            errs.Wrap(errs.KindInternal, "It failed", errors.New("no disk")),
	} {
		require.EqualError(t, err, want)
	}
}
