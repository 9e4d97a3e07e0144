package httpapi_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/httpapi"
	"statorbook/internal/match"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
	"statorbook/internal/simworld"
	"statorbook/internal/wire"
	"statorbook/seeds"

	"github.com/stretchr/testify/require"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// shop is a server on a real database with the reference tables and the demo set.
type shop struct {
	*httpapi.Host
	store *postgres.Store
	demo  simworld.Catalogue
}

// openShop gives a server on a database of the test's own.
func openShop(t testing.TB) shop {
	t.Helper()
	_, url := pgtest.NewFrom(t, "httpapi-demo", fill)
	store, err := postgres.Open(t.Context(), url, postgres.WithConns(4))
	require.NoError(t, err)
	t.Cleanup(store.Close)
	snap := snapshotOf(t, store)
	return shop{httpapi.NewHost(t, httpapi.Config{Snapshot: func() *httpapi.Snapshot { return snap }, Families: store, Windings: store, Drafts: store, Workflow: store, Witnesses: store, Institutes: store, Changes: store, Bundles: store}), store, demoSet(snap.Wires)}
}

func demoSet(table *wire.Table) simworld.Catalogue { return simworld.Demo(simworld.DemoSeed, table) }

// snapshotOf builds the snapshot as the program does.
func snapshotOf(t testing.TB, store *postgres.Store) *httpapi.Snapshot {
	t.Helper()
	var table *wire.Table
	var builder *match.Builder
	c, err := store.LoadCatalogue(t.Context(), func(c postgres.Catalogue) (*match.Builder, error) {
		var err error
		table, err = wire.NewTable(sizesOf(c.Wires))
		builder = match.NewBuilder(table)
		return builder, err
	})
	require.NoError(t, err)
	return &httpapi.Snapshot{Revision: c.Revision, Wires: table, Classes: c.Classes, Materials: c.Materials, Index: builder.Build(), BuiltAt: time.Unix(1764061200, 0)}
}

func sizesOf(stored []catalog.WireSize) []wire.Size {
	sizes := make([]wire.Size, len(stored))
	for i, s := range stored {
		sizes[i] = s.Size
	}
	return sizes
}

// fill imports the shipped tables and the demo set, made anew from its seed.
func fill(ctx context.Context, _, url string) error {
	store, err := postgres.Open(ctx, url, postgres.WithConns(4))
	if err != nil {
		return err
	}
	defer store.Close()
	for _, name := range []string{"wires.jsonl", "insulation.jsonl"} {
		text, err := seeds.Files.ReadFile(name)
		if err != nil {
			return err
		}
		if err := importText(ctx, store, text); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	stored, err := store.WireSizes(ctx)
	if err != nil {
		return err
	}
	table, err := wire.NewTable(sizesOf(stored))
	if err != nil {
		return err
	}
	text, err := demoBundle(demoSet(table))
	if err != nil {
		return err
	}
	if err := importText(ctx, store, text); err != nil {
		return err
	}
	_, verifier, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat("d", 32)), "demo-winding-school")
	if err != nil {
		return err
	}
	_, err = store.AddInstitute(ctx, catalog.Act{}, catalog.Institute{Slug: "demo-winding-school", Title: "Demo winding school (invented)", Demo: true}, verifier)
	return err
}

// demoBundle writes the demo set as a bundle.
func demoBundle(set simworld.Catalogue) ([]byte, error) {
	var b bytes.Buffer
	w := bundle.NewWriter(&b)
	err := w.Manifest("demo", 1, bundle.Manifest{Licence: "CC0-1.0", Demo: true, Title: "demo set of a test", Institute: set.Institute.Slug})
	for _, f := range set.Families {
		if err == nil {
			err = w.Write(bundle.KindFamily, f.ID, 1, bundle.FamilyOf(f))
		}
	}
	for _, r := range set.Windings {
		if err == nil {
			err = w.Write(bundle.KindWinding, r.ID, 1, bundle.WindingOf(r))
		}
	}
	if err == nil {
		err = w.Close()
	}
	return b.Bytes(), err
}

// importText imports a bundle and refuses to go on if a line was refused.
func importText(ctx context.Context, store *postgres.Store, text []byte) error {
	var refused error
	_, err := store.Import(ctx, bundle.NewReader(bytes.NewReader(text), bundle.Options{}), postgres.ImportOptions{
		Strict: true,
		OnRow: func(row catalog.ImportRow) error {
			if row.Outcome != catalog.OutcomeNew && refused == nil {
				refused = fmt.Errorf("line %d: %s %s", row.Line, row.Outcome, row.Detail)
			}
			return nil
		},
	})
	if refused != nil {
		return refused
	}
	return err
}

