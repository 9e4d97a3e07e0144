package winding

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// Change is what is to become different; a zero field stays as it is. Several may be asked at once.
type Change struct {
	Voltage, Frequency unit.Measured // V, Hz
	Connection         Connection
	ParallelPaths      int            // of every set
	Conductor          wire.Conductor // other metal at equal resistance
	Wires              []wire.Wire    // for the main winding or the phases, taken as given
	Strands            int            // strands in hand at equal metal
	Span               int            // slot pitches of the outermost coil; the others keep their steps
	Pattern            *Pattern       // its turns are shares
	Poles              int            // needs a pattern
	StackLength        unit.Measured  // mm, same lamination
	Core               *stator.Core   // another core of the same slots and poles
}

// ChangeInput is a winding and what is to become different. Core may be nil where only volts,
// frequency, connection, paths, wire or strands change; then there is no before and after.
type ChangeInput struct {
	Core      *stator.Core
	Nameplate Nameplate
	Scheme    Scheme
	Change    Change
	Stock     []wire.Wire // wires at hand; empty = every size of the same series
}

// ChangeRow is one line of the before and after table; nil where a figure could not be computed.
type ChangeRow struct {
	Figure string
	Role   Role // "" for the machine
	Unit   string
	Before *float64
	After  *float64
}

// ChangeResult is the changed winding with what became of its figures.
type ChangeResult struct {
	Scheme        Scheme
	Nameplate     Nameplate
	Core          *stator.Core
	Before, After *Analysis
	Table         []ChangeRow
	Steps         []string // how turns and wire were found, in order
	Findings      []errs.Finding
	Cautions      []Caution
}

// Rewind changes a winding at equal flux density, current density and fill, by the rules of common practice that follow from
// the EMF equation: turns in series as volts, as 1/frequency, ×√3 from star to delta, as 1/winding
// factor, as 1/(gap diameter × stack); metal of a conductor as 1/turns and as slot area; paths trade turns
// against metal; another metal keeps the resistance. Turns are rounded to what can be wound and wire to
// sizes that exist. It fails with KindImpossible for what cannot be, with the numbers: fewer poles than the
// back iron bears, a core of other slots, coils that cannot be laid.
func Rewind(in ChangeInput, t *wire.Table) (ChangeResult, error) {
	c := &changer{in: in, table: t, change: in.Change}
	c.out.Nameplate = in.Nameplate
	c.out.Cautions = StandardCautions(ChangeCautions...)
	if fields := c.inputs(); len(fields) > 0 {
		return ChangeResult{}, impossible("this change cannot be made", fields...)
	}
	if err := c.before(); err != nil {
		return ChangeResult{}, err
	}
	c.factors()
	if err := c.relay(); err != nil {
		return ChangeResult{}, err
	}
	if err := c.iron(); err != nil {
		return ChangeResult{}, err
	}
	c.turns()
	if err := c.windable(); err != nil {
		return ChangeResult{}, err
	}
	if err := c.wires(); err != nil {
		return ChangeResult{}, err
	}
	c.plate()
	if err := c.after(); err != nil {
		return ChangeResult{}, err
	}
	return c.out, nil
}

// changer carries one change.
type changer struct {
	in     ChangeInput
	table  *wire.Table
	change Change
	out    ChangeResult

	core        stator.Core // of the changed winding
	coils       [][]Coil    // before; nil without a core
	series      float64     // factor of the turns in series, all roles alike, without the winding factor
	factorRatio []float64   // kw before / kw after, for each set
	room        float64     // slot area after / before
}

func (c *changer) step(format string, args ...any) {
	c.out.Steps = append(c.out.Steps, fmt.Sprintf(format, args...))
}

