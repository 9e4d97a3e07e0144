package httpapi

import (
	"bytes"
	"encoding/json"
	"sync"
	"testing"
	"time"

	"statorbook/internal/bundle"
	"statorbook/internal/insulation"
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
	classes, materials, err := seedInsulation()
	if err != nil {
		return nil, err
	}
	return &Snapshot{Revision: 7, Wires: table, Classes: classes, Materials: materials, BuiltAt: time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)}, nil
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
			Body bundle.WireSize
		}
		if err := json.Unmarshal(line, &l); err != nil {
			return nil, err
		}
		if l.Kind == "wire" {
			sizes = append(sizes, l.Body.ToDomain())
		}
	}
	return sizes, nil
}

func seedInsulation() (classes []insulation.Class, materials []insulation.Material, err error) {
	text, err := seeds.Files.ReadFile("insulation.jsonl")
	if err != nil {
		return nil, nil, err
	}
	for line := range bytes.Lines(text) {
		var l struct {
			Kind string
			Body json.RawMessage
		}
		if err := json.Unmarshal(line, &l); err != nil {
			return nil, nil, err
		}
		switch l.Kind {
		case "insulation_class":
			var class bundle.InsulationClass
			err = json.Unmarshal(l.Body, &class)
			classes = append(classes, class.ToDomain())
		case "insulating_material":
			var material bundle.InsulatingMaterial
			err = json.Unmarshal(l.Body, &material)
			materials = append(materials, material.ToDomain())
		}
		if err != nil {
			return nil, nil, err
		}
	}
	return classes, materials, nil
}