// The snapshot built from the database serves the shipped tables.
func TestTablesFromTheDatabase(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	require.Equal(t, "0.8128", fmt.Sprint(s.Ask(t, "GET", "/v1/wires/awg-20", "").At(t, "conductor", "diameter_mm")))
	require.InDelta(t, 155, s.Ask(t, "GET", "/v1/insulation-classes/F", "").Number(t, "max_hot_spot_c"), 0)
	require.Len(t, s.Ask(t, "GET", "/v1/insulating-materials", "").List(t, "items"), 14)
	meta := s.Ask(t, "GET", "/v1/meta", "")
	require.InDelta(t, len(s.demo.Families), meta.Number(t, "catalogue", "families"), 0)
	require.InDelta(t, len(s.demo.Windings), meta.Number(t, "catalogue", "records"), 0)
	require.Positive(t, meta.Number(t, "catalogue_revision"))
}

// A record has one form alone, in the list, by UUID and by slug, and its tag is in body and header.
func TestFamilyHasOneForm(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	f := s.demo.Families[0]
	byID, bySlug := s.Ask(t, "GET", "/v1/stator-families/"+f.ID, ""), s.Ask(t, "GET", "/v1/stator-families/"+f.Slug, "")
	require.Equal(t, http.StatusOK, byID.StatusCode, "%s", byID.Text())
	require.Equal(t, byID.Text(), bySlug.Text())
	require.Equal(t, "demo", byID.At(t, "status"))
	require.Equal(t, true, byID.At(t, "demo"))
	require.Equal(t, fmt.Sprintf("%q", byID.At(t, "etag")), byID.Header.Get("ETag"))
	require.Equal(t, "public, no-cache", byID.Header.Get("Cache-Control"), "a withdrawal must show at once")
	require.Equal(t, http.StatusNotModified, s.Ask(t, "GET", "/v1/stator-families/"+f.Slug, "", "If-None-Match: "+byID.Header.Get("ETag")).StatusCode)
	require.Equal(t, f.Core.GapDiameter.Text, fmt.Sprint(byID.At(t, "core", "gap_diameter_mm"))+trailing(f.Core.GapDiameter.Text), "digits as typed")
	list := s.Ask(t, "GET", "/v1/stator-families?application="+f.Application+"&page_size=200", "")
	found := false
	for i := range list.List(t, "items") {
		if list.At(t, "items", i, "id") == f.ID {
			require.Equal(t, byID.At(t), list.At(t, "items", i))
			found = true
		}
	}
	require.True(t, found)
}

// trailing gives the zeros at the end of a decimal text, which a JSON reader drops.
func trailing(text string) string {
	if !strings.Contains(text, ".") {
		return ""
	}
	kept := strings.TrimRight(text, "0")
	return strings.TrimPrefix(text, strings.TrimSuffix(kept, "."))
}

// Walking the lists at any page size gives every record once, in one order.
func TestRecordPages(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for path, want := range map[string]int{"/v1/stator-families": len(s.demo.Families), "/v1/windings": len(s.demo.Windings)} {
		for _, size := range []int{7, 50, 200} {
			seen, last := map[string]bool{}, ""
			target := fmt.Sprintf("%s?page_size=%d", path, size)
			for target != "" {
				page := s.Ask(t, "GET", target, "")
				require.Equal(t, http.StatusOK, page.StatusCode, "%s", page.Text())
				for i := range page.List(t, "items") {
					slug := page.At(t, "items", i, "slug").(string)
					require.Greater(t, slug, last)
					require.False(t, seen[slug])
					seen[slug], last = true, slug
				}
				target, _ = page.At(t, "next").(string)
			}
			require.Len(t, seen, want)
		}
	}
}

