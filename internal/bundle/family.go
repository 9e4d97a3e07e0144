package bundle

import "statorbook/internal/catalog"

// Family is the JSON shape of catalog.Family: the answer of GET, and the body of a bundle line.
type Family struct {
	ID   string `json:"id,omitempty" in:"format=uuid"`
	Slug string `json:"slug,omitempty" in:"format=slug" hash:"-"`
	Lamination
	Origin
	Standing `hash:"-"`
}

// Lamination is the part of a Family that requests may write: the stamping and its stacks.
type Lamination struct {
	Title       string       `json:"title,omitempty"`
	Application string       `json:"application,omitempty" in:"enum=ceiling_fan|table_fan|exhaust_fan|blower|pump|grinder|air_cooler|washing_machine|compressor|general"`
	Core        Core         `json:"core,omitzero"`
	Cores       []FamilyCore `json:"cores,omitempty" in:"maxitems=200"`
}

// FamilyCore is one stack of a family.
type FamilyCore struct {
	ID          string `json:"id,omitempty" in:"format=uuid"`
	StackLength M      `json:"stack_length_mm,omitzero" in:"min=0.01,max=10000"`
}

// StandaloneCore is the body of a bundle line of kind core: a stack that joins a family.
type StandaloneCore struct {
	ID          string `json:"id,omitempty" in:"format=uuid"`
	FamilyID    string `json:"family_id" in:"required,format=uuid"`
	StackLength M      `json:"stack_length_mm,omitzero" in:"min=0.01,max=10000"`
}

// ToDomain gives the family as the domain has it.
func (f Family) ToDomain() catalog.Family {
	out := f.Lamination.ToDomain()
	out.ID, out.Slug, out.Provenance = f.ID, f.Slug, f.Standing.toDomain(f.Origin)
	out.Findings = FindingsToDomain(f.Findings)
	return out
}

// ToDomain puts the lamination into a family.
func (l Lamination) ToDomain() catalog.Family {
	return catalog.Family{
		Title: l.Title, Application: l.Application, Core: l.Core.ToDomain(),
		Cores: convert(l.Cores, func(c FamilyCore) catalog.FamilyCore {
			return catalog.FamilyCore{ID: c.ID, StackLength: c.StackLength.Measured}
		}),
	}
}

// FamilyOf gives the JSON shape of a family. ETag stays empty: the caller sets it.
func FamilyOf(f catalog.Family) Family {
	out := Family{
		ID: f.ID, Slug: f.Slug, Origin: originOf(f.Provenance), Standing: standingOf(f.Provenance),
		Lamination: Lamination{
			Title: f.Title, Application: f.Application, Core: CoreOf(f.Core),
			Cores: convert(f.Cores, func(c catalog.FamilyCore) FamilyCore {
				return FamilyCore{ID: c.ID, StackLength: M{c.StackLength}}
			}),
		},
	}
	out.Findings = convert(f.Findings, FindingOf)
	return out
}
