package postgres

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"regexp"
	"slices"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/stator"
	"statorbook/internal/wire"
)

// refusal says why a line is not staged.
type refusal struct {
	code   string
	detail string // "" = the words of the code
	fields []errs.Field
}

// linter checks records before they are staged. It knows the wires and families that are stored,
// and those that the bundle has brought so far.
type linter struct {
	sizes    []wire.Size
	table    *wire.Table // of the sizes, nil when it must be made anew
	families map[string]*catalog.Family
}

// newLinter reads what is stored.
func newLinter(ctx context.Context, tx pgx.Tx) (*linter, error) {
	l := &linter{families: map[string]*catalog.Family{}}
	stored, err := wireSizes(ctx, tx)
	if err != nil {
		return nil, err
	}
	for _, s := range stored {
		l.sizes = append(l.sizes, s.Size)
	}
	rows, err := tx.Query(ctx, `
		SELECT f.id::text, r.body FROM family f JOIN family_revision r ON r.family_id = f.id AND r.revision = f.revision`)
	if err != nil {
		return nil, err
	}
	var id string
	var body []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &body}, func() error {
		var f bundle.Family
		if err := jsonin.Decode(body, &f, jsonin.Line); err != nil {
			return errs.Wrap(errs.KindInternal, "a stored family cannot be read: "+id, err)
		}
		family := f.ToDomain()
		l.families[id] = &family
		return nil
	})
	return l, err
}

// wires gives the table of all sizes known so far, nil if there are none: then gauges are not judged.
func (l *linter) wires() (*wire.Table, error) {
	if l.table == nil && len(l.sizes) > 0 {
		var err error
		if l.table, err = wire.NewTable(l.sizes); err != nil {
			return nil, err
		}
	}
	return l.table, nil
}

// addWire makes a size of the bundle known. One that is known already stays as it is stored.
func (l *linter) addWire(size wire.Size) {
	if !slices.ContainsFunc(l.sizes, func(s wire.Size) bool { return s.ID == size.ID }) {
		l.sizes, l.table = append(l.sizes, size), nil
	}
}

// stage turns a line into a row, or says why it cannot be one. What the server sets is taken out of
// the body: heads and revisions know it better. An error ends the import.
func (l *linter) stage(line *bundle.Line) (*staged, *refusal, error) {
	hash, err := hex.DecodeString(line.SHA256)
	if err != nil {
		return nil, nil, errs.Wrap(errs.KindInternal, "a content hash cannot be read", err)
	}
	row := &staged{line: line.Number, kind: string(line.Kind), id: line.ID, revision: line.Revision, hash: hash,
		state: string(catalog.Published), findings: []byte("[]")}
	var body any
	var no *refusal
	switch line.Kind {
	case bundle.KindWire:
		w := *line.Wire
		w.ETag, w.Resistance.At = "", nil
		body, no = w, l.wire(w.ToDomain())
	case bundle.KindClass:
		c := *line.Class
		c.ETag = ""
		body = c
	case bundle.KindMaterial:
		m := *line.Material
		m.ETag = ""
		body = m
	case bundle.KindFamily:
		body, no, err = l.family(row, line.Family)
	case bundle.KindCore:
		row.familyID, body = &line.Core.FamilyID, line.Core
	case bundle.KindWinding:
		body, no, err = l.winding(row, line.Winding)
	default:
		no = &refusal{code: "line"}
	}
	if err != nil || no != nil {
		return nil, no, err
	}
	if row.body, err = json.Marshal(body); err != nil {
		return nil, nil, err
	}
	if no = rereadable(line, row.body); no != nil {
		return nil, no, nil
	}
	return row, nil, nil
}

// referenceID is the form of an id of the reference tables, as the database keeps it.
var referenceID = regexp.MustCompile(`^[A-Za-z0-9.]{1,64}(-[A-Za-z0-9.]{1,64})*$`)

// rereadable refuses a row of the reference tables that could be stored and then not be read, which would keep the
// catalogue from being loaded: a body without an id takes that of its line, which has other bounds.
func rereadable(line *bundle.Line, stored []byte) *refusal {
	var into any
	switch line.Kind {
	case bundle.KindWire:
		into = &bundle.WireSize{}
	case bundle.KindClass:
		into = &bundle.InsulationClass{}
	case bundle.KindMaterial:
		into = &bundle.InsulatingMaterial{}
	default:
		return nil
	}
	if !referenceID.MatchString(line.ID) {
		return &refusal{code: "line", fields: []errs.Field{{Pointer: "/id", Code: jsonin.CodeFormat, Got: line.ID,
			Detail: "an id of the reference tables is letters, digits and points in parts joined by single hyphens, at most 64 characters"}}}
	}
	var cannot *errs.Error
	if errors.As(jsonin.Decode(stored, into, jsonin.Line), &cannot) {
		no := &refusal{code: "line", detail: cannot.Detail, fields: slices.Clone(cannot.Fields)}
		for i := range no.fields {
			no.fields[i].Pointer = "/body" + no.fields[i].Pointer
		}
		return no
	}
	return nil
}

