package simworld

import (
	"bufio"
	"bytes"
	"encoding/json"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
	"statorbook/seeds"
)

// wireLine is as much of a wire line of the seed bundle as a table needs.
type wireLine struct {
	Kind string
	Body struct {
		ID, System, Size string
		Conductor        struct {
			Diameter    float64 `json:"diameter_mm"`
			DiameterMin float64 `json:"diameter_min_mm"`
			DiameterMax float64 `json:"diameter_max_mm"`
		}
		Covered []struct {
			Build       string
			IncreaseMin float64 `json:"increase_min_mm"`
			OverallMin  float64 `json:"overall_min_mm"`
			OverallMax  float64 `json:"overall_max_mm"`
			ByRule      bool    `json:"by_rule"`
		}
	}
}

// seedTable reads the wire sizes that the service ships, once.
var seedTable = sync.OnceValues(func() (*wire.Table, error) {
	data, err := seeds.Files.ReadFile("wires.jsonl")
	if err != nil {
		return nil, err
	}
	var sizes []wire.Size
	lines := bufio.NewScanner(bytes.NewReader(data))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var l wireLine
		if err := json.Unmarshal(lines.Bytes(), &l); err != nil {
			return nil, err
		}
		if l.Kind != "wire" {
			continue
		}
		s := wire.Size{
			ID: l.Body.ID, System: wire.System(l.Body.System), Size: l.Body.Size, Diameter: unit.Millimetre(l.Body.Conductor.Diameter),
			DiameterMin: unit.Millimetre(l.Body.Conductor.DiameterMin), DiameterMax: unit.Millimetre(l.Body.Conductor.DiameterMax),
		}
		for _, c := range l.Body.Covered {
			s.Covers = append(s.Covers, wire.Cover{Build: wire.Build(c.Build), ByRule: c.ByRule,
				IncreaseMin: unit.Millimetre(c.IncreaseMin), OverallMin: unit.Millimetre(c.OverallMin), OverallMax: unit.Millimetre(c.OverallMax)})
		}
		sizes = append(sizes, s)
	}
	if err := lines.Err(); err != nil {
		return nil, err
	}
	return wire.NewTable(sizes)
})

// table is the wire table that the service ships.
func table(t testing.TB) *wire.Table {
	t.Helper()
	tab, err := seedTable()
	require.NoError(t, err)
	require.Greater(t, tab.Len(), 100)
	return tab
}
