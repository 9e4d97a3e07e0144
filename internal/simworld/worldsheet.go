package simworld

import (
	"strconv"

	"statorbook/internal/catalog"
	"statorbook/internal/stator"
)

// slug of family i, and of its core or record.
func (w *World) familySlug(i int) string { return "sim-f" + padded(i) }

func (w *World) coreID(f *familyWork, core int) string {
	return id(w.name, w.familySlug(f.index), "stack", plain(f.stacks[core]))
}

func (w *World) recordSlug(f *familyWork, j int) string {
	return w.familySlug(f.index) + "-r" + strconv.Itoa(j+1)
}

func padded(n int) string {
	text := strconv.Itoa(n + 1)
	for len(text) < 6 {
		text = "0" + text
	}
	return text
}

// provenance of all that a world publishes.
func (w *World) provenance() catalog.Provenance {
	return catalog.Provenance{Revision: 1, State: catalog.Published, Status: catalog.StatusDemo, Source: "demo: simulated by internal/simworld " + w.name,
		Licence: Licence, Institute: DemoInstitute, Author: DemoAuthor, Vetter: DemoVetter, Demo: true}
}

// familyRecord is a family as the catalogue holds it, with the cores of its first n records.
func (w *World) familyRecord(f *familyWork, n int) catalog.Family {
	slug := w.familySlug(f.index)
	out := catalog.Family{ID: id(w.name, slug), Slug: slug, Title: "Simulated drawing " + padded(f.index) + ": " + f.lam.kind.words,
		Application: f.lam.kind.application, Core: w.published(f), Provenance: w.provenance()}
	listed := make([]bool, len(f.stacks))
	for j := range n {
		core := f.records[j].core
		if !listed[core] {
			listed[core] = true
			out.Cores = append(out.Cores, catalog.FamilyCore{ID: w.coreID(f, core), StackLength: read(f.stacks[core], 0.1)})
		}
	}
	return out
}

// published is the stamping of a family as its keeper has it: from a drawing, or measured.
func (w *World) published(f *familyWork) stator.Core {
	if f.drawn {
		return f.lam.core(0)
	}
	d := newDice(w.cfg.Seed, "keeper", f.index)
	c := recorder{scale: 0.5, gross: w.c.RecordGross / 4, miss: 0.5 * w.c.RecordMiss}.measure(d, f.lam.core(f.stacks[0]))
	c.StackLength = stator.Core{}.StackLength
	return c
}

// sheet is record j of a family as the catalogue holds it.
func (w *World) sheet(f *familyWork, j int) catalog.Winding {
	r := &f.records[j]
	d := newDice(w.cfg.Seed, "sheet", f.index*256+j)
	exact := f.lam.core(r.design.stack)
	hand := recorder{scale: d.between(0.5, 1.3), gross: w.c.RecordGross, miss: w.c.RecordMiss}
	if f.drawn && d.chance(0.75) {
		hand.scale, hand.gross = 0, 0 // copied from the drawing
	}
	out := r.design.record(d, hand.measure(d, exact), scale{mass: w.c.MassScatter, ohms: w.c.OhmScatter, states: []string{"bare", "bare", "enamelled"},
		noMass: 0.25, noOhms: 0.3, cold: span{15, 36}})
	if d.chance(0.08) {
		out.CoreAsMeasured = nil
	}
	out.Slug = w.recordSlug(f, j)
	out.ID, out.CoreID, out.FamilyID = id(w.name, out.Slug), w.coreID(f, r.core), id(w.name, w.familySlug(f.index))
	out.Origin = []string{factory, rewound, unknownOrigin}[d.index(0.55, 0.15, 0.3)]
	out.Remarks, out.TimesSeen, out.Provenance = "demo: invented data", r.seen, w.provenance()
	return out
}
