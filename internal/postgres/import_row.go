package postgres

import (
	"encoding/hex"
	"encoding/json"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

// stage turns a line into a row. A code says why it cannot be one; an error ends the import. What
// the server sets is taken out of the body: heads and revisions know it better.
func stage(l *bundle.Line) (row *staged, code string, err error) {
	hash, err := hex.DecodeString(l.SHA256)
	if err != nil {
		return nil, "", errs.Wrap(errs.KindInternal, "a content hash cannot be read", err)
	}
	row = &staged{line: l.Number, kind: string(l.Kind), id: l.ID, revision: l.Revision, hash: hash,
		state: string(catalog.Published), findings: []byte("[]")}
	var body any
	switch l.Kind {
	case bundle.KindWire:
		w := *l.Wire
		w.ETag, w.Resistance.At = "", nil
		body = w
	case bundle.KindClass:
		c := *l.Class
		c.ETag = ""
		body = c
	case bundle.KindMaterial:
		m := *l.Material
		m.ETag = ""
		body = m
	case bundle.KindFamily:
		body, code, err = row.family(l.Family)
	case bundle.KindCore:
		row.familyID, body = &l.Core.FamilyID, l.Core
	case bundle.KindWinding:
		body, code, err = row.winding(l.Winding)
	case bundle.KindReview:
		return nil, "proof_not_checked", nil
	default:
		return nil, "line", nil
	}
	if err != nil || code != "" {
		return nil, code, err
	}
	row.body, err = json.Marshal(body)
	return row, "", err
}

// family fills the row with what only families have and gives the body to store.
func (r *staged) family(f *bundle.Family) (any, string, error) {
	seen := map[string]bool{}
	for _, c := range f.Cores {
		if c.ID == "" || seen[c.ID] {
			return nil, "core_without_id", nil
		}
		seen[c.ID] = true
	}
	if code := r.standing(f.Standing, f.Slug, "family-"); code != "" {
		return nil, code, nil
	}
	r.demo = f.Demo
	if err := r.find(nil); err != nil {
		return nil, "", err
	}
	body := *f
	body.Slug, body.Standing = "", bundle.Standing{Institute: f.Institute}
	return body, "", nil
}

// winding fills the row with what only windings have and gives the body to store.
func (r *staged) winding(w *bundle.Winding) (any, string, error) {
	if code := r.standing(w.Standing, w.Slug, "winding-"); code != "" {
		return nil, code, nil
	}
	r.demo, r.familyID, r.coreID, r.timesSeen = w.Demo, nullText(w.FamilyID), nullText(w.CoreID), max(w.TimesSeen, 1)
	if poles := int(w.Scheme.Poles); poles != 0 {
		r.poles = &poles
	}
	if err := r.find(nil); err != nil {
		return nil, "", err
	}
	body := *w
	body.Slug, body.TimesSeen, body.Standing = "", 0, bundle.Standing{Institute: w.Institute}
	return body, "", nil
}

// standing takes over the state and the slug. Absent means published; a slug that is absent is made
// from the last, random part of the id.
func (r *staged) standing(s bundle.Standing, slug, prefix string) (code string) {
	switch catalog.State(s.State) {
	case "", catalog.Published:
	case catalog.Superseded:
		r.state = s.State
	case catalog.Withdrawn:
		r.state, r.reason = s.State, s.WithdrawnReason
		if r.reason == "" {
			r.reason = "No reason was given."
		}
	default:
		return "not_published"
	}
	r.slug = slug
	if slug == "" {
		r.slug = prefix + r.id[24:]
	}
	return ""
}

// find notes what is doubtful. A record that is not demo comes without a proof, and says so.
func (r *staged) find(findings []errs.Finding) error {
	if !r.demo {
		findings = append(findings, errs.Finding{Code: "unproved", Severity: errs.SeverityNote, Fields: []string{"status"},
			Message: "No vetting proof came with this record: nobody here vouches for it."})
	}
	var err error
	r.findings, err = json.Marshal(bundle.FindingsOf(findings))
	return err
}

// unmarshal reads JSON of our own making.
func unmarshal(stored []byte, into any) error {
	if err := json.Unmarshal(stored, into); err != nil {
		return errs.Wrap(errs.KindInternal, "stored JSON cannot be read", err)
	}
	return nil
}
