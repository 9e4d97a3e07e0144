package insulation_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/insulation"
	"statorbook/internal/unit"
)

// go test ./internal/insulation -run TestSeeds -update writes seeds/insulation.jsonl anew.
var update = flag.Bool("update", false, "write the seed file instead of comparing it")

type record map[string]string

// reference reads the published rows; their sources stand in the file.
func reference(t testing.TB) []record {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "insulation.csv"))
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	lines, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(lines), 1)
	var all []record
	for _, line := range lines[1:] {
		row := record{}
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		all = append(all, row)
	}
	return all
}

func number(t testing.TB, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}

// evidence says in general words how a row is known; suppliers and pages are named in the file only.
func evidence(row record) string {
	switch {
	case strings.Contains(row["evidence"], "from memory"):
		return "from memory"
	case strings.Contains(row["note"], "from memory"):
		return "seen quoted; " + row["note"]
	}
	return "seen quoted"
}

// classes builds the thermal classes with their rises and hot-spot allowances.
func classes(t testing.TB) []insulation.Class {
	t.Helper()
	var all []insulation.Class
	at := map[string]int{}
	for _, row := range reference(t) {
		switch row["kind"] {
		case "thermal_class":
			c := insulation.Class{
				Letter: row["item"], MaxHotSpot: unit.Celsius(number(t, row["value"])),
				Source: insulation.Source{Title: "IEC 60085", Evidence: evidence(row), Kind: row["applies"]},
			}
			if strings.HasPrefix(c.Letter, "(250") {
				c.Letter, c.Source.Note = "250", row["note"]
			} else if !strings.Contains(row["note"], "wrong") {
				c.Examples = row["note"]
			}
			at[c.Letter] = len(all)
			all = append(all, c)
		case "temp_rise_limit":
			c := &all[at[row["item"]]]
			note := row["note"]
			if strings.HasPrefix(note, "value seen") {
				note = ""
			}
			c.Rises = append(c.Rises, insulation.RiseLimit{
				Rise: unit.Kelvin(number(t, row["value"])), Scope: row["quantity"],
				Source: insulation.Source{Title: row["condition_or_rule"], Evidence: evidence(row), Note: note, Kind: row["applies"]},
			})
		case "hot_spot_allowance":
			all[at[row["item"]]].HotSpot = &insulation.Figure{Value: number(t, row["value"]), Source: insulation.Source{
				Title: "class - (40 °C + rise limit)", Evidence: evidence(row), Note: row["note"], Kind: row["applies"],
			}}
		}
	}
	return all
}

// materialNames gives each row of the file its slug and its use at the bench.
var materialNames = map[string][2]string{
	"pressboard / presspahn (cellulose)":                   {"pressboard", "liner"},
	"leatheroid / fish paper (vulcanised fibre)":           {"leatheroid", "liner"},
	"varnished cotton or silk cloth (empire cloth)":        {"varnished-cloth", "separator"},
	"polyester (PET) film":                                 {"polyester-film", "liner"},
	"polyester mat-film-mat laminate (DMD)":                {"polyester-laminate", "liner"},
	"aramid-film-aramid laminate (NMN type)":               {"aramid-laminate", "liner"},
	"aramid paper":                                         {"aramid-paper", "liner"},
	"polyimide film":                                       {"polyimide-film", "liner"},
	"glass cloth, varnished":                               {"glass-cloth", "separator"},
	"mica-glass":                                           {"mica-glass", "separator"},
	"glass sleeving, varnished/acrylic/silicone":           {"glass-sleeving", "sleeving"},
	"PVC sleeving":                                         {"pvc-sleeving", "sleeving"},
	"slot wedge: bamboo, maple, vulcanised fibre":          {"wood-wedge", "wedge"},
	"slot wedge: glass-polyester/epoxy strip, formed film": {"glass-wedge", "wedge"},
}

// materials builds the insulating materials.
func materials(t testing.TB) []insulation.Material {
	t.Helper()
	var all []insulation.Material
	for _, row := range reference(t) {
		if row["kind"] != "material" {
			continue
		}
		name, known := materialNames[row["item"]]
		require.True(t, known, row["item"])
		note := strings.ReplaceAll(row["note"], "maker's", "supplier's")
		m := insulation.Material{ID: name[0], Name: row["item"], Use: name[1], ThermalClass: row["condition_or_rule"], Note: note}
		title := "general tables of insulating materials"
		if strings.Contains(row["evidence"], "common practice") {
			title = "common practice"
		}
		m.Source = insulation.Source{Title: title, Evidence: evidence(row), Kind: row["applies"]}
		low, high, isRange := strings.Cut(row["value"], "-")
		switch {
		case strings.HasPrefix(row["value"], "bore"):
			m.Note = strings.TrimPrefix(m.Note+"; "+row["value"]+"; wall thickness not stated", "; ")
		case isRange:
			m.ThicknessMin, m.ThicknessMax = unit.Millimetre(number(t, low)), unit.Millimetre(number(t, high))
		}
		all = append(all, m)
	}
	return all
}

