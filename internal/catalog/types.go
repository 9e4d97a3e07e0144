// Package catalog holds the records that people share: stator families, winding records, their
// revisions and sources, who may do what with them, and the checks that a record must pass before
// it is stored.
package catalog

import (
	"time"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// State is where a revision stands in its life.
type State string

// The states of a revision.
const (
	Draft      State = "draft"
	Submitted  State = "submitted"
	Vetted     State = "vetted"
	Published  State = "published"
	Superseded State = "superseded"
	Withdrawn  State = "withdrawn"
)

// Status is what every answer shows beside a record: how far it can be trusted.
type Status string

// The statuses of contract rule 7.
const (
	StatusDemo        Status = "demo"
	StatusVetted      Status = "vetted"
	StatusForeign     Status = "foreign"
	StatusEstimated   Status = "estimated"
	StatusNotVerified Status = "not_verified"
	StatusWithdrawn   Status = "withdrawn"
)

// Provenance is what every stored record carries besides its content.
type Provenance struct {
	Revision              int
	State                 State
	Status                Status
	Source, Licence       string // licence is an SPDX id
	Institute             string // slug of the institute
	Author, Vetter        string // pseudonymous person ids, "" = none (imports only)
	Demo                  bool
	Reason                string         // of a correction or withdrawal, in words
	Hash                  Hash           // of the content
	VettedAt              time.Time      // zero: nobody vetted it here
	Answers               []Answer       // of the vetter to the findings
	OpenReports           int            // problem reports that wait for an answer
	Version               int            // of a draft, from 1: every change counts; 0 for what is published
	Base                  int            // of a draft: the published revision that it corrects, 0 for none
	ReasonCode            string         // the same from a list
	ReturnedFor           string         // of a draft: why a vetter sent it back last
	ReturnedFindings      []errs.Finding // of a draft: what stood when it was sent back, each once
	CreatedAt, ModifiedAt time.Time
}

// FamilyCore is one stack of a family.
type FamilyCore struct {
	ID          string        // UUID
	StackLength unit.Measured // mm
}

// Family is one lamination design and its application; its cores differ in stack length.
type Family struct {
	ID, Slug, Title string
	Application     string      // ceiling_fan|table_fan|exhaust_fan|blower|pump|grinder|air_cooler|washing_machine|compressor|general
	Core            stator.Core // StackLength absent
	Cores           []FamilyCore
	Findings        []errs.Finding
	Provenance
}

// Lead is one flexible end brought out of the winding. A colour is what was seen, never assumed.
type Lead struct {
	Mark, ColourSeen, GoesTo string
	SectionMM2               unit.Measured
}

// Liner is the slot liner of a record.
type Liner struct {
	Material  string
	Thickness unit.Measured // mm
}

// Winding is one way that a core is wound, as somebody recorded it.
type Winding struct {
	ID, Slug, CoreID, FamilyID   string
	CoreAsMeasured               *stator.Core
	MotorType                    string // permanent_split_capacitor|capacitor_start|capacitor_start_run|split_phase|shaded_pole|three_phase_cage|unknown
	Origin                       string // factory|previously_rewound|unknown
	Nameplate                    winding.Nameplate
	Scheme                       winding.Scheme
	ThermalCutout                string
	OverhangLead, OverhangFar    unit.Measured // mm
	CoilLength, CoilWidth        unit.Measured // mm
	Liner                        *Liner
	Wedge, Binding               string // binding thread|tape
	Sleeving, Varnish, Direction string
	Leads                        []Lead
	ViewingEnd, Slot1Mark        string
	Remarks                      string
	TimesSeen                    int
	Quality                      map[string]string // field -> measured|counted|plate|calculated|estimated
	Findings                     []errs.Finding
	Provenance
}

// Institute is a holder of records.
type Institute struct {
	ID, Slug, Title string
	Demo            bool
}

// WireSize is a wire size as stored: the published row with its provenance.
type WireSize struct {
	wire.Size
	Revision int
}
