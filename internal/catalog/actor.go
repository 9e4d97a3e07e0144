package catalog

import "slices"

// Scope is a right that a key can carry.
type Scope string

// The scopes (contract rule 6). Reading published data needs none.
const (
	ScopeContribute Scope = "contribute"
	ScopeVet        Scope = "vet"
	ScopePublish    Scope = "publish"
	ScopeSteward    Scope = "steward"
)

// Scopes lists every scope.
func Scopes() []Scope { return []Scope{ScopeContribute, ScopeVet, ScopePublish, ScopeSteward} }

// Actor is who asks: a person of an institute, known by a key. The zero Actor has no key. Two keys of
// one person are one actor in all that counts.
type Actor struct {
	Institute string // slug
	Person    string // pseudonym inside the institute
	Scopes    []Scope
}

// Anonymous reports an actor without a usable key.
func (a Actor) Anonymous() bool { return a.Institute == "" || a.Person == "" }

func (a Actor) has(s Scope) bool { return slices.Contains(a.Scopes, s) }

// Object is what an action is about, as far as permission asks. The zero Object is the service itself
// (for actions that make something new or concern no single record).
type Object struct {
	Institute string // slug of the holder
	Author    string // pseudonym of the author of a draft
	State     State
}

// private reports what only its own institute may know of. A state that is not known to be public is private.
func (o Object) private() bool {
	return o != Object{} && o.State != Published && o.State != Superseded && o.State != Withdrawn
}

// Action is what an actor wants to do.
type Action string

// The actions. The list is closed: anything else is denied.
const (
	ActRead      Action = "read"      // look at a record, published or not
	ActList      Action = "list"      // list the drafts of one's own institute
	ActCreate    Action = "create"    // start a draft
	ActEdit      Action = "edit"      // change a draft
	ActSubmit    Action = "submit"    // hand a draft in for vetting
	ActVet       Action = "vet"       // vouch for somebody else's draft
	ActReturn    Action = "return"    // send a draft back to its author
	ActPublish   Action = "publish"   // publish a vetted draft
	ActWithdraw  Action = "withdraw"  // take a published record out of use
	ActErratum   Action = "erratum"   // start a correction of a published record
	ActSight     Action = "sight"     // note that one has met a published record
	ActReport    Action = "report"    // report a problem with a published record
	ActAnswer    Action = "answer"    // answer a problem report
	ActImport    Action = "import"    // take a bundle in over HTTP
	ActAcceptKey Action = "acceptkey" // pin the signing key of a foreign institute
)

// Actions lists every action.
func Actions() []Action {
	return []Action{ActRead, ActList, ActCreate, ActEdit, ActSubmit, ActVet, ActReturn, ActPublish, ActWithdraw, ActErratum,
		ActSight, ActReport, ActAnswer, ActImport, ActAcceptKey}
}