type (
	seedLine struct {
		Kind     string `json:"kind"`
		ID       string `json:"id,omitempty"`
		Revision int    `json:"revision,omitempty"`
		Count    int    `json:"count,omitempty"`
		SHA256   string `json:"sha256,omitempty"`
		Body     any    `json:"body,omitempty"`
	}
	seedManifest struct {
		Format  int    `json:"format"`
		Licence string `json:"licence"`
		Demo    bool   `json:"demo"`
		Title   string `json:"title"`
	}
	seedSource struct {
		Title    string `json:"title"`
		Evidence string `json:"evidence"`
		Note     string `json:"note,omitempty"`
		Kind     string `json:"kind"`
	}
	seedRise struct {
		Rise   float64    `json:"rise_k"`
		Scope  string     `json:"scope"`
		Source seedSource `json:"source"`
	}
	seedHotSpot struct {
		Allowance float64    `json:"allowance_k"`
		Source    seedSource `json:"source"`
	}
	seedClass struct {
		Letter     string       `json:"letter"`
		MaxHotSpot float64      `json:"max_hot_spot_c"`
		Examples   string       `json:"examples,omitempty"`
		Rises      []seedRise   `json:"rises"`
		HotSpot    *seedHotSpot `json:"hot_spot,omitempty"`
		Source     seedSource   `json:"source"`
	}
	seedMaterial struct {
		ID           string     `json:"id"`
		Name         string     `json:"name"`
		Use          string     `json:"use"`
		ThermalClass string     `json:"thermal_class"`
		ThicknessMin *float64   `json:"thickness_min_mm"`
		ThicknessMax *float64   `json:"thickness_max_mm"`
		Note         string     `json:"note,omitempty"`
		Source       seedSource `json:"source"`
	}
)

func thickness(d unit.Millimetre) *float64 {
	if d == 0 {
		return nil
	}
	v := float64(d)
	return &v
}

func classBody(c insulation.Class) seedClass {
	out := seedClass{Letter: c.Letter, MaxHotSpot: float64(c.MaxHotSpot), Examples: c.Examples, Rises: []seedRise{}, Source: seedSource(c.Source)}
	for _, r := range c.Rises {
		out.Rises = append(out.Rises, seedRise{float64(r.Rise), r.Scope, seedSource(r.Source)})
	}
	if c.HotSpot != nil {
		out.HotSpot = &seedHotSpot{c.HotSpot.Value, seedSource(c.HotSpot.Source)}
	}
	return out
}

func materialBody(m insulation.Material) seedMaterial {
	return seedMaterial{m.ID, m.Name, m.Use, m.ThermalClass, thickness(m.ThicknessMin), thickness(m.ThicknessMax), m.Note, seedSource(m.Source)}
}

// TestSeedsAreGenerated proves that the committed seeds are what the published rows make.
func TestSeedsAreGenerated(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	lines := 0
	write := func(l seedLine) {
		enc := json.NewEncoder(&out)
		enc.SetEscapeHTML(false)
		require.NoError(t, enc.Encode(l))
		lines++
	}
	write(seedLine{Kind: "manifest", ID: "insulation", Revision: 1, Body: seedManifest{Format: 1, Licence: "CC0-1.0", Title: "Thermal classes of insulation and insulating materials of the bench"}})
	for _, c := range classes(t) {
		write(seedLine{Kind: "insulation_class", ID: c.Letter, Revision: 1, Body: classBody(c)})
	}
	for _, m := range materials(t) {
		write(seedLine{Kind: "insulating_material", ID: m.ID, Revision: 1, Body: materialBody(m)})
	}
	sum := sha256.Sum256(out.Bytes())
	write(seedLine{Kind: "end", Count: lines, SHA256: hex.EncodeToString(sum[:])})

	path := filepath.Join("..", "..", "seeds", "insulation.jsonl")
	if *update {
		require.NoError(t, os.WriteFile(path, out.Bytes(), 0o644))
	}
	committed, err := os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, bytes.Equal(out.Bytes(), committed), "seeds/insulation.jsonl differs from what the reference rows make; run this test with -update and read the change")
}
