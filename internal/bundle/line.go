package bundle

import "statorbook/internal/jsonin"

// Kind tells what a line of a bundle holds.
type Kind string

// The kinds of line. A bundle starts with a manifest and ends with an end line.
const (
	KindManifest Kind = "manifest"
	KindWire     Kind = "wire"
	KindClass    Kind = "insulation_class"
	KindMaterial Kind = "insulating_material"
	KindFamily   Kind = "family"
	KindCore     Kind = "core"
	KindWinding  Kind = "winding"
	KindReview   Kind = "review"
	KindEnd      Kind = "end"
)

// Format is the version of the bundle format that is written and read.
const Format = 1

// Manifest is the body of the first line. All but Format may be absent.
type Manifest struct {
	Format    int    `json:"format" in:"required,min=1,max=1000"`
	Licence   string `json:"licence,omitempty" in:"runes=100"` // SPDX expression
	Demo      bool   `json:"demo"`
	Title     string `json:"title,omitempty"`
	Institute string `json:"institute,omitempty" in:"format=slug"` // who hands the bundle out

	// Keys are the verifier keys that the statements and the seal were signed with. They let a reader
	// check that the file agrees with itself; whose keys they are, only a pinned key can tell.
	Keys   []string `json:"keys,omitempty" in:"maxitems=1000,runes=300"`
	Signer string   `json:"signer,omitempty" in:"runes=220"` // id of the key that seals the file in its end line

	CatalogueRevision int64  `json:"catalogue_revision,omitempty" in:"min=0,max=1000000000000"` // state that was exported
	Since             int64  `json:"since,omitempty" in:"min=0,max=1000000000000"`              // only what was published after this catalogue revision
	Provenance        string `json:"provenance,omitempty" in:"lines,runes=2000"`                // where the records come from, in words
}

// Review is the body of a vetting proof: the statement about one revision, in its parts and as the
// signed note, whose signature lines name the keys. The line has the id and the revision of the record
// that it speaks about, and stands behind the record's line.
type Review struct {
	Act       string `json:"act" in:"required,enum=publication|supersession|withdrawal|erratum"`
	Kind      string `json:"kind" in:"required,enum=family|winding"`
	Record    string `json:"record" in:"required,format=uuid"`
	Revision  int    `json:"revision" in:"required,min=1,max=1000000000"`
	SHA256    string `json:"sha256" in:"required,format=sha256"`
	Institute string `json:"institute" in:"required,format=slug"`
	Author    string `json:"author" in:"required,format=slug"`
	Vetter    string `json:"vetter" in:"required,format=slug"`
	Reason    string `json:"reason,omitempty" in:"runes=40"`
	Note      string `json:"note,omitempty" in:"lines,runes=8000"`
}

// Statement is what the review says. It is not checked yet; see Statement.Validate.
func (r Review) Statement() Statement {
	return Statement{
		Act: r.Act, Kind: Kind(r.Kind), Record: r.Record, Revision: r.Revision, SHA256: r.SHA256,
		Institute: r.Institute, Author: r.Author, Vetter: r.Vetter, Reason: r.Reason,
	}
}

// ReviewOf gives the body for a statement and its signed note.
func ReviewOf(s Statement, note string) Review {
	return Review{
		Act: s.Act, Kind: string(s.Kind), Record: s.Record, Revision: s.Revision, SHA256: s.SHA256,
		Institute: s.Institute, Author: s.Author, Vetter: s.Vetter, Reason: s.Reason, Note: note,
	}
}

// Line is one line that was read. Exactly one of the bodies stands, as Kind says.
type Line struct {
	Number   int // from 1
	Kind     Kind
	ID       string
	Revision int
	SHA256   string // content hash, in hexadecimal; computed, and equal to the line's own if it had one

	Manifest *Manifest
	Wire     *WireSize
	Class    *InsulationClass
	Material *InsulatingMaterial
	Family   *Family
	Core     *StandaloneCore
	Winding  *Winding
	Review   *Review
}

// Body is the body that stands.
func (l *Line) Body() any {
	switch l.Kind {
	case KindManifest:
		return l.Manifest
	case KindWire:
		return l.Wire
	case KindClass:
		return l.Class
	case KindMaterial:
		return l.Material
	case KindFamily:
		return l.Family
	case KindCore:
		return l.Core
	case KindWinding:
		return l.Winding
	case KindReview:
		return l.Review
	}
	return nil
}

// newBody sets the body of the kind and returns it for reading.
func (l *Line) newBody() any {
	switch l.Kind {
	case KindManifest:
		l.Manifest = &Manifest{}
	case KindWire:
		l.Wire = &WireSize{}
	case KindClass:
		l.Class = &InsulationClass{}
	case KindMaterial:
		l.Material = &InsulatingMaterial{}
	case KindFamily:
		l.Family = &Family{}
	case KindCore:
		l.Core = &StandaloneCore{}
	case KindWinding:
		l.Winding = &Winding{}
	case KindReview:
		l.Review = &Review{}
	}
	return l.Body()
}

// identity returns where the body keeps its own id and revision; nil where it has none.
func (l *Line) identity() (id *string, revision *int) {
	switch l.Kind {
	case KindWire:
		return &l.Wire.ID, nil
	case KindClass:
		return &l.Class.Letter, nil
	case KindMaterial:
		return &l.Material.ID, nil
	case KindFamily:
		return &l.Family.ID, &l.Family.Revision
	case KindCore:
		return &l.Core.ID, nil
	case KindWinding:
		return &l.Winding.ID, &l.Winding.Revision
	case KindReview:
		return &l.Review.Record, &l.Review.Revision
	}
	return nil, nil
}

// readLine is a line as it is read, and rawLine as it is written.
type readLine struct {
	Kind     string     `json:"kind" in:"required,enum=manifest|wire|insulation_class|insulating_material|family|core|winding|review|end"`
	ID       string     `json:"id" in:"runes=64"`
	Revision int        `json:"revision" in:"min=1,max=1000000000"`
	SHA256   string     `json:"sha256" in:"format=sha256"`
	Count    *int       `json:"count" in:"min=0,max=1000000000"`
	Body     jsonin.Raw `json:"body"`
}

type rawLine struct {
	Kind     Kind   `json:"kind"`
	ID       string `json:"id,omitempty"`
	Revision int    `json:"revision,omitempty"`
	Count    int    `json:"count,omitempty"`
	SHA256   string `json:"sha256,omitempty"`
	Body     any    `json:"body,omitempty"`
}
