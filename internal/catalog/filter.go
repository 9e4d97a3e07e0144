package catalog

import (
	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// Page sizes of lists.
const (
	DefaultPageSize = 50
	MaxPageSize     = 200
)

// Dimension names a length of a core by which families are searched.
type Dimension string

// The dimensions, all in mm. StackLength is met by any core of a family.
const (
	GapDiameter  Dimension = "gap_diameter_mm"
	BackDiameter Dimension = "back_diameter_mm"
	StackLength  Dimension = "stack_length_mm"
	ToothWidth   Dimension = "tooth_width_mm"
	SlotDepth    Dimension = "slot_depth_mm"
	SlotOpening  Dimension = "slot_opening_mm"
	BackIron     Dimension = "back_iron_mm"
)

// Dimensions lists every Dimension in the order of the Core shape.
func Dimensions() []Dimension {
	return []Dimension{GapDiameter, BackDiameter, StackLength, ToothWidth, SlotDepth, SlotOpening, BackIron}
}

// Window asks for a dimension between Low and High, both included. 0 leaves a side open. A family
// without the figure is not found.
type Window struct {
	Dimension Dimension
	Low, High unit.Millimetre
}

// FamilyFilter selects families. A zero field does not filter.
type FamilyFilter struct {
	Phases        int
	RotorPosition stator.RotorPosition
	Slots         int // of the ring at the gap
	Poles         int // families with a published winding of that many poles
	Application   string
	Windows       []Window
	State         State  // "" = published
	Institute     string // slug of the holder
}

// WindingFilter selects windings. A zero field does not filter.
type WindingFilter struct {
	Family    string // UUID or slug
	Poles     int
	State     State  // "" = published
	Institute string // slug of the holder
}

// DraftFilter selects drafts of one's own institute. A zero field does not filter.
type DraftFilter struct {
	State  State  // draft, submitted or vetted
	Family string // UUID; windings only
}

// PageRequest asks for the Size items (1-MaxPageSize, 0 = DefaultPageSize) after the one whose key
// is After ("" = from the start). The key of a family or winding is its slug.
type PageRequest struct {
	After string
	Size  int
}

// Page is a part of a list, in the order of its keys. Next is the key to continue after, "" at the end.
type Page[T any] struct {
	Items []T
	Next  string
}