// Each filter keeps what it says, and all of it.
func TestFamilyFilters(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	poles := map[string]map[int]bool{}
	for _, w := range s.demo.Windings {
		if poles[w.FamilyID] == nil {
			poles[w.FamilyID] = map[int]bool{}
		}
		poles[w.FamilyID][w.Scheme.Poles] = true
	}
	for query, keep := range map[string]func(catalog.Family) bool{
		"phases=3":               func(f catalog.Family) bool { return f.Core.Phases == 3 },
		"rotor_position=outside": func(f catalog.Family) bool { return f.Core.RotorPosition == "outside" },
		"slots=24":               func(f catalog.Family) bool { return f.Core.Slots == 24 },
		"poles=4":                func(f catalog.Family) bool { return poles[f.ID][4] },
		"application=pump":       func(f catalog.Family) bool { return f.Application == "pump" },
		"min_gap_diameter_mm=80&max_gap_diameter_mm=120": func(f catalog.Family) bool {
			return f.Core.GapDiameter.Given && f.Core.GapDiameter.Value >= 80 && f.Core.GapDiameter.Value <= 120
		},
		"max_tooth_width_mm=4": func(f catalog.Family) bool { return f.Core.ToothWidth.Given && f.Core.ToothWidth.Value <= 4 },
		"phases=1&slots=24&application=pump": func(f catalog.Family) bool {
			return f.Core.Phases == 1 && f.Core.Slots == 24 && f.Application == "pump"
		},
		"slots=359": func(catalog.Family) bool { return false },
	} {
		want := map[string]bool{}
		for _, f := range s.demo.Families {
			if keep(f) {
				want[f.ID] = true
			}
		}
		page := s.Ask(t, "GET", "/v1/stator-families?page_size=200&"+query, "")
		got := map[string]bool{}
		for i := range page.List(t, "items") {
			got[page.At(t, "items", i, "id").(string)] = true
		}
		require.Equal(t, want, got, query)
	}
}

// Every demo record is served, analysed and billed, and the check finds no error in it.
func TestEveryDemoRecord(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for i, w := range s.demo.Windings {
		if i%5 != 0 {
			continue
		}
		record := s.Ask(t, "GET", "/v1/windings/"+w.Slug, "")
		require.Equal(t, http.StatusOK, record.StatusCode, "%s", record.Text())
		require.Equal(t, w.ID, record.At(t, "id"))
		require.Equal(t, "demo", record.At(t, "status"))
		analysis := s.Ask(t, "GET", "/v1/windings/"+w.ID+"/analysis", "")
		require.Equal(t, http.StatusOK, analysis.StatusCode, "%s: %s", w.Slug, analysis.Text())
		require.Len(t, analysis.List(t, "roles"), len(w.Scheme.CoilSets))
		require.Positive(t, analysis.Number(t, "roles", 0, "winding_factor"), w.Slug)
		require.Equal(t, "demo", analysis.At(t, "status"))
		bill := s.Ask(t, "GET", "/v1/windings/"+w.ID+"/materials?cuff_mm=8&wire_waste_pct=10", "")
		require.Equal(t, http.StatusOK, bill.StatusCode, "%s: %s", w.Slug, bill.Text())
		require.InDelta(t, 8, bill.Number(t, "allowances", "cuff_mm"), 0)
		require.NotEmpty(t, bill.List(t, "wires"))
		require.NotEmpty(t, bill.List(t, "cautions"))
	}
}

// The records of a family are listed by its id.
func TestWindingFilters(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	f := s.demo.Families[2]
	want := 0
	for _, w := range s.demo.Windings {
		if w.FamilyID == f.ID {
			want++
		}
	}
	require.Len(t, s.Ask(t, "GET", "/v1/windings?family="+f.ID, "").List(t, "items"), want)
	require.Empty(t, s.Ask(t, "GET", "/v1/windings?family=00000000-0000-4000-8000-000000000000", "").List(t, "items"))
}

// A record as GET gives it is a check when ids and state are taken out, and says the same as its sheet alone.
func TestCheckTakesARecordThatWasRead(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	const at = "/v1/winding-checks"
	for _, w := range s.demo.Windings[:10] {
		var record map[string]any
		s.Ask(t, "GET", "/v1/windings/"+w.Slug, "").JSON(t, &record)
		sheet := map[string]any{}
		for _, name := range []string{"core_as_measured", "motor_type", "nameplate", "scheme"} {
			sheet[name] = record[name]
		}
		for _, name := range []string{"id", "core_id", "family_id", "state"} {
			whole, err := jsonOf(map[string]any{name: record[name]})
			require.NoError(t, err)
			require.Equal(t, "/"+name, *s.Ask(t, "POST", at, whole).Problem(t).Errors[0].Pointer)
			delete(record, name)
		}
		record["findings"], record["answers"] = []any{map[string]any{"code": "x"}}, []any{}
		whole, err := jsonOf(record)
		require.NoError(t, err)
		alone, err := jsonOf(sheet)
		require.NoError(t, err)
		a := s.Ask(t, "POST", at, whole)
		require.Equal(t, http.StatusOK, a.StatusCode, a.Text())
		require.Equal(t, s.Ask(t, "POST", at, alone).Text(), a.Text())
	}
}

