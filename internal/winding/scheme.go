// Package winding knows what a winding is: a scheme of coils in the slots of a core, and the
// physics that follows from it: winding factor, EMF, densities, fill, mean turn, resistance, mass,
// and whether a data sheet agrees with itself.
package winding

import (
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// Role is what a coil set does.
type Role string

// The roles. Main and auxiliary belong to single-phase machines, phase_u, v, w to three-phase ones;
// speed is a tapped winding for lower speeds.
const (
	Main      Role = "main"
	Auxiliary Role = "auxiliary"
	Speed     Role = "speed"
	PhaseU    Role = "phase_u"
	PhaseV    Role = "phase_v"
	PhaseW    Role = "phase_w"
)

// RingName tells which ring of slots a coil set lies in.
type RingName string

// The rings: at the gap, or the second ring at the back.
const (
	RingGap  RingName = "gap"
	RingBack RingName = "back"
)

// PatternKind names a regular way of laying coils.
type PatternKind string

// The pattern kinds (trade terms).
const (
	Lap        PatternKind = "lap"
	Concentric PatternKind = "concentric"
	Tooth      PatternKind = "tooth"
	Skein      PatternKind = "skein"
)

// Connection is how the phases of a machine, or its supply, are joined.
type Connection string

// The connections.
const (
	ConnSingle Connection = "single"
	ConnStar   Connection = "star"
	ConnDelta  Connection = "delta"
)

// Coil is one coil: it goes in at slot In and returns at slot Out, with Turns turns. Slots count
// 1..Q in their ring from the lead side; in -> out is the sense of winding.
type Coil struct {
	In, Out int
	Turns   float64
}

// Pattern is a regular winding that expands to coils. Throws holds the second slot of each coil
// counted from its own first slot as 1, outermost first (1-8 is 8), so span = throw - 1.
type Pattern struct {
	Kind      PatternKind
	Throws    []int
	Turns     []float64 // per coil, one for each throw
	Groups    int       // coil groups; for three-phase lap with one throw: coils of the phase
	FirstSlot int       // 0 = not given
	Alternate *bool     // groups wound in alternating sense; nil = not given
}

// CoilSet is all coils of one role: explicit Coils, or a Pattern.
type CoilSet struct {
	Role          Role
	Ring          RingName // "" = gap
	Coils         []Coil
	Pattern       *Pattern
	ParallelPaths int // 0 = not given, taken as 1
	Wires         []wire.Wire
	Mass          unit.Measured // g
	MassState     string        // bare|enamelled|varnished|with_leads
	Resistance    unit.Measured // ohm
	Temperature   unit.Measured // degrees Celsius, of the resistance
	LeadPair      string
	Joining       string // end_to_end|start_to_start|end_to_start
	Tap           int    // order of a speed tap, 0 = none
}

// Scheme is a whole winding.
type Scheme struct {
	Poles    int // 0 = not given
	CoilSets []CoilSet
}

// Nameplate holds what the plate says, each figure with its own chance of being wrong.
type Nameplate struct {
	Voltage, Frequency, Power, Current, Speed unit.Measured // V, Hz, W, A, 1/min
	Poles                                     int
	CapacitorUF, CapacitorV                   unit.Measured // µF, V
	InsulationClass, Duty                     string
	SweepMM                                   unit.Measured // fan sweep, mm
	SpeedTaps                                 int           // count
	Connection                                Connection
}

// Supply is what is on site, told by the user; it is not the nameplate.
type Supply struct {
	Voltage, Frequency unit.Measured // V, Hz
	Phases             int
	Connection         Connection
}

// Assumption is a value that was not given and had to be assumed, with the reason.
type Assumption struct {
	Field string
	Value any // string or float64
	Why   string
}

// CautionSeverity grades a caution as ANSI Z535.6 and ISO 3864-2 do (quoted second-hand).
type CautionSeverity string

// The caution grades, gravest first.
const (
	CautionDanger  CautionSeverity = "danger"
	CautionWarning CautionSeverity = "warning"
	CautionCaution CautionSeverity = "caution"
	CautionNotice  CautionSeverity = "notice"
)

// Caution is a fixed safety text with a stable id: hazard, consequence, avoidance.
type Caution struct {
	ID       string
	Severity CautionSeverity
	Text     string
}
