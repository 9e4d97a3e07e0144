package postgres_test

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/jsonin"
	"statorbook/internal/postgres"
)

// record is one line of a bundle that a test writes.
type record struct {
	kind     bundle.Kind
	id       string
	revision int
	body     any
}

// sampleID gives a UUID for a letter of the kind and a number.
func sampleID(kind string, n int) string {
	return fmt.Sprintf("%s%07x-0000-4000-8000-%012x", kind, n, n)
}

// sampleFamily is a demo family with two stacks; change alters it.
func sampleFamily(t testing.TB, n int, change func(*bundle.Family)) record {
	t.Helper()
	var f bundle.Family
	require.NoError(t, jsonin.Decode([]byte(fmt.Sprintf(`{"id": %q, "slug": "demo-family-%d", "title": "Demo family %d", "application": "pump",
		"core": {"phases": 1, "rotor_position": "inside", "slots": 24, "gap_diameter_mm": 60.50, "back_diameter_mm": {"value": 110.00, "resolution": 0.01},
			"tooth_width_mm": 4.10, "slot_depth_mm": 16.0, "slot_opening_mm": 2.2, "back_iron_mm": 8.6, "slot_area_mm2": 83.1, "slot_area_basis": "net"},
		"cores": [{"id": %q, "stack_length_mm": 28.0}, {"id": %q, "stack_length_mm": 45.00}], "demo": true, "source": "invented", "licence": "CC0-1.0"}`,
		sampleID("f", n), n, n, sampleID("c", 2*n), sampleID("c", 2*n+1))), &f, jsonin.Line))
	if change != nil {
		change(&f)
	}
	return record{bundle.KindFamily, f.ID, max(f.Revision, 1), &f}
}

// sampleWinding is a demo winding on the first stack of a family; change alters it.
func sampleWinding(t testing.TB, n, family int, change func(*bundle.Winding)) record {
	t.Helper()
	var w bundle.Winding
	require.NoError(t, jsonin.Decode([]byte(fmt.Sprintf(`{"id": %q, "slug": "demo-winding-%d", "core_id": %q, "family_id": %q,
		"core_as_measured": {"phases": 1, "rotor_position": "inside", "slots": 24, "gap_diameter_mm": 60.5, "stack_length_mm": 28},
		"motor_type": "permanent_split_capacitor", "origin": "factory", "nameplate": {"voltage_v": 230, "frequency_hz": 50, "power_w": 370, "poles": 4},
		"scheme": {"poles": 4, "coil_sets": [
			{"role": "main", "pattern": {"kind": "concentric", "throws": [6, 4], "turns": [66, 52], "groups": 4, "alternate": true},
				"wires": [{"system": "swg", "size": "23", "conductor": "copper", "strands": 1}], "mass_g": 410.0, "resistance_ohm": 9.50, "temperature_c": 20}]},
		"overhang_lead_mm": 31.50, "liner": {"material": "film", "thickness_mm": 0.250}, "leads": [{"mark": "U1", "goes_to": "line"}],
		"quality": {"scheme": "counted"}, "remarks": "demo record", "times_seen": 3, "demo": true, "source": "invented", "licence": "CC0-1.0"}`,
		sampleID("b", n), n, sampleID("c", 2*family), sampleID("f", family))), &w, jsonin.Line))
	if change != nil {
		change(&w)
	}
	return record{bundle.KindWinding, w.ID, max(w.Revision, 1), &w}
}

// sampleWire is a row of the SWG table (BS 3737 gives 23 SWG as 0.024 in = 0.6096 mm).
func sampleWire(t testing.TB, change func(*bundle.WireSize)) record {
	t.Helper()
	var w bundle.WireSize
	require.NoError(t, jsonin.Decode([]byte(`{"id": "swg-23", "system": "swg", "size": "23", "conductor": {"diameter_mm": 0.6096, "by_rule": false},
		"covered": [], "sources": [{"title": "BS 3737", "evidence": "from memory"}]}`), &w, jsonin.Line))
	if change != nil {
		change(&w)
	}
	return record{bundle.KindWire, w.ID, 1, &w}
}

// write makes a bundle of records.
func write(t testing.TB, records ...record) string {
	t.Helper()
	var out bytes.Buffer
	w := bundle.NewWriter(&out)
	require.NoError(t, w.Manifest(sampleID("a", 1), 1, bundle.Manifest{Licence: "CC0-1.0", Demo: true, Title: "test"}))
	for _, r := range records {
		require.NoError(t, w.Write(r.kind, r.id, r.revision, r.body))
	}
	require.NoError(t, w.Close())
	return out.String()
}

// reader reads a bundle.
func reader(text string) *bundle.Reader {
	return bundle.NewReader(strings.NewReader(text), bundle.Options{})
}

// imported imports a bundle and gives the report, and the rows of all lines by number.
func imported(t testing.TB, store *postgres.Store, text string, o postgres.ImportOptions) (catalog.ImportReport, map[int]catalog.ImportRow) {
	t.Helper()
	rows := map[int]catalog.ImportRow{}
	o.OnRow = func(r catalog.ImportRow) error { rows[r.Line] = r; return nil }
	report, err := store.Import(t.Context(), reader(text), o)
	require.NoError(t, err)
	require.Len(t, rows, report.Lines)
	return report, rows
}

// exported exports everything.
func exported(t testing.TB, store *postgres.Store) string {
	t.Helper()
	var out bytes.Buffer
	w := bundle.NewWriter(&out)
	_, err := store.Export(t.Context(), w, postgres.ExportOptions{Manifest: bundle.Manifest{Title: "test"}})
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return out.String()
}

// hashes gives the content hash of each record of a bundle by id.
func hashes(t testing.TB, text string) map[string]string {
	t.Helper()
	all := map[string]string{}
	for r := reader(text); ; {
		line, err := r.Next()
		if err == io.EOF {
			return all
		}
		require.NoError(t, err)
		if line.Kind != bundle.KindManifest {
			all[line.ID] = line.SHA256
		}
	}
}
