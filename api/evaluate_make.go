package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"

	"statorbook/internal/bundle"
	"statorbook/internal/simworld"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
	"statorbook/seeds"
)

// wiresBundle and insulationBundle are the reference tables of the seeds.
const (
	wiresBundle      = "wires.jsonl"
	insulationBundle = "insulation.jsonl"
)

// seedWires reads the wire table of the seeds.
func seedWires() (*wire.Table, error) {
	f, err := seeds.Files.Open(wiresBundle)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // read only
	var sizes []wire.Size
	for r := bundle.NewReader(f, bundle.Options{}); ; {
		line, err := r.Next()
		switch {
		case errors.Is(err, io.EOF):
			return wire.NewTable(sizes)
		case err != nil:
			return nil, fmt.Errorf("seeds/%s: %w", wiresBundle, err)
		case line.Kind == bundle.KindWire:
			sizes = append(sizes, line.Wire.ToDomain())
		}
	}
}

// writeWorld makes a simulated world and leaves its three files in a folder, which is made if need be.
func writeWorld(dir string, cfg simworld.Config, wires *wire.Table) error {
	world, err := simworld.NewWorld(cfg, wires)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, part := range []struct {
		name  string
		write func(io.Writer) error
	}{
		{catalogueFile, func(out io.Writer) error { return writeCatalogue(out, world) }},
		{queriesFile, func(out io.Writer) error { return writeLines(out, worldQueries(world)) }},
		{entriesFile, func(out io.Writer) error { return writeLines(out, worldEntries(world)) }},
	} {
		if err := writeFile(filepath.Join(dir, part.name), part.write); err != nil {
			return err
		}
	}
	return nil
}

func writeFile(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(f)
	return errors.Join(write(out), out.Flush(), f.Close())
}

// worldManifest is the id of the manifest of a world's catalogue. Worlds are told apart by their title.
const worldManifest = "5f0c1f8e-6f0b-4c1e-9a57-0d6a3f1c2b40"

func writeCatalogue(out io.Writer, world *simworld.World) error {
	w := bundle.NewWriter(out)
	if err := w.Manifest(worldManifest, 1, bundle.Manifest{Licence: simworld.Licence, Demo: true, Title: "demo: simulated world"}); err != nil {
		return err
	}
	for f, windings := range world.Catalogue() {
		if err := w.Write(bundle.KindFamily, f.ID, f.Revision, bundle.FamilyOf(f)); err != nil {
			return err
		}
		for _, r := range windings {
			if err := w.Write(bundle.KindWinding, r.ID, r.Revision, bundle.WindingOf(r)); err != nil {
				return err
			}
		}
	}
	return w.Close()
}

func writeLines(out io.Writer, lines iter.Seq[madeLine]) error {
	enc := json.NewEncoder(out)
	for l := range lines {
		if err := enc.Encode(l); err != nil {
			return err
		}
	}
	return nil
}

// madeLine is an evalLine as it is written.
type madeLine struct {
	ID      string    `json:"id"`
	Request any       `json:"request"`
	Truth   evalTruth `json:"truth"`
}

// matchBody is the body of POST /v1/matches, as far as a simulated technician fills it.
type matchBody struct {
	Measurements bundle.Core       `json:"measurements"`
	MotorType    string            `json:"motor_type,omitempty"`
	Supply       *bundle.Supply    `json:"supply,omitempty"`
	Nameplate    *bundle.Nameplate `json:"nameplate,omitempty"`
	Remains      *remainsBody      `json:"remains,omitempty"`
}

type remainsBody struct {
	Wires  []scrapBody `json:"wires,omitempty"`
	Coils  []countBody `json:"coils,omitempty"`
	Copper *copperBody `json:"copper_mass_g,omitempty"`
}

type scrapBody struct {
	Diameter  bundle.M     `json:"diameter_mm"`
	Coating   string       `json:"coating,omitempty"`
	Condition string       `json:"condition,omitempty"`
	Role      winding.Role `json:"role,omitempty"`
	Strands   int          `json:"strands,omitempty"`
}

type countBody struct {
	Role  winding.Role `json:"role,omitempty"`
	Turns bundle.M     `json:"turns"`
}

type copperBody struct {
	Main      bundle.M `json:"main,omitzero"`
	Auxiliary bundle.M `json:"auxiliary,omitzero"`
	Total     bundle.M `json:"total,omitzero"`
}

// worldQueries are the measured stators of a world as lines.
func worldQueries(world *simworld.World) iter.Seq[madeLine] {
	return func(yield func(madeLine) bool) {
		for q := range world.Queries() {
			body := matchBody{Measurements: bundle.CoreOf(q.Measurements), MotorType: q.MotorType, Remains: remainsOf(q.Remains)}
			if q.Supply != nil {
				supply := bundle.SupplyOf(*q.Supply)
				body.Supply = &supply
			}
			if q.Nameplate != nil {
				plate := bundle.NameplateOf(*q.Nameplate)
				body.Nameplate = &plate
			}
			t := q.Truth
			truth := evalTruth{Kind: string(t.Kind), WindingID: t.WindingID, CoreID: t.CoreID, SeriesTurns: t.SeriesTurns, ConductorArea: t.ConductorAreaMM2}
			if !yield(madeLine{q.ID, body, truth}) {
				return
			}
		}
	}
}

func remainsOf(r *simworld.Remains) *remainsBody {
	if r == nil {
		return nil
	}
	out := &remainsBody{}
	for _, w := range r.Wires {
		out.Wires = append(out.Wires, scrapBody{bundle.M{Measured: w.Diameter}, w.Coating, w.Condition, w.Role, w.Strands})
	}
	for _, n := range r.Coils {
		out.Coils = append(out.Coils, countBody{n.Role, bundle.M{Measured: n.Turns}})
	}
	if r.CopperMain.Given || r.CopperAuxiliary.Given || r.CopperTotal.Given {
		out.Copper = &copperBody{bundle.M{Measured: r.CopperMain}, bundle.M{Measured: r.CopperAuxiliary}, bundle.M{Measured: r.CopperTotal}}
	}
	return out
}

// sheetBody is the body of POST /v1/winding-checks.
type sheetBody struct {
	bundle.Sheet
	TimesSeen int `json:"times_seen,omitzero"`
}

// worldEntries are the record sheets of a world as lines.
func worldEntries(world *simworld.World) iter.Seq[madeLine] {
	return func(yield func(madeLine) bool) {
		for e := range world.Entries() {
			if !yield(madeLine{e.ID, sheetBody{bundle.SheetOf(e.Winding), e.Winding.TimesSeen}, evalTruth{Slip: &e.Slip}}) {
				return
			}
		}
	}
}
