package catalog

import (
	"crypto/sha256"

	"statorbook/internal/errs"
)

// Hash is a content hash: the SHA-256 of the canonical form of a record's content.
type Hash [sha256.Size]byte

// DraftsPerDay is how many drafts an institute may start within 24 hours: more than a school's bench gives,
// and few enough that a runaway script does not fill the database. A correction of a published record
// does not count.
const DraftsPerDay = 2000

// Work is a draft on its way to publication, as far as the rules of its life ask: draft, submitted,
// vetted. Its methods are pure: each gives the Work after the act, or says why the state does not
// allow it (KindConflict). Who may act is for Permit to say; that author and vetter are two persons
// is checked here again, since nothing may ever break it.
type Work struct {
	State      State
	Author     string // pseudonym
	Hash       Hash   // of the content as it stands
	Vetter     string // "" unless vetted
	VettedHash Hash   // of the content that was vetted
	Base       int    // the published revision that this corrects, 0 for a new record
}

// Start gives a new draft. base is the published revision that it corrects, 0 for none.
func Start(author string, content Hash, base int) (Work, error) {
	if author == "" {
		return Work{}, conflict("A draft needs an author.")
	}
	return Work{State: Draft, Author: author, Hash: content, Base: base}, nil
}

// Edit replaces the content. It voids a vetting and takes a submitted draft back. Writing the same
// content again changes nothing.
func (w Work) Edit(content Hash) (Work, error) {
	if !w.open() {
		return w, conflict("Only a draft can be edited; start an erratum of the published record.")
	}
	if !ContentChanged(w.Hash, content) {
		return w, nil
	}
	w.State, w.Hash, w.Vetter, w.VettedHash = Draft, content, "", Hash{}
	return w, nil
}

// Submit hands the draft in for vetting.
func (w Work) Submit() (Work, error) {
	if w.State != Draft {
		return w, conflict("Only a draft can be submitted; its state is " + string(w.State) + ".")
	}
	w.State = Submitted
	return w, nil
}

// Return sends it back to its author; a vetting is void.
func (w Work) Return() (Work, error) {
	if w.State != Submitted && w.State != Vetted {
		return w, conflict("Only what was submitted or vetted can be returned; its state is " + string(w.State) + ".")
	}
	w.State, w.Vetter, w.VettedHash = Draft, "", Hash{}
	return w, nil
}

// Vet notes that vetter vouches for exactly the content that has hash seen.
func (w Work) Vet(vetter string, seen Hash) (Work, error) {
	switch {
	case w.State != Submitted:
		return w, conflict("Only what was submitted can be vetted; its state is " + string(w.State) + ".")
	case vetter == "" || vetter == w.Author:
		return w, errs.New(errs.KindForbidden, "Another person than the author must vet.")
	case seen != w.Hash:
		return w, errs.New(errs.KindPreconditionFailed, "The draft was changed after it was read; look at it again.")
	}
	w.State, w.Vetter, w.VettedHash = Vetted, vetter, seen
	return w, nil
}

// Publishable is nil when the draft may be published as it stands: vetted, by somebody else, with
// the content that was vetted.
func (w Work) Publishable() error {
	switch {
	case w.State != Vetted:
		return conflict("Only what was vetted can be published; its state is " + string(w.State) + ".")
	case w.Vetter == "" || w.Vetter == w.Author || w.VettedHash != w.Hash:
		return conflict("The vetting does not belong to this content; have it vetted again.")
	}
	return nil
}

func (w Work) open() bool { return w.State == Draft || w.State == Submitted || w.State == Vetted }

// Shelf is a record that was published at least once: its current revision and state.
type Shelf struct {
	Revision int // of the current revision, from 1; 0 = never published
	State    State
}

// Publish puts a draft on the shelf as the next revision; the one before is superseded. A draft that
// corrects a revision which is no longer current must be started anew, so that no correction is lost.
// A withdrawn record stays withdrawn: its id is never used again for other content.
func (s Shelf) Publish(w Work) (Shelf, error) {
	if err := w.Publishable(); err != nil {
		return s, err
	}
	switch {
	case s.State == Withdrawn:
		return s, conflict("The record is withdrawn; make a new one.")
	case w.Base != s.Revision:
		return s, conflict("Another revision was published since this draft was started; start again from that one.")
	}
	return Shelf{Revision: s.Revision + 1, State: Published}, nil
}

// Withdraw takes the record out of use. It stays readable, with the reason.
func (s Shelf) Withdraw(reason string) (Shelf, error) {
	switch {
	case s.State != Published:
		return s, conflict("Only a published record can be withdrawn.")
	case reason == "":
		return s, errs.New(errs.KindSyntax, "A withdrawal needs a reason.", errs.Field{Pointer: "/reason", Code: "REQUIRED", Detail: "say why the record is withdrawn"})
	}
	return Shelf{Revision: s.Revision + 1, State: Withdrawn}, nil
}

// Erratum gives the draft that corrects the current revision.
func (s Shelf) Erratum(author string, content Hash) (Work, error) {
	if s.State != Published {
		return Work{}, conflict("Only a published record can be corrected.")
	}
	return Start(author, content, s.Revision)
}

// ContentChanged reports whether an edit voids a vetting.
func ContentChanged(before, after Hash) bool { return before != after }

func conflict(detail string) error { return errs.New(errs.KindConflict, detail) }
