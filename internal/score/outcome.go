// Package score says how good a matcher's answers are against a known truth: the numbers that are
// demanded of it, their floors, and two simple matchers to set beside it. It knows answers only by
// what is scored in them, so that the matcher, its baselines and an answer over HTTP are judged by
// one rule. It is pure: no clock, files or randomness.
package score

import (
	"math"

	"statorbook/internal/unit"
)

// Kind says what a measured stator really is.
type Kind string

// The kinds of truth of the exchange format of worlds.
const (
	Record     Kind = "record"      // a catalogued record
	NewWinding Kind = "new_winding" // a catalogued core, wound another way
	NewStack   Kind = "new_stack"   // a catalogued lamination, another stack
	NewFamily  Kind = "new_family"  // nothing of the catalogue
)

// Kinds lists the kinds of truth, most known first.
func Kinds() []Kind { return []Kind{Record, NewWinding, NewStack, NewFamily} }

// Truth is what a measured stator really is. Ids are empty where the catalogue has none.
type Truth struct {
	Kind              Kind
	WindingID, CoreID string
	SeriesTurns       float64 // of the main winding or phase u, in one path
	ConductorArea     float64 // mm², metal of one turn
}

// coreKnown tells whether the core is in the catalogue.
func (t *Truth) coreKnown() bool { return t.Kind == Record || t.Kind == NewWinding }

// Belief is the probability that an answer gives to a record or a core.
type Belief struct {
	ID string
	P  float64
}

// Guess is one proposed winding: turns in series and area in mm² of the main winding or phase u.
type Guess struct{ P, SeriesTurns, ConductorArea float64 }

// Answer is what a matcher says, as far as it is scored. The zero value is no answer at all, and
// scores as one that gives the truth no chance.
type Answer struct {
	Records, Cores   []Belief // best first
	NoRecord, NoCore float64  // probability that the winding, or the core, is not catalogued
	Guesses          []Guess  // up to three, best first
	SeriesTurns      *unit.Range
	ConductorArea    *unit.Range // mm²
}

// Outcome is one answer beside its truth.
type Outcome struct {
	Kind                      Kind
	CoreRank, RecordRank      int     // place of the truth in the answer from 1; 0 = not there
	Truth                     float64 // probability given to the truth: this record, or none
	TopRecord, TopCore        float64 // probability of the first record and core named
	NoRecord, NoCore          float64
	Right                     [3]bool // each guess: turns within 5 % and wire within one gauge
	First                     float64 // probability of the first guess
	TurnsError, DiameterError float64 // of the overall median, relative; infinite without one
	CoversTurns, CoversArea   bool    // the 90 % interval holds the truth
}

// rightTurns is how far the turns of a guess may be off.
const rightTurns = 0.05

// The last digit in which a truth is written counts as right: turns to a millionth, areas to five
// decimals of mm².
const (
	turnsHair = 1e-6
	areaHair  = 0.5e-5
)

// Judge sets an answer beside the truth. gauges measures how far a wire is off.
func Judge(a *Answer, t *Truth, gauges Gauges) Outcome {
	o := Outcome{Kind: t.Kind, NoRecord: a.NoRecord, NoCore: a.NoCore, TurnsError: math.Inf(1), DiameterError: math.Inf(1)}
	if t.Kind == Record {
		o.RecordRank, o.Truth = place(a.Records, t.WindingID)
	} else {
		o.Truth = a.NoRecord
	}
	if t.coreKnown() {
		o.CoreRank, _ = place(a.Cores, t.CoreID)
	}
	if len(a.Records) > 0 {
		o.TopRecord = a.Records[0].P
	}
	if len(a.Cores) > 0 {
		o.TopCore = a.Cores[0].P
	}
	for i, g := range a.Guesses[:min(len(a.Guesses), len(o.Right))] {
		o.Right[i] = math.Abs(g.SeriesTurns/t.SeriesTurns-1) <= rightTurns && gauges.Apart(g.ConductorArea, t.ConductorArea) <= 1
		if i == 0 {
			o.First = g.P
		}
	}
	if r := a.SeriesTurns; r != nil {
		o.TurnsError = math.Abs(r.P50/t.SeriesTurns - 1)
		o.CoversTurns = covers(r, t.SeriesTurns, t.SeriesTurns*turnsHair)
	}
	if r := a.ConductorArea; r != nil {
		o.DiameterError = math.Abs(math.Sqrt(r.P50/t.ConductorArea) - 1)
		o.CoversArea = covers(r, t.ConductorArea, t.ConductorArea*turnsHair+areaHair)
	}
	return o
}

// place finds an id: its place from 1 and its probability, 0 and 0 if it is not there.
func place(list []Belief, id string) (int, float64) {
	for i := range list {
		if list[i].ID == id {
			return i + 1, list[i].P
		}
	}
	return 0, 0
}

func covers(r *unit.Range, v, hair float64) bool { return r.P05 <= v+hair && v-hair <= r.P95 }

// OneOfThree tells whether any guess is right.
func (o *Outcome) OneOfThree() bool { return o.Right[0] || o.Right[1] || o.Right[2] }

// Gauges are the conductor diameters in mm of a row of gauge numbers, in their order.
type Gauges []float64

// Apart is how many gauge numbers lie between two conductor areas in mm², each taken to its nearest
// number by diameter. Without a row it is 0.
func (g Gauges) Apart(a, b float64) int {
	d := g.number(a) - g.number(b)
	return max(d, -d)
}

func (g Gauges) number(area float64) int {
	d := math.Sqrt(4 * area / math.Pi)
	best := 0
	for i, v := range g {
		if math.Abs(v-d) < math.Abs(g[best]-d) {
			best = i
		}
	}
	return best
}
