package postgres_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// The manifest promises no more than the records do: it names every licence that one of them is under,
// none at all if a record names none, and calls a bundle a demonstration only if all of it is.
func TestManifestTellsTheTermsOfTheRecords(t *testing.T) {
	t.Parallel()
	_, url := pgtest.NewURLs(t)
	store := open(t, url)
	signer, verifier := keyOf(t, "far-school", "f")
	pin(t, store, "far-school", verifier)
	o := postgres.ImportOptions{Keys: keysOf(t, store)}
	far := func(r record) vouched { return vouched{record: r, institute: "far-school", signer: signer} }
	under := func(licence string, demo bool) func(*bundle.Winding) {
		return func(w *bundle.Winding) { w.Licence, w.Demo = licence, demo }
	}
	ofFamily := func(f *bundle.Family) { f.Licence = "PDDL-1.0" }
	imported(t, store, writeVouched(t, far(sampleFamily(t, 1, nil)), far(sampleWinding(t, 1, 1, nil))), o)                                              // revision 1
	imported(t, store, writeVouched(t, vouched{record: sampleWire(t, nil)}), o)                                                                         // 2
	imported(t, store, writeVouched(t, far(sampleFamily(t, 2, ofFamily)), far(sampleWinding(t, 2, 2, under("CC-BY-SA-4.0", false)))), o)                // 3
	imported(t, store, writeVouched(t, far(sampleWinding(t, 3, 2, under("ODbL-1.0", true))), far(sampleWinding(t, 4, 2, under("ODbL-1.0", false)))), o) // 4
	imported(t, store, writeVouched(t, vouched{record: sampleWinding(t, 5, 1, under("", true))}), o)                                                    // 5

	for name, c := range map[string]struct {
		o       postgres.ExportOptions
		licence string
		demo    bool
	}{
		"all, one without a licence":    {postgres.ExportOptions{}, "", false},
		"of the institute":              {postgres.ExportOptions{Institute: "far-school"}, "CC-BY-SA-4.0 AND CC0-1.0 AND ODbL-1.0 AND PDDL-1.0", false},
		"the last, with its old family": {postgres.ExportOptions{Since: 4}, "", true},
		"of the institute, the last":    {postgres.ExportOptions{Since: 3, Institute: "far-school"}, "ODbL-1.0 AND PDDL-1.0", false},
		"nothing":                       {postgres.ExportOptions{Since: 5}, "", false},
	} {
		c.o.Manifest = bundle.Manifest{Title: "test", Licence: "CC0-1.0", Demo: true} // what a caller says of it does not count
		var out bytes.Buffer
		w := bundle.NewWriter(&out)
		_, err := store.Export(t.Context(), w, c.o)
		require.NoError(t, err, name)
		require.NoError(t, w.Close(), name)
		line, err := bundle.NewReader(&out, bundle.Options{}).Next()
		require.NoError(t, err, name)
		require.Equal(t, c.licence, line.Manifest.Licence, name)
		require.Equal(t, c.demo, line.Manifest.Demo, name)
	}
}

// A catalogue of demonstrations that holds tables of wires too is no demonstration, and the tables have a
// licence of their own.
func TestManifestOfReferenceData(t *testing.T) {
	t.Parallel()
	_, url := pgtest.NewURLs(t)
	store := open(t, url)
	imported(t, store, write(t, sampleFamily(t, 1, func(f *bundle.Family) { f.Licence = "ODbL-1.0" })), postgres.ImportOptions{})
	require.Contains(t, exported(t, store), `"licence":"ODbL-1.0","demo":true`)
	imported(t, store, write(t, sampleWire(t, nil)), postgres.ImportOptions{})
	require.Contains(t, exported(t, store), `"licence":"CC0-1.0 AND ODbL-1.0","demo":false`)
}