// inputs names what is impossible or missing about the request.
func (c *changer) inputs() []errs.Field {
	ch, n := c.change, c.in.Nameplate
	var out []errs.Field
	add := func(pointer, code, detail string) {
		out = append(out, errs.Field{Pointer: pointer, Code: code, Detail: detail})
	}
	positive := func(pointer string, m unit.Measured, high float64) {
		if m.Given && !(m.Value > 0 && m.Value <= high) {
			add(pointer, "OUT_OF_RANGE", fmt.Sprintf("must be above 0 and at most %g", high))
		}
	}
	positive("/change/voltage_v", ch.Voltage, 100e3)
	positive("/change/frequency_hz", ch.Frequency, 1000)
	positive("/change/stack_length_mm", ch.StackLength, 5000)
	if ch.Voltage.Given && !n.Voltage.Given {
		add("/nameplate/voltage_v", "MISSING", "a change of volts needs the volts that the winding was made for")
	}
	if ch.Frequency.Given && !n.Frequency.Given {
		add("/nameplate/frequency_hz", "MISSING", "a change of frequency needs the frequency that the winding was made for")
	}
	if ch.Connection != "" && n.Connection == "" {
		add("/nameplate/connection", "MISSING", "a change of connection needs the present connection")
	}
	if ch.Connection == ConnSingle && n.Connection != ConnSingle || n.Connection == ConnSingle && ch.Connection != "" && ch.Connection != ConnSingle {
		add("/change/connection", "CONNECTION_IMPOSSIBLE", "a winding changes between star and delta; one phase and three phases are different windings")
	}
	if ch.ParallelPaths < 0 {
		add("/change/parallel_paths", "PATHS_IMPOSSIBLE", "parallel paths are counted from 1")
	}
	if ch.Strands < 0 || ch.Strands > wire.MaxStrands {
		add("/change/strands", "OUT_OF_RANGE", fmt.Sprintf("strands in hand must be 1 to %d", wire.MaxStrands))
	}
	if ch.Conductor != "" && ch.Conductor != wire.Copper && ch.Conductor != wire.Aluminium {
		add("/change/conductor", "CONDUCTOR_UNKNOWN", "a conductor is copper or aluminium")
	}
	if len(c.in.Scheme.CoilSets) == 0 {
		add("/scheme/coil_sets", "NO_COIL_SETS", "a scheme has at least one coil set")
	}
	return append(out, c.coreInputs()...)
}

// coreInputs names what is wrong with the cores of the request.
func (c *changer) coreInputs() []errs.Field {
	ch := c.change
	var out []errs.Field
	needs := ch.Span > 0 || ch.Pattern != nil || ch.Poles > 0 || ch.StackLength.Given || ch.Core != nil
	if c.in.Core == nil {
		if needs {
			out = append(out, errs.Field{Pointer: "/core", Code: "MISSING", Detail: "a change of span, pattern, poles, stack or core needs the present core"})
		}
		return out
	}
	out = append(out, CoreFaults(stator.Check(*c.in.Core), "/core")...)
	if ch.StackLength.Given && !c.in.Core.StackLength.Given {
		out = append(out, errs.Field{Pointer: "/core/stack_length_mm", Code: "MISSING", Detail: "a change of stack needs the present stack"})
	}
	if ch.Poles > 0 && ch.Pattern == nil && ch.Poles != c.in.Scheme.Poles {
		out = append(out, errs.Field{Pointer: "/change/pattern", Code: "MISSING", Detail: "other poles need another pattern of coils: give it"})
	}
	if o := ch.Core; o != nil {
		out = append(out, CoreFaults(stator.Check(*o), "/change/core")...)
		if o.Slots != 0 && o.Slots != c.in.Core.Slots {
			out = append(out, errs.Field{Pointer: "/change/core/slots", Code: "SLOTS_DIFFER", Detail: fmt.Sprintf("a winding scales to a core of the same slots: %d, not %d; a core of other slots needs a new design", c.in.Core.Slots, o.Slots), Got: fmt.Sprint(o.Slots)})
		}
		if (o.SecondRing == nil) != (c.in.Core.SecondRing == nil) {
			out = append(out, errs.Field{Pointer: "/change/core/second_ring", Code: "RINGS_DIFFER", Detail: "a winding scales to a core with as many rings of slots"})
		}
		for _, f := range []struct {
			name     string
			old, new unit.Measured
		}{{"gap_diameter_mm", c.in.Core.GapDiameter, o.GapDiameter}, {"stack_length_mm", c.in.Core.StackLength, o.StackLength}} {
			if !f.old.Given {
				out = append(out, errs.Field{Pointer: "/core/" + f.name, Code: "MISSING", Detail: "scaling to another core needs gap diameter and stack of both"})
			}
			if !f.new.Given {
				out = append(out, errs.Field{Pointer: "/change/core/" + f.name, Code: "MISSING", Detail: "scaling to another core needs gap diameter and stack of both"})
			}
		}
	}
	return out
}

