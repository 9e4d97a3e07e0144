package httpapi

import (
	"bytes"
	"encoding/json"
	"sync"
	"testing"
	"time"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
	"statorbook/seeds"

	"github.com/stretchr/testify/require"
)

// seedSnapshot holds the wire and insulation tables of the seeds, once for all tests.
var seedSnapshot = sync.OnceValues(func() (*Snapshot, error) {
	sizes, err := seedSizes()
	if err != nil {
		return nil, err
	}
	table, err := wire.NewTable(sizes)
	if err != nil {
		return nil, err
	}
	return &Snapshot{Revision: 7, Wires: table, BuiltAt: time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)}, nil
})

func seeded(t testing.TB) Config {
	t.Helper()
	snap, err := seedSnapshot()
	require.NoError(t, err)
	return Config{Snapshot: func() *Snapshot { return snap }}
}

func seedSizes() ([]wire.Size, error) {
	text, err := seeds.Files.ReadFile("wires.jsonl")
	if err != nil {
		return nil, err
	}
	var sizes []wire.Size
	for line := range bytes.Lines(text) {
		var l struct {
			Kind string
			Body wireView
		}
		if err := json.Unmarshal(line, &l); err != nil {
			return nil, err
		}
		if l.Kind == "wire" {
			sizes = append(sizes, sizeOf(l.Body))
		}
	}
	return sizes, nil
}

func sizeOf(v wireView) wire.Size {
	d, _ := v.Conductor.Diameter.Float64()
	s := wire.Size{
		ID: v.ID, System: v.System, Size: v.Size, Text: v.Conductor.Diameter.String(), Diameter: unit.Millimetre(d),
		DiameterMin: unit.Millimetre(v.Conductor.DiameterMin), DiameterMax: unit.Millimetre(v.Conductor.DiameterMax),
		ByRule: v.Conductor.ByRule, Evidence: v.Conductor.Evidence, Convention: v.Resistance.Convention,
	}
	for _, c := range v.Covered {
		s.Covers = append(s.Covers, wire.Cover{
			Build: c.Build, IncreaseMin: unit.Millimetre(c.IncreaseMin), OverallMin: unit.Millimetre(c.OverallMin),
			OverallMax: unit.Millimetre(c.OverallMax), ByRule: c.ByRule, Evidence: c.Evidence,
		})
	}
	for _, e := range v.Enamels {
		s.Enamels = append(s.Enamels, wire.Enamel(e))
	}
	for _, from := range v.Sources {
		s.Sources = append(s.Sources, wire.Source(from))
	}
	return s
}
