package wire_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// go test ./internal/wire -run TestSeeds -update writes seeds/wires.jsonl anew.
var update = flag.Bool("update", false, "write the seed file instead of comparing it")

// The lines of the bundle, as the contract words them. A missing figure is null.
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
	seedConductor struct {
		Diameter    json.Number  `json:"diameter_mm"`
		DiameterMin *json.Number `json:"diameter_min_mm"`
		DiameterMax *json.Number `json:"diameter_max_mm"`
		Area        json.Number  `json:"area_mm2"`
		ByRule      bool         `json:"by_rule"`
		Evidence    string       `json:"evidence"`
	}
	seedCover struct {
		Build       wire.Build   `json:"build"`
		IncreaseMin *json.Number `json:"increase_min_mm"`
		OverallMin  *json.Number `json:"overall_min_mm"`
		OverallMax  *json.Number `json:"overall_max_mm"`
		ByRule      bool         `json:"by_rule"`
		Evidence    string       `json:"evidence"`
	}
	seedLimits struct {
		Min     *json.Number `json:"min"`
		Nominal *json.Number `json:"nominal"`
		Max     *json.Number `json:"max"`
	}
	seedResistance struct {
		Convention wire.Convention `json:"convention"`
		Printed    bool            `json:"printed"`
		Ohms       seedLimits      `json:"ohm_per_km_20c"`
	}
	seedEnamel struct {
		Name         string `json:"name"`
		ThermalClass string `json:"thermal_class"`
		Source       string `json:"source"`
	}
	seedSource struct {
		Title    string `json:"title"`
		Edition  string `json:"edition,omitempty"`
		Place    string `json:"place,omitempty"`
		Evidence string `json:"evidence"`
	}
	seedSize struct {
		ID         string         `json:"id"`
		System     wire.System    `json:"system"`
		Size       string         `json:"size"`
		Conductor  seedConductor  `json:"conductor"`
		Covered    []seedCover    `json:"covered"`
		Resistance seedResistance `json:"resistance"`
		Mass       json.Number    `json:"mass_g_per_m"`
		Material   wire.Conductor `json:"material"`
		Enamels    []seedEnamel   `json:"enamels,omitempty"`
		Sources    []seedSource   `json:"sources"`
	}
)

// sixDigits rounds a computed figure to six significant digits, so that no seed depends on the
// last bit of a processor.
func sixDigits(v float64) float64 {
	if v == 0 {
		return 0
	}
	scale := math.Pow(10, 6-math.Ceil(math.Log10(math.Abs(v))))
	return math.Round(v*scale) / scale
}

func plain(v float64) json.Number { return json.Number(strconv.FormatFloat(v, 'f', -1, 64)) }

// length writes a length with three decimals at least, nil for an unknown one.
func length(d unit.Millimetre) *json.Number {
	if d == 0 {
		return nil
	}
	text := strconv.FormatFloat(float64(d), 'f', -1, 64)
	if decimals(text) < 3 {
		text = strconv.FormatFloat(float64(d), 'f', 3, 64)
	}
	n := json.Number(text)
	return &n
}

func ohms(r unit.OhmPerKilometre) *json.Number {
	if r == 0 {
		return nil
	}
	n := plain(sixDigits(float64(r)))
	return &n
}

// seedOf is the look-up of one size in copper at 20 °C.
func seedOf(s wire.Size) seedSize {
	o := s.Ohms(wire.Copper, wire.ReferenceTemperature)
	out := seedSize{
		ID: s.ID, System: s.System, Size: s.Size, Material: wire.Copper,
		Conductor: seedConductor{
			Diameter: *length(s.Diameter), DiameterMin: length(s.DiameterMin), DiameterMax: length(s.DiameterMax),
			Area: plain(sixDigits(float64(s.Area()))), ByRule: s.ByRule, Evidence: s.Evidence,
		},
		Resistance: seedResistance{Convention: o.Convention, Printed: o.Printed, Ohms: seedLimits{Min: ohms(o.Min), Nominal: ohms(o.Nominal), Max: ohms(o.Max)}},
		Mass:       plain(sixDigits(float64(s.Mass(wire.Copper)))),
	}
	for _, c := range s.Covers {
		out.Covered = append(out.Covered, seedCover{c.Build, length(c.IncreaseMin), length(c.OverallMin), length(c.OverallMax), c.ByRule, c.Evidence})
	}
	for _, e := range s.Enamels {
		out.Enamels = append(out.Enamels, seedEnamel(e))
	}
	for _, src := range s.Sources {
		out.Sources = append(out.Sources, seedSource(src))
	}
	return out
}