// A record goes out and comes back in as a check without what the server set, and is coherent.
func TestCheckOfARecord(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	sound := 0
	for _, w := range s.demo.Windings[:40] {
		body := bundle.WindingOf(w)
		text, err := jsonOf(map[string]any{"core_as_measured": body.CoreAsMeasured, "motor_type": body.MotorType, "nameplate": body.Nameplate, "scheme": body.Scheme, "demo": true})
		require.NoError(t, err)
		a := s.Ask(t, "POST", "/v1/winding-checks", text)
		require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.Text())
		require.NotEqual(t, "impossible", a.At(t, "verdict"), "%s: %s", w.Slug, a.Text())
		if a.At(t, "verdict") == "coherent" {
			sound++
		}
	}
	require.Greater(t, sound, 20, "most demo sheets are coherent")
	// 1180 for 118 is a finding in records, not a refusal.
	// A sheet that tells nothing is coherent, and odds of -20 say that there was nothing to judge by. Coils
	// without a core are incomplete, not impossible.
	empty := s.Ask(t, "POST", "/v1/winding-checks", `{}`)
	require.InDelta(t, -20, empty.Number(t, "odds"), 0)
	require.Equal(t, "coherent", empty.At(t, "verdict"))
	coils := s.Ask(t, "POST", "/v1/winding-checks", `{"scheme":{"poles":4,"coil_sets":[{"role":"main","pattern":{"kind":"concentric","throws":[6,4],"turns":[60,40],"groups":4,"alternate":true},"wires":[{"system":"swg","size":"33","conductor":"copper","strands":1}]}]}}`)
	require.Equal(t, "slots_missing", coils.At(t, "findings", 0, "code"))
	require.Equal(t, "coherent", coils.At(t, "verdict"))
	a := s.Ask(t, "POST", "/v1/winding-checks", `{"core_as_measured":{"rotor_position":"inside","slots":24,"gap_diameter_mm":1180,"back_diameter_mm":200}}`)
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.Text())
	require.Equal(t, "impossible", a.At(t, "verdict"))
}

// Strands in hand beyond their range are judged, but no sheet that has as many mistakes as the reader lists: it
// has not been read to its end.
func TestCheckReadsTheWholeSheet(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	wires := func(n int) string {
		return strings.TrimSuffix(strings.Repeat(`{"system":"swg","size":"33","conductor":"copper","strands":9},`, n), ",")
	}
	sheet := func(sets int) string {
		set := `{"role":"main","pattern":{"kind":"concentric","throws":[6,4],"turns":[60,40],"groups":4,"alternate":true},"wires":[` + wires(8) + `]},`
		return `{"core_as_measured":{"slots":24},"scheme":{"poles":4,"coil_sets":[` + strings.TrimSuffix(strings.Repeat(set, sets), ",") + `]}}`
	}
	few := s.Ask(t, "POST", "/v1/winding-checks", sheet(6))
	require.Equal(t, http.StatusOK, few.StatusCode, few.Text())
	require.Equal(t, "impossible", few.At(t, "verdict"))
	many := s.Ask(t, "POST", "/v1/winding-checks", sheet(7))
	require.Equal(t, http.StatusUnprocessableEntity, many.StatusCode, many.Text())
	require.Contains(t, many.At(t, "detail"), "More than 50 things")
}

// A database that has gone is 503 with Retry-After and says nothing of itself.
func TestStoreGone(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	s.store.Close()
	for _, path := range []string{"/v1/stator-families", "/v1/windings/" + s.demo.Windings[0].ID, "/v1/windings/" + s.demo.Windings[0].ID + "/analysis"} {
		a := s.Ask(t, "GET", path, "")
		require.Equal(t, http.StatusServiceUnavailable, a.StatusCode, "%s", a.Text())
		require.NotEmpty(t, a.Header.Get("Retry-After"))
		require.NotContains(t, a.Text(), "pool")
	}
	require.Equal(t, http.StatusOK, s.Ask(t, "GET", "/v1/wires/awg-20", "").StatusCode, "tables are in memory")
}

func jsonOf(v any) (string, error) {
	text, err := json.Marshal(v)
	return string(text), err
}
