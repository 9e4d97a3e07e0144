package bundle

import (
	"statorbook/internal/jsonin"
	"statorbook/internal/winding"
)

// Coil is the JSON shape of winding.Coil.
type Coil struct {
	In    int     `json:"in" in:"required,min=1,max=360"`
	Out   int     `json:"out" in:"required,min=1,max=360"`
	Turns float64 `json:"turns" in:"required,min=0,max=20000"`
}

// Pattern is the JSON shape of winding.Pattern. Throws count from the coil's own first slot as 1,
// outermost first: 1-8 is 8.
type Pattern struct {
	Kind      string    `json:"kind,omitempty" in:"enum=lap|concentric|tooth|skein"`
	Throws    []int     `json:"throws,omitempty" in:"maxitems=60,min=2,max=360"`
	Turns     []float64 `json:"turns,omitempty" in:"maxitems=60,min=0,max=20000"`
	Groups    int       `json:"groups,omitzero" in:"min=1,max=720"`
	FirstSlot int       `json:"first_slot,omitzero" in:"min=1,max=360"`
	Alternate *bool     `json:"alternate,omitempty"`
}

// CoilSet is the JSON shape of winding.CoilSet. Exactly one of Coils and Pattern stands.
type CoilSet struct {
	Role          string   `json:"role" in:"required,enum=main|auxiliary|speed|phase_u|phase_v|phase_w"`
	Ring          string   `json:"ring,omitempty" in:"enum=gap|back"`
	Coils         []Coil   `json:"coils,omitempty" in:"minitems=1,maxitems=720"`
	Pattern       *Pattern `json:"pattern,omitempty"`
	ParallelPaths int      `json:"parallel_paths,omitzero" in:"min=1,max=120"`
	Wires         []Wire   `json:"wires" in:"required,maxitems=8"`
	Mass          M        `json:"mass_g,omitzero" in:"min=0.001,max=1000000"`
	MassState     string   `json:"mass_state,omitempty" in:"enum=bare|enamelled|varnished|with_leads"`
	Resistance    M        `json:"resistance_ohm,omitzero" in:"min=0.000001,max=10000000"`
	Temperature   M        `json:"temperature_c,omitzero" in:"min=-60,max=300"`
	LeadPair      string   `json:"lead_pair,omitempty" in:"runes=40"`
	Joining       string   `json:"joining,omitempty" in:"enum=end_to_end|start_to_start|end_to_start"`
	Tap           int      `json:"tap,omitzero" in:"min=1,max=20"`
}

// ReadJSON reads a coil set and sees that its coils are told in one way.
func (s *CoilSet) ReadJSON(n jsonin.Node) {
	type plain CoilSet
	var p plain
	if n.Kind() != jsonin.Object {
		n.WrongType("an object")
		return
	}
	n.Object(&p)
	switch {
	case p.Coils == nil && p.Pattern == nil:
		n.FailAt("pattern", jsonin.CodeRequired, "a coil set needs coils, or a pattern that expands to them", nil, "")
	case p.Coils != nil && p.Pattern != nil:
		n.FailAt("pattern", jsonin.CodeConflict, "give coils or a pattern, not both", nil, "")
	}
	*s = CoilSet(p)
}

// Scheme is the JSON shape of winding.Scheme.
type Scheme struct {
	Poles    Count     `json:"poles,omitzero" in:"min=1,max=120"`
	CoilSets []CoilSet `json:"coil_sets,omitempty" in:"maxitems=24"`
}

// ToDomain gives the scheme as the trade's packages take it.
func (s Scheme) ToDomain() winding.Scheme {
	return winding.Scheme{Poles: int(s.Poles), CoilSets: convert(s.CoilSets, CoilSet.ToDomain)}
}

// SchemeOf gives the JSON shape of a scheme.
func SchemeOf(s winding.Scheme) Scheme {
	return Scheme{Poles: Count(s.Poles), CoilSets: convert(s.CoilSets, CoilSetOf)}
}

// ToDomain gives the coil set as the trade's packages take it.
func (s CoilSet) ToDomain() winding.CoilSet {
	out := winding.CoilSet{
		Role: winding.Role(s.Role), Ring: winding.RingName(s.Ring), ParallelPaths: s.ParallelPaths, Wires: WiresToDomain(s.Wires),
		Coils: convert(s.Coils, func(c Coil) winding.Coil { return winding.Coil(c) }),
		Mass:  s.Mass.Measured, MassState: s.MassState, Resistance: s.Resistance.Measured, Temperature: s.Temperature.Measured,
		LeadPair: s.LeadPair, Joining: s.Joining, Tap: s.Tap,
	}
	if p := s.Pattern; p != nil {
		out.Pattern = &winding.Pattern{
			Kind: winding.PatternKind(p.Kind), Throws: p.Throws, Turns: p.Turns, Groups: p.Groups, FirstSlot: p.FirstSlot, Alternate: p.Alternate,
		}
	}
	return out
}

// CoilSetOf gives the JSON shape of a coil set.
func CoilSetOf(s winding.CoilSet) CoilSet {
	out := CoilSet{
		Role: string(s.Role), Ring: string(s.Ring), ParallelPaths: s.ParallelPaths, Wires: WiresOf(s.Wires),
		Coils: convert(s.Coils, func(c winding.Coil) Coil { return Coil(c) }),
		Mass:  M{s.Mass}, MassState: s.MassState, Resistance: M{s.Resistance}, Temperature: M{s.Temperature},
		LeadPair: s.LeadPair, Joining: s.Joining, Tap: s.Tap,
	}
	if p := s.Pattern; p != nil {
		out.Pattern = &Pattern{
			Kind: string(p.Kind), Throws: p.Throws, Turns: p.Turns, Groups: p.Groups, FirstSlot: p.FirstSlot, Alternate: p.Alternate,
		}
	}
	return out
}
