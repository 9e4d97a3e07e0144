package catalog

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
)

// who asks, in the matrix.
var actors = map[string]Actor{
	"anonymous":    {},
	"no scope":     {Institute: "demo-winding-school", Person: "demo-p9"},
	"author":       {Institute: "demo-winding-school", Person: "demo-p1", Scopes: []Scope{ScopeContribute}},
	"author, all":  {Institute: "demo-winding-school", Person: "demo-p1", Scopes: Scopes()},
	"other author": {Institute: "demo-winding-school", Person: "demo-p3", Scopes: []Scope{ScopeContribute}},
	"vetter":       {Institute: "demo-winding-school", Person: "demo-p2", Scopes: []Scope{ScopeVet}},
	"publisher":    {Institute: "demo-winding-school", Person: "demo-p4", Scopes: []Scope{ScopePublish}},
	"steward":      {Institute: "demo-winding-school", Person: "demo-p5", Scopes: []Scope{ScopeSteward}},
	"foreign":      {Institute: "demo-other-school", Person: "demo-p1", Scopes: Scopes()},
	"wrong scope":  {Institute: "demo-winding-school", Person: "demo-p6", Scopes: []Scope{"root"}},
}

// The matrix of who may do what to a record of demo-winding-school written by demo-p1, and what the
// others hear. Written by hand from the design (rows S1, S2); y = yes, k = 401, n = 404, f = 403.
var matrix = []struct {
	action  Action
	private bool // a draft; else a published record
	want    map[string]byte
}{
	{ActRead, true, all('y', map[string]byte{"anonymous": 'n', "foreign": 'n'})},
	{ActRead, false, all('y', nil)},
	{ActEdit, true, all('f', map[string]byte{"anonymous": 'k', "foreign": 'n', "author": 'y', "author, all": 'y'})},
	{ActSubmit, true, all('f', map[string]byte{"anonymous": 'k', "foreign": 'n', "author": 'y', "author, all": 'y'})},
	{ActVet, true, all('f', map[string]byte{"anonymous": 'k', "foreign": 'n', "vetter": 'y'})},
	{ActReturn, true, all('f', map[string]byte{"anonymous": 'k', "foreign": 'n', "vetter": 'y', "author, all": 'y'})},
	{ActPublish, true, all('f', map[string]byte{"anonymous": 'k', "foreign": 'n', "publisher": 'y', "author, all": 'y'})},
	{ActWithdraw, false, all('f', map[string]byte{"anonymous": 'k', "publisher": 'y', "author, all": 'y'})},
	{ActErratum, false, all('f', map[string]byte{"anonymous": 'k', "author": 'y', "author, all": 'y', "other author": 'y'})},
	{ActSight, false, all('y', map[string]byte{"anonymous": 'k'})},
	{ActReport, false, all('y', map[string]byte{"anonymous": 'k'})},
	{ActAnswer, false, all('f', map[string]byte{"anonymous": 'k', "publisher": 'y', "author, all": 'y'})},
	{ActSight, true, all('y', map[string]byte{"anonymous": 'k', "foreign": 'n'})},
	{ActReport, true, all('y', map[string]byte{"anonymous": 'k', "foreign": 'n'})},
}

// service is the matrix of the actions that concern no single record.
var service = map[Action]map[string]byte{
	ActList:      all('y', map[string]byte{"anonymous": 'k'}),
	ActCreate:    all('f', map[string]byte{"anonymous": 'k', "author": 'y', "author, all": 'y', "other author": 'y', "foreign": 'y'}),
	ActImport:    all('f', map[string]byte{"anonymous": 'k', "steward": 'y', "author, all": 'y', "foreign": 'y'}),
	ActAcceptKey: all('f', map[string]byte{"anonymous": 'k', "steward": 'y', "author, all": 'y', "foreign": 'y'}),
}

func all(rest byte, but map[string]byte) map[string]byte {
	row := map[string]byte{}
	for name := range actors {
		row[name] = rest
	}
	for name, c := range but {
		row[name] = c
	}
	return row
}

var kinds = map[byte]errs.Kind{'k': errs.KindUnauthenticated, 'n': errs.KindNotFound, 'f': errs.KindForbidden}

func TestPermissionMatrix(t *testing.T) {
	t.Parallel()
	covered := map[Action]bool{}
	check := func(action Action, o Object, want map[string]byte) {
		covered[action] = true
		for name, actor := range actors {
			err := Permit(actor, action, o)
			if want[name] == 'y' {
				require.NoError(t, err, "%s: %s %+v", name, action, o)
				continue
			}
			require.Error(t, err, "%s: %s %+v", name, action, o)
			require.Equal(t, kinds[want[name]], errs.KindOf(err), "%s: %s %+v", name, action, o)
		}
	}
	for _, row := range matrix {
		states := []State{Published, Superseded, Withdrawn}
		if row.private {
			states = []State{Draft, Submitted, Vetted, "", "unheard of"}
		}
		for _, state := range states {
			check(row.action, Object{Institute: "demo-winding-school", Author: "demo-p1", State: state}, row.want)
		}
	}
	for action, want := range service {
		check(action, Object{}, want)
	}
	for _, action := range Actions() {
		require.True(t, covered[action], "%s has no row", action)
		require.Contains(t, rules, action)
	}
	require.Len(t, rules, len(Actions()))
}

// Deny by default: an action that nobody wrote a rule for is nobody's.
func TestUnknownActionIsDenied(t *testing.T) {
	t.Parallel()
	for name, actor := range actors {
		for _, o := range []Object{{}, {Institute: "demo-winding-school", Author: "demo-p1", State: Published}} {
			require.Equal(t, errs.KindForbidden, errs.KindOf(Permit(actor, "erase", o)), name)
			require.Error(t, Permit(actor, "", o), name)
		}
	}
}

// A foreign draft answers exactly like an id that there is none of (row S1).
func TestForeignDraftIsUnknown(t *testing.T) {
	t.Parallel()
	for _, action := range []Action{ActRead, ActEdit, ActVet, ActPublish, ActReport} {
		err := Permit(actors["foreign"], action, Object{Institute: "demo-winding-school", Author: "demo-p1", State: Draft})
		require.Equal(t, unknownRecord().Error(), err.Error())
		var e *errs.Error
		require.True(t, errors.As(err, &e))
		require.Empty(t, e.Fields)
	}
}

// The same pseudonym in another institute is another person: it neither edits nor counts as author.
func TestAuthorBelongsToAnInstitute(t *testing.T) {
	t.Parallel()
	draft := Object{Institute: "demo-winding-school", Author: "demo-p1", State: Submitted}
	require.Error(t, Permit(actors["foreign"], ActEdit, draft))
	require.Error(t, Permit(Actor{Institute: "demo-winding-school", Person: "demo-p2", Scopes: Scopes()}, ActVet,
		Object{Institute: "demo-winding-school", State: Submitted}), "without an author nobody can be another person")
}
