package match

import (
	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// FamilyEntry is a lamination design as the index takes it in.
type FamilyEntry struct {
	ID, Application string
	Core            stator.Core // pooled dimensions, no stack
	Cores           []CoreEntry
}

// CoreEntry is one stack of a family.
type CoreEntry struct {
	ID          string
	StackLength unit.Measured // mm
}

// RecordEntry is a published winding record as the index takes it in.
type RecordEntry struct {
	ID, CoreID, FamilyID string
	Status               string // demo|vetted|foreign|not_verified, shown with every candidate
	MotorType, Origin    string
	TimesSeen            int
	CoreAsMeasured       *stator.Core
	Nameplate            winding.Nameplate
	Scheme               winding.Scheme
}

// ScrapWire is a piece of wire found in the core.
type ScrapWire struct {
	Diameter           unit.Measured // mm, as measured
	Coating, Condition string        // bare|over_enamel|unknown ; clean|burnt|unknown
	Role               winding.Role  // "" if not known
	Strands            int           // 0 if not known
}

// CoilCount is the counted turns of one coil.
type CoilCount struct {
	Role  winding.Role
	Turns unit.Measured
}

// Remains is what was found in the core besides its dimensions. Masses in g.
type Remains struct {
	Wires                                    []ScrapWire
	Coils                                    []CoilCount
	CopperMain, CopperAuxiliary, CopperTotal unit.Measured
}

// Query is one measured stator.
type Query struct {
	Measurements stator.Core
	MotorType    string
	Supply       *winding.Supply
	Nameplate    *winding.Nameplate
	Remains      *Remains
	Stock        []wire.Wire
	Limit        int // candidates wanted, 1-50; 0 = 10
}

// Comparison sets one reading beside the record. Deviations is (measured - on record) in units of
// the combined standard uncertainty. Field is a dotted name.
type Comparison struct {
	Field                          string
	Measured, OnRecord, Deviations float64
}

// Candidate is a catalogued record with its posterior probability.
type Candidate struct {
	WindingID, CoreID, FamilyID string
	Probability                 float64
	Status                      string
	Comparison                  []Comparison
}

// CoreProbability is the posterior of a core: its records, and other windings on it.
type CoreProbability struct {
	CoreID, FamilyID string
	Probability      float64
}

// Unlisted holds the probabilities that the winding, the core and the family are not catalogued.
type Unlisted struct{ Winding, Core, Family float64 }

// RoleRange is the posterior of one role: turns in series in one path, and copper area of one turn in mm².
type RoleRange struct {
	Role                       winding.Role
	SeriesTurns, ConductorArea unit.Range
}

// ProposedSet is one coil set of a proposal.
type ProposedSet struct {
	Role                       winding.Role
	TurnsPerCoil               []unit.Range // one for each throw, outermost first
	SeriesTurns, ConductorArea unit.Range   // turns 0 where nobody told how many coils the set has; mm²
	Wires                      []wire.Wire
	FromStock                  bool
	Fill                       *winding.Fill // nil when the slot area is not known
	CurrentDensity             *float64      // A/mm², nil when no current is known
	Resistance20               unit.Range    // ohm
	Mass                       unit.Range    // g
}

// CapacitorProposal is the run capacitor that goes with a proposal. VoltageV is at the highest supply.
type CapacitorProposal struct {
	UF       unit.Range
	VoltageV float64
}

// Basis tells what a proposal rests on.
type Basis struct {
	Method     string // record|scaled|reference_density|limits_only
	WindingIDs []string
	Steps      []string
}

// Proposal is one winding to try.
type Proposal struct {
	Probability float64
	Basis       Basis
	Scheme      winding.Scheme
	CoilSets    []ProposedSet
	Capacitor   *CapacitorProposal
	Densities   *winding.Densities
	MeanTurns   []winding.KnownTurn // of the sets of the scheme, where records tell them better than the rule
	Nameplate   winding.Nameplate   // under which it is judged: what was read, and what is taken for it
	Findings    []errs.Finding
}

// ReadAs is a reading that was probably typed wrong.
type ReadAs struct {
	Field                      string
	Typed, ReadAs, Probability float64
}

// Next is a dimension worth measuring, with the expected information in bits and the trade's way to measure it.
type Next struct {
	Field string
	Bits  float64
	How   string
}

// Extrapolated flags a field outside the catalogue's range [Low, High].
type Extrapolated struct {
	Field            string
	Value, Low, High float64
}

// Decision is set when one core, or none, is beyond 95 %.
type Decision struct {
	CoreID      string // "" with None
	None        bool
	Probability float64
	Text        string
}

// Answer is what the service says to a Query. The sum of the probabilities of Candidates,
// UnlistedProbability (records beyond the limit) and None.Winding is 1.
type Answer struct {
	Candidates          []Candidate
	UnlistedProbability float64
	Cores               []CoreProbability
	None                Unlisted
	Overall             []RoleRange
	Proposals           []Proposal
	Readings            []ReadAs
	Next                []Next
	Extrapolated        []Extrapolated
	Assumed             []winding.Assumption
	Findings            []errs.Finding
	Decided             *Decision
	Status              string // of the record that the first proposal repeats, else estimated
	Cautions            []winding.Caution
}