// before analyses the winding as it is.
func (c *changer) before() error {
	c.out.Scheme = copyScheme(c.in.Scheme)
	if c.in.Core == nil {
		return nil
	}
	c.core = *c.in.Core
	a, err := Analyse(AnalysisInput{Core: c.core, Nameplate: &c.in.Nameplate, Scheme: c.in.Scheme}, c.table)
	if err != nil {
		return err
	}
	c.out.Before = &a
	if c.out.Scheme.Poles == 0 {
		c.out.Scheme.Poles = a.Poles
	}
	scheme := c.in.Scheme
	scheme.Poles = a.Poles
	c.coils, _, err = ExpandScheme(scheme, c.core)
	return err
}

// copyScheme copies a scheme so far that its sets can be changed.
func copyScheme(s Scheme) Scheme {
	sets := make([]CoilSet, len(s.CoilSets))
	for i, set := range s.CoilSets {
		set.Coils = append([]Coil(nil), set.Coils...)
		set.Wires = append([]wire.Wire(nil), set.Wires...)
		// What was weighed and measured belongs to the old winding.
		set.Mass, set.MassState, set.Resistance, set.Temperature, set.LeadPair = unit.Measured{}, "", unit.Measured{}, unit.Measured{}, ""
		if set.Pattern != nil {
			p := *set.Pattern
			p.Throws = append([]int(nil), p.Throws...)
			p.Turns = append([]float64(nil), p.Turns...)
			set.Pattern = &p
		}
		sets[i] = set
	}
	s.CoilSets = sets
	return s
}

// factors finds what the turns in series are multiplied by, apart from the winding factor.
func (c *changer) factors() {
	c.series, c.room = 1, 1
	ch, n := c.change, c.in.Nameplate
	if ch.Voltage.Given {
		r := ch.Voltage.Value / n.Voltage.Value
		c.series *= r
		c.step("%g V to %g V: turns in series x %.5g, metal x %.5g", n.Voltage.Value, ch.Voltage.Value, r, 1/r)
	}
	if ch.Frequency.Given {
		r := n.Frequency.Value / ch.Frequency.Value
		c.series *= r
		c.step("%g Hz to %g Hz at the same volts and flux density: turns in series x %.5g, metal x %.5g; power and speed x %.5g at equal torque", n.Frequency.Value, ch.Frequency.Value, r, 1/r, 1/r)
	}
	if ch.Connection != "" && ch.Connection != n.Connection {
		r := math.Sqrt(3)
		if ch.Connection == ConnStar {
			r = 1 / r
		}
		c.series *= r
		c.step("%s to %s at the same line volts: turns in series x %.5g, metal x %.5g", n.Connection, ch.Connection, r, 1/r)
	}
	if ch.StackLength.Given && ch.Core == nil && ch.StackLength.Value != c.core.StackLength.Value {
		r := c.core.StackLength.Value / ch.StackLength.Value
		c.series *= r
		c.step("stack %g mm to %g mm: turns in series x %.5g", c.core.StackLength.Value, ch.StackLength.Value, r)
		c.core.StackLength = ch.StackLength
		c.out.Findings = append(c.out.Findings, ratingFinding("the stack"))
	}
	if ch.Core != nil {
		c.otherCore()
	}
}

// ratingFinding says that power and current of another core are not known.
func ratingFinding(what string) errs.Finding {
	return errs.Finding{Code: "rating_open", Severity: errs.SeverityNote, Fields: []string{"nameplate.power_w", "nameplate.current_a"}, Message: "power and current of " + what + " are not carried over: a heat run settles them"}
}
