package bundle

import (
	"encoding/hex"
	"time"

	"statorbook/internal/catalog"
)

// Sheet is what a technician records about a winding: the part of a Winding that requests may
// write. Nothing that the server sets can be bound to it.
type Sheet struct {
	CoreAsMeasured *Core             `json:"core_as_measured,omitempty"`
	MotorType      string            `json:"motor_type,omitempty" in:"enum=permanent_split_capacitor|capacitor_start|capacitor_start_run|split_phase|shaded_pole|three_phase_cage|unknown"`
	Origin         string            `json:"origin,omitempty" in:"enum=factory|previously_rewound|unknown"`
	Nameplate      Nameplate         `json:"nameplate,omitzero"`
	Scheme         Scheme            `json:"scheme,omitzero"`
	ThermalCutout  string            `json:"thermal_cutout,omitempty"`
	OverhangLead   M                 `json:"overhang_lead_mm,omitzero" in:"min=0.01,max=10000"`
	OverhangFar    M                 `json:"overhang_far_mm,omitzero" in:"min=0.01,max=10000"`
	CoilLength     M                 `json:"coil_length_mm,omitzero" in:"min=0.01,max=10000"`
	CoilWidth      M                 `json:"coil_width_mm,omitzero" in:"min=0.01,max=10000"`
	Liner          *Liner            `json:"liner,omitempty"`
	Wedge          string            `json:"wedge,omitempty"`
	Binding        string            `json:"binding,omitempty" in:"enum=thread|tape"`
	Sleeving       string            `json:"sleeving,omitempty"`
	Varnish        string            `json:"varnish,omitempty"`
	Direction      string            `json:"direction,omitempty"`
	Leads          []Lead            `json:"leads,omitempty" in:"maxitems=60"`
	ViewingEnd     string            `json:"viewing_end,omitempty"`
	Slot1Mark      string            `json:"slot_1_mark,omitempty"`
	Remarks        string            `json:"remarks,omitempty" in:"lines,runes=4000"`
	Quality        map[string]string `json:"quality,omitempty" in:"enum=measured|counted|plate|calculated|estimated,maxitems=200"`
}

// Liner is the JSON shape of catalog.Liner.
type Liner struct {
	Material  string `json:"material,omitempty"`
	Thickness M      `json:"thickness_mm,omitzero" in:"min=0.001,max=100"`
}

// Lead is the JSON shape of catalog.Lead. A colour is what was seen, never assumed.
type Lead struct {
	Mark       string `json:"mark,omitempty" in:"runes=40"`
	ColourSeen string `json:"colour_seen,omitempty" in:"runes=40"`
	GoesTo     string `json:"goes_to,omitempty" in:"runes=100"`
	Section    M      `json:"section_mm2,omitzero" in:"min=0.001,max=1000"`
}

// Origin is where a record comes from, as its author says it.
type Origin struct {
	Source  string `json:"source,omitempty" in:"runes=2000"`
	Licence string `json:"licence,omitempty" in:"runes=100"`
	Demo    bool   `json:"demo"`
}

// Standing is what the server says about a stored record. It may be absent in a bundle and never
// counts for the content hash, since another server sets it anew.
type Standing struct {
	Revision        int       `json:"revision,omitzero" in:"min=1,max=1000000000"`
	State           string    `json:"state,omitempty" in:"enum=draft|submitted|vetted|published|superseded|withdrawn"`
	Status          string    `json:"status,omitempty" in:"enum=demo|vetted|foreign|estimated|not_verified|withdrawn"`
	WithdrawnReason string    `json:"withdrawn_reason,omitempty" in:"lines,runes=1000"`
	CorrectedFor    string    `json:"corrected_for,omitempty" in:"lines,runes=1000"`
	Findings        []Finding `json:"findings,omitempty" in:"maxitems=200"`
	Institute       string    `json:"institute,omitempty" in:"format=slug"`
	Witness
	ETag       string    `json:"etag,omitempty"`
	CreatedAt  time.Time `json:"created_at,omitzero"`
	ModifiedAt time.Time `json:"modified_at,omitzero"`
}