// wire makes a size of the bundle known, or refuses one that no table can hold: it would keep the catalogue from
// being loaded.
func (l *linter) wire(size wire.Size) *refusal {
	if fault := size.Fault(); fault != "" {
		return &refusal{code: "line", fields: []errs.Field{{Pointer: "/body", Code: wire.CodeBadSize, Detail: fault, Got: size.ID}}}
	}
	l.addWire(size)
	return nil
}

// family fills the row with what only families have and gives the body to store.
func (l *linter) family(r *staged, f *bundle.Family) (any, *refusal, error) {
	if slices.ContainsFunc(f.Cores, func(c bundle.FamilyCore) bool { return c.ID == "" }) {
		return nil, &refusal{code: "core_without_id"}, nil
	}
	if no := r.standing(f.Standing, f.Slug, "family-"); no != nil {
		return nil, no, nil
	}
	r.demo, r.institute = f.Demo, f.Institute
	family := f.ToDomain()
	if no := r.find(catalog.LintFamily(family, catalog.LintOptions{})); no != nil {
		return nil, no, nil
	}
	l.families[f.ID] = &family
	body := *f
	body.Slug, body.Standing = "", bundle.Standing{Institute: f.Institute}
	return body, nil, nil
}

// winding fills the row with what only windings have and gives the body to store.
func (l *linter) winding(r *staged, w *bundle.Winding) (any, *refusal, error) {
	if no := r.standing(w.Standing, w.Slug, "winding-"); no != nil {
		return nil, no, nil
	}
	r.institute = w.Institute
	r.demo, r.familyID, r.coreID, r.timesSeen = w.Demo, nullText(w.FamilyID), nullText(w.CoreID), max(w.TimesSeen, 1)
	if poles := int(w.Scheme.Poles); poles != 0 {
		r.poles = &poles
	}
	table, err := l.wires()
	if err != nil {
		return nil, nil, err
	}
	record := w.ToDomain()
	lint := catalog.LintWinding(record, catalog.LintOptions{Wires: table, Family: l.families[w.FamilyID]})
	lint.Findings = append(lint.Findings, measuredWrong(record.CoreAsMeasured, lint.Findings)...)
	if no := r.find(lint); no != nil {
		return nil, no, nil
	}
	body := *w
	body.Slug, body.TimesSeen, body.Standing = "", 0, bundle.Standing{Institute: w.Institute}
	return body, nil, nil
}

// measuredWrong gives what no real core can have among the figures measured for this record, where
// the check of the record went by the family's figures instead (contract rule 4: a finding of
// severity error that import accepts).
func measuredWrong(core *stator.Core, known []errs.Finding) []errs.Finding {
	if core == nil {
		return nil
	}
	var wrong []errs.Finding
	for _, f := range stator.Check(*core) {
		if f.Severity != errs.SeverityError || slices.ContainsFunc(known, func(k errs.Finding) bool { return k.Code == f.Code }) {
			continue
		}
		fields := make([]string, len(f.Fields))
		for i, name := range f.Fields {
			fields[i] = "core_as_measured." + name
		}
		f.Fields = fields
		wrong = append(wrong, f)
	}
	return wrong
}

// standing takes over the state and the slug. Absent means published; a slug that is absent is made
// from the last, random part of the id.
func (r *staged) standing(s bundle.Standing, slug, prefix string) *refusal {
	switch catalog.State(s.State) {
	case "", catalog.Published:
		r.reason = s.CorrectedFor
	case catalog.Superseded:
		r.state, r.reason = s.State, s.CorrectedFor
	case catalog.Withdrawn:
		r.state, r.reason = s.State, s.WithdrawnReason
		if r.reason == "" {
			r.reason = "No reason was given."
		}
	default:
		return &refusal{code: "not_published"}
	}
	r.slug = slug
	if slug == "" {
		r.slug = prefix + r.id[24:]
	}
	return nil
}

// find notes what is doubtful, and refuses what cannot be.
func (r *staged) find(lint catalog.Lint) *refusal {
	if len(lint.Faults) > 0 {
		no := &refusal{code: "line", fields: slices.Clone(lint.Faults)}
		for i := range no.fields {
			no.fields[i].Pointer = "/body" + no.fields[i].Pointer
		}
		var cannot *errs.Error
		if errors.As(lint.Err(), &cannot) {
			no.detail = cannot.Detail
		}
		return no
	}
	r.doubts = lint.Findings
	return nil
}

// unmarshal reads JSON of our own making.
func unmarshal(stored []byte, into any) error {
	if err := json.Unmarshal(stored, into); err != nil {
		return errs.Wrap(errs.KindInternal, "stored JSON cannot be read", err)
	}
	return nil
}
