package postgres_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// A bundle of what changed can be imported alone: it brings the older families and stacks that the changed
// records stand on, and nothing else that is old.
func TestBundleOfChangesStandsAlone(t *testing.T) {
	t.Parallel()
	_, firstURL := pgtest.NewURLs(t)
	first := open(t, firstURL)
	signer, verifier := keyOf(t, "far-school", "f")
	pin(t, first, "far-school", verifier)
	o := postgres.ImportOptions{Keys: keysOf(t, first)}
	far := func(r record) vouched { return vouched{record: r, institute: "far-school", signer: signer} }
	plain := func(w *bundle.Winding) { w.Demo = false }
	onStack := func(w *bundle.Winding) { w.Demo, w.CoreID = false, sampleID("c", 77) }
	imported(t, first, writeVouched(t, far(sampleFamily(t, 1, nil)), far(sampleFamily(t, 2, nil)), far(sampleFamily(t, 3, nil)),
		vouched{record: addedCore(1, 77, 33)}, vouched{record: addedCore(2, 78, 34)}, far(sampleWinding(t, 1, 1, plain))), o)
	imported(t, first, writeVouched(t, far(sampleWinding(t, 2, 1, onStack))), o)
	imported(t, first, writeVouched(t, vouched{record: addedCore(3, 79, 35)}), o)

	bundleOf := func(o postgres.ExportOptions) string {
		var out bytes.Buffer
		w := bundle.NewWriter(&out)
		_, err := first.Export(t.Context(), w, o)
		require.NoError(t, err)
		require.NoError(t, w.Close())
		return out.String()
	}
	winding, stack := []string{"family " + sampleID("f", 1), "review " + sampleID("f", 1), "core " + sampleID("c", 77), "winding " + sampleID("b", 2), "review " + sampleID("b", 2)},
		[]string{"family " + sampleID("f", 3), "review " + sampleID("f", 3), "core " + sampleID("c", 79)}
	_, err := first.Export(t.Context(), bundle.NewWriter(&bytes.Buffer{}), postgres.ExportOptions{Since: 4})
	require.ErrorContains(t, err, "beyond the catalogue revision 3", "nothing is not mistaken for no news")
	require.Equal(t, errs.KindImpossible, errs.KindOf(err))
	for name, c := range map[string]struct {
		o    postgres.ExportOptions
		want []string
	}{
		"all":              {postgres.ExportOptions{Since: 1}, append(winding[:len(winding):len(winding)], stack...)},
		"of the institute": {postgres.ExportOptions{Since: 1, Institute: "far-school"}, append(winding[:len(winding):len(winding)], stack...)},
		"of the last":      {postgres.ExportOptions{Since: 2}, stack},
		"nothing":          {postgres.ExportOptions{Since: 3}, nil},
	} {
		text := bundleOf(c.o)
		var have []string
		for line := range contents(t, text) {
			have = append(have, line)
		}
		require.ElementsMatch(t, c.want, have, name)

		_, url := pgtest.NewURLs(t)
		second := open(t, url)
		pin(t, second, "far-school", verifier)
		report, rows := imported(t, second, text, postgres.ImportOptions{Keys: keysOf(t, second), Strict: true})
		require.Equal(t, len(c.want), report.Counts[catalog.OutcomeNew], "%s: %+v", name, rows)
		require.Zero(t, report.Counts[catalog.OutcomeRefused]+report.Counts[catalog.OutcomeIgnored]+report.Counts[catalog.OutcomeConflicting], "%s: %+v", name, rows)
		report, _ = imported(t, first, text, o)
		require.Equal(t, len(c.want), report.Counts[catalog.OutcomeSame], name)
	}
}