// Witness says who answers for a record and what is open about it. It is for readers of answers: in a
// bundle only a signed statement counts, and Verify tells where the two differ.
type Witness struct {
	SHA256      string    `json:"sha256,omitempty"` // content hash
	Author      string    `json:"author,omitempty"` // pseudonym inside the institute
	Vetter      string    `json:"vetter,omitempty"`
	VettedAt    time.Time `json:"vetted_at,omitzero"`
	Answers     []Answer  `json:"answers,omitempty" in:"maxitems=200"`
	OpenReports int       `json:"open_problem_reports,omitzero" in:"min=0,max=1000000000"`
	Base        int       `json:"base_revision,omitzero" in:"min=0,max=1000000000"`
	ReasonCode  string    `json:"reason_code,omitempty"`
	ReturnedFor string    `json:"returned_for,omitempty" in:"lines,runes=1000"`
	Returned    []Finding `json:"returned_findings,omitempty" in:"maxitems=200"`
}

// Answer is the JSON shape of catalog.Answer.
type Answer struct {
	Code   string   `json:"code" in:"required,runes=60"`
	Fields []string `json:"fields,omitempty" in:"maxitems=20"`
	Kind   string   `json:"answer" in:"required,enum=accepted|corrected"`
	Reason string   `json:"reason,omitempty" in:"lines,runes=1000"`
}

// AnswersOf gives the JSON shape of a checklist.
func AnswersOf(list []catalog.Answer) []Answer {
	return convert(list, func(a catalog.Answer) Answer { return Answer{a.Code, a.Fields, string(a.Kind), a.Reason} })
}

// AnswersToDomain gives a checklist as the domain has it.
func AnswersToDomain(list []Answer) []catalog.Answer {
	return convert(list, func(a Answer) catalog.Answer {
		return catalog.Answer{Code: a.Code, Fields: a.Fields, Kind: catalog.AnswerKind(a.Kind), Reason: a.Reason}
	})
}

func witnessOf(p catalog.Provenance) Witness {
	w := Witness{Author: p.Author, Vetter: p.Vetter, Answers: AnswersOf(p.Answers), OpenReports: p.OpenReports, Base: p.Base, ReasonCode: p.ReasonCode, ReturnedFor: p.ReturnedFor,
		Returned: convert(p.ReturnedFindings, FindingOf)}
	if p.Hash != (catalog.Hash{}) {
		w.SHA256 = hex.EncodeToString(p.Hash[:])
	}
	if !p.VettedAt.IsZero() {
		w.VettedAt = p.VettedAt.UTC()
	}
	return w
}

// Winding is the JSON shape of catalog.Winding: the answer of GET, and the body of a bundle line.
type Winding struct {
	ID       string `json:"id,omitempty" in:"format=uuid"`
	Slug     string `json:"slug,omitempty" in:"format=slug" hash:"-"`
	CoreID   string `json:"core_id,omitempty" in:"format=uuid"`
	FamilyID string `json:"family_id,omitempty" in:"format=uuid"`
	Sheet
	TimesSeen int `json:"times_seen,omitzero" in:"min=0,max=1000000000" hash:"-"`
	Origin
	Standing `hash:"-"`
}

// ToDomain puts the sheet into a record.
func (s Sheet) ToDomain() catalog.Winding {
	w := catalog.Winding{
		CoreAsMeasured: coreToDomain(s.CoreAsMeasured), MotorType: s.MotorType, Origin: s.Origin,
		Nameplate: s.Nameplate.ToDomain(), Scheme: s.Scheme.ToDomain(), ThermalCutout: s.ThermalCutout,
		OverhangLead: s.OverhangLead.Measured, OverhangFar: s.OverhangFar.Measured,
		CoilLength: s.CoilLength.Measured, CoilWidth: s.CoilWidth.Measured,
		Wedge: s.Wedge, Binding: s.Binding, Sleeving: s.Sleeving, Varnish: s.Varnish, Direction: s.Direction,
		ViewingEnd: s.ViewingEnd, Slot1Mark: s.Slot1Mark, Remarks: s.Remarks, Quality: s.Quality,
		Leads: convert(s.Leads, func(l Lead) catalog.Lead {
			return catalog.Lead{Mark: l.Mark, ColourSeen: l.ColourSeen, GoesTo: l.GoesTo, SectionMM2: l.Section.Measured}
		}),
	}
	if s.Liner != nil {
		w.Liner = &catalog.Liner{Material: s.Liner.Material, Thickness: s.Liner.Thickness.Measured}
	}
	return w
}

