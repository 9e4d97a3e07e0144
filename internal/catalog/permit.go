package catalog

import "statorbook/internal/errs"

// rule says what an action asks of its actor.
type rule struct {
	open   bool  // no key is needed
	scope  Scope // the scope that is needed, "" = any key
	own    bool  // only on records of one's own institute
	author bool  // only the author
	other  bool  // anybody but the author
}

// rules holds every action that anybody may do; what is not in it is denied.
var rules = map[Action]rule{
	ActRead:      {open: true},
	ActList:      {own: true},
	ActCreate:    {scope: ScopeContribute},
	ActEdit:      {scope: ScopeContribute, own: true, author: true},
	ActSubmit:    {scope: ScopeContribute, own: true, author: true},
	ActVet:       {scope: ScopeVet, own: true, other: true},
	ActReturn:    {scope: ScopeVet, own: true},
	ActPublish:   {scope: ScopePublish, own: true},
	ActWithdraw:  {scope: ScopePublish, own: true},
	ActErratum:   {scope: ScopeContribute, own: true},
	ActSight:     {},
	ActReport:    {},
	ActAnswer:    {scope: ScopePublish, own: true},
	ActImport:    {scope: ScopeSteward},
	ActAcceptKey: {scope: ScopeSteward},
}

// unknownRecord is the answer about a record that there is none of, and about one that the actor may
// not know of. It is one value, so that the two cannot differ by a letter.
func unknownRecord() error { return errs.New(errs.KindNotFound, "There is no such record.") }

// Permit decides whether actor may do action to object; nil is yes. It is the only place that does.
// Whether the state of the record allows the action is for Work and Shelf to say, after it.
//
// No key: KindUnauthenticated, but a private record that is only read does not exist (KindNotFound). A
// private record of another institute does not exist either, whatever the scopes. A visible record without
// the right is KindForbidden.
func Permit(actor Actor, action Action, object Object) error {
	r, known := rules[action]
	if !known {
		return errs.New(errs.KindForbidden, "This cannot be done here.")
	}
	if actor.Anonymous() && !r.open {
		return errs.New(errs.KindUnauthenticated, "This needs a key.")
	}
	if object.private() && (actor.Anonymous() || object.Institute != actor.Institute) {
		return unknownRecord()
	}
	if r.scope != "" && !actor.has(r.scope) {
		return errs.New(errs.KindForbidden, "The key lacks the scope "+string(r.scope)+".")
	}
	if r.own && object != (Object{}) && object.Institute != actor.Institute {
		return errs.New(errs.KindForbidden, "The record belongs to another institute.")
	}
	if r.author && object.Author != actor.Person {
		return errs.New(errs.KindForbidden, "Only the author may do this.")
	}
	if r.other && (object.Author == "" || object.Author == actor.Person) {
		return errs.New(errs.KindForbidden, "Another person than the author must do this.")
	}
	return nil
}