// seedBundle writes manifest, sizes and end.
func seedBundle(t testing.TB, sizes []wire.Size) []byte {
	t.Helper()
	var out bytes.Buffer
	lines := 0
	write := func(l seedLine) {
		enc := json.NewEncoder(&out)
		enc.SetEscapeHTML(false)
		require.NoError(t, enc.Encode(l))
		lines++
	}
	write(seedLine{Kind: "manifest", ID: "wires", Revision: 1, Body: seedManifest{
		Format: 1, Licence: "CC0-1.0", Title: "Winding-wire sizes: SWG 7/0 to 50, AWG 4/0 to 56, preferred metric sizes 0.018 to 5.000 mm",
	}})
	for _, s := range sizes {
		write(seedLine{Kind: "wire", ID: s.ID, Revision: 1, Body: seedOf(s)})
	}
	sum := sha256.Sum256(out.Bytes())
	write(seedLine{Kind: "end", Count: lines, SHA256: hex.EncodeToString(sum[:])})
	return out.Bytes()
}

// TestSeedsAreGenerated proves that the committed seeds are what the published rows and the rules make.
func TestSeedsAreGenerated(t *testing.T) {
	t.Parallel()
	path := filepath.Join("..", "..", "seeds", "wires.jsonl")
	made := seedBundle(t, referenceTable(t).All())
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, made, 0o644))
	}
	committed, err := os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, bytes.Equal(made, committed), "seeds/wires.jsonl differs from what the reference rows make; run this test with -update and read the change")
}

// TestSeedsAreFitToShip: whole bundle, an id once, a source and evidence on every row, suppliers and
// pages in general words only.
func TestSeedsAreFitToShip(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile(filepath.Join("..", "..", "seeds", "wires.jsonl"))
	require.NoError(t, err)
	for _, word := range []string{".com", ".de", ".ru", "www", "http", "OpenMagnetics", "Wikipedia"} {
		require.NotContains(t, string(raw), word)
	}
	lines := bytes.SplitAfter(bytes.TrimSuffix(raw, []byte("\n")), []byte("\n"))
	ids := map[string]bool{}
	for i, line := range lines {
		var l struct {
			Kind, ID string
			Body     seedSize
			Count    int
			SHA256   string
		}
		switch require.NoError(t, json.Unmarshal(line, &l)); l.Kind {
		case "manifest":
			require.Zero(t, i)
		case "wire":
			require.Equal(t, l.ID, l.Body.ID)
			require.False(t, ids[l.ID], l.ID)
			ids[l.ID] = true
			require.NotEmpty(t, l.Body.Sources, l.ID)
			require.Regexp(t, `^(seen|derived|missing|minimum seen)`, l.Body.Conductor.Evidence, l.ID)
			for _, c := range l.Body.Covered {
				require.NotEmpty(t, c.Evidence, l.ID)
				if c.OverallMax == nil {
					require.Contains(t, c.Evidence, "missing", "%s %s", l.ID, c.Build)
				}
			}
		case "end":
			require.Equal(t, len(lines)-1, i)
			require.Equal(t, i, l.Count)
			sum := sha256.Sum256(bytes.Join(lines[:i], nil))
			require.Equal(t, hex.EncodeToString(sum[:]), l.SHA256)
		default:
			require.Fail(t, "odd line", l.Kind)
		}
	}
	require.Len(t, ids, 57+60+99, "SWG 7/0 to 50, AWG 4/0 to 56, R20 and R40 from 0.018 to 5.000 mm")
}