// SheetOf gives the sheet of a record.
func SheetOf(w catalog.Winding) Sheet {
	s := Sheet{
		CoreAsMeasured: coreOf(w.CoreAsMeasured), MotorType: w.MotorType, Origin: w.Origin,
		Nameplate: NameplateOf(w.Nameplate), Scheme: SchemeOf(w.Scheme), ThermalCutout: w.ThermalCutout,
		OverhangLead: M{w.OverhangLead}, OverhangFar: M{w.OverhangFar}, CoilLength: M{w.CoilLength}, CoilWidth: M{w.CoilWidth},
		Wedge: w.Wedge, Binding: w.Binding, Sleeving: w.Sleeving, Varnish: w.Varnish, Direction: w.Direction,
		ViewingEnd: w.ViewingEnd, Slot1Mark: w.Slot1Mark, Remarks: w.Remarks, Quality: w.Quality,
		Leads: convert(w.Leads, func(l catalog.Lead) Lead {
			return Lead{Mark: l.Mark, ColourSeen: l.ColourSeen, GoesTo: l.GoesTo, Section: M{l.SectionMM2}}
		}),
	}
	if w.Liner != nil {
		s.Liner = &Liner{Material: w.Liner.Material, Thickness: M{w.Liner.Thickness}}
	}
	return s
}

// ToDomain gives the record as the domain has it.
func (w Winding) ToDomain() catalog.Winding {
	out := w.Sheet.ToDomain()
	out.ID, out.Slug, out.CoreID, out.FamilyID, out.TimesSeen = w.ID, w.Slug, w.CoreID, w.FamilyID, w.TimesSeen
	out.Findings = FindingsToDomain(w.Findings)
	out.Provenance = w.Standing.toDomain(w.Origin)
	return out
}

// WindingOf gives the JSON shape of a record. ETag stays empty: the caller sets it.
func WindingOf(w catalog.Winding) Winding {
	out := Winding{
		ID: w.ID, Slug: w.Slug, CoreID: w.CoreID, FamilyID: w.FamilyID, Sheet: SheetOf(w), TimesSeen: w.TimesSeen,
		Origin: originOf(w.Provenance), Standing: standingOf(w.Provenance),
	}
	out.Findings = convert(w.Findings, FindingOf)
	return out
}

// toDomain joins what the author and the server say. Author and vetter are never in a body; they
// travel in statements.
func (s Standing) toDomain(o Origin) catalog.Provenance {
	return catalog.Provenance{
		Revision: s.Revision, State: catalog.State(s.State), Status: catalog.Status(s.Status), Reason: s.reason(),
		Institute: s.Institute, CreatedAt: s.CreatedAt, ModifiedAt: s.ModifiedAt,
		Source: o.Source, Licence: o.Licence, Demo: o.Demo,
	}
}

// reason is why the revision was made: a withdrawal has another member than a correction.
func (s Standing) reason() string {
	if catalog.State(s.State) == catalog.Withdrawn {
		return s.WithdrawnReason
	}
	return s.CorrectedFor
}

func originOf(p catalog.Provenance) Origin {
	return Origin{Source: p.Source, Licence: p.Licence, Demo: p.Demo}
}

func standingOf(p catalog.Provenance) Standing {
	s := Standing{
		Revision: p.Revision, State: string(p.State), Status: string(p.Status),
		Institute: p.Institute, Witness: witnessOf(p), CreatedAt: p.CreatedAt.UTC(), ModifiedAt: p.ModifiedAt.UTC(),
	}
	if p.State == catalog.Withdrawn {
		s.WithdrawnReason = p.Reason
	} else {
		s.CorrectedFor = p.Reason
	}
	return s
}
