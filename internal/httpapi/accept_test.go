package httpapi

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The rows follow RFC 9110 section 12.5.1.
func TestNegotiate(t *testing.T) {
	t.Parallel()
	offers := []string{"application/json", "text/csv", "application/x-ndjson"}
	for accept, want := range map[string]int{
		"":                                  0,
		"*/*":                               0,
		"application/json":                  0,
		"text/csv":                          1,
		"text/*":                            1,
		"TEXT/CSV":                          1,
		"text/csv;q=0.5, application/json":  0,
		"text/csv, application/json;q=0.5":  1,
		"text/csv, application/json":        0,
		"application/*;q=0.2, text/csv;q=0": 0,
		"*/*, application/json;q=0":         1,
		"text/html, */*;q=0.1":              0,
		"application/x-ndjson":              2,
		"text/html":                         -1,
		"application/json;q=0":              -1,
		"image/*":                           -1,
		"nonsense":                          -1,
		",,,":                               -1,
		"application/json;q=nonsense":       -1,
		"text/csv;header=present":           1,
	} {
		require.Equal(t, want, negotiate(accept, offers), "%q", accept)
	}
}
