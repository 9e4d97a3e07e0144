package postgres_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

func TestInstitutes(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	got, err := s.Signatory(t.Context(), testSchool)
	require.NoError(t, err)
	require.True(t, got.Own)
	require.True(t, got.Demo)
	require.Equal(t, "Demo key school", got.Title)
	inUse, ok := got.KeyInUse()
	require.True(t, ok)
	require.Equal(t, verifierOf(t, testSchool, 1), inUse.Verifier)
	_, err = s.Signatory(t.Context(), "demo-no-school")
	require.Equal(t, errs.KindNotFound, errs.KindOf(err))

	_, err = s.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: testSchool, Title: "again"}, verifierOf(t, testSchool, 2))
	require.Equal(t, errs.KindConflict, errs.KindOf(err))
	for _, slug := range []string{"", "ab", "Demo", "demo school", "demo--school", "00000000-0000-4000-8000-000000000000x", strings.Repeat("a", 101)} {
		_, err = s.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: slug, Title: "t"}, verifierOf(t, testSchool, 2))
		require.Error(t, err, slug)
	}
	_, err = s.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: "demo-other", Title: ""}, verifierOf(t, "demo-other", 2))
	require.Equal(t, errs.KindImpossible, errs.KindOf(err), "a title is needed")
	_, err = s.Signatory(t.Context(), "demo-other")
	require.Equal(t, errs.KindNotFound, errs.KindOf(err), "nothing of a failed act stays")

	people, err := s.People(t.Context(), testSchool)
	require.NoError(t, err)
	require.Equal(t, []string{"demo-p1", "demo-p2"}, people)
	require.Equal(t, errs.KindConflict, errs.KindOf(s.AddPerson(t.Context(), catalog.Act{}, testSchool, "demo-p1")))
	require.Equal(t, errs.KindNotFound, errs.KindOf(s.AddPerson(t.Context(), catalog.Act{}, "demo-no-school", "demo-p1")))
	require.Equal(t, errs.KindImpossible, errs.KindOf(s.AddPerson(t.Context(), catalog.Act{}, testSchool, "A Name")))
}

func TestInstitutePages(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	for _, slug := range []string{"demo-a", "demo-z"} {
		_, err := s.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: slug, Title: slug}, verifierOf(t, slug, 1))
		require.NoError(t, err)
	}
	var slugs []string
	after := ""
	for range 3 {
		page, err := s.Signatories(t.Context(), catalog.PageRequest{After: after, Size: 1})
		require.NoError(t, err)
		require.Len(t, page.Items, 1)
		slugs = append(slugs, page.Items[0].Slug)
		after = page.Next
	}
	require.Equal(t, []string{"demo-a", testSchool, "demo-z"}, slugs)
	require.Empty(t, after)
}

// TestSigningKeys: one key in use; a retired one still proves; none comes back.
func TestSigningKeys(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	first, second := verifierOf(t, testSchool, 1), verifierOf(t, testSchool, 2)
	require.NoError(t, s.RotateSigningKey(t.Context(), catalog.Act{}, testSchool, second))
	got, err := s.Signatory(t.Context(), testSchool)
	require.NoError(t, err)
	require.Len(t, got.Keys, 2)
	require.Equal(t, second, got.Keys[0].Verifier)
	require.Zero(t, got.Keys[0].RetiredAt)
	require.Equal(t, first, got.Keys[1].Verifier)
	require.NotZero(t, got.Keys[1].RetiredAt)
	all, err := s.Verifiers(t.Context())
	require.NoError(t, err)
	require.Equal(t, []string{first, second}, all)

	for name, verifier := range map[string]string{"retired": first, "in use": second} {
		require.Equal(t, errs.KindConflict, errs.KindOf(s.RotateSigningKey(t.Context(), catalog.Act{}, testSchool, verifier)), name)
	}
	got, err = s.Signatory(t.Context(), testSchool)
	require.NoError(t, err)
	require.Zero(t, got.Keys[0].RetiredAt, "a rotation that fails retires nothing")

	_, err = s.RetireSigningKey(t.Context(), catalog.Act{}, testSchool)
	require.NoError(t, err)
	_, err = s.RetireSigningKey(t.Context(), catalog.Act{}, testSchool)
	require.Equal(t, errs.KindConflict, errs.KindOf(err))
	require.NoError(t, s.RotateSigningKey(t.Context(), catalog.Act{}, testSchool, verifierOf(t, testSchool, 3)), "without one in use, too")
}

func TestPinning(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	far := catalog.Institute{Slug: "demo-far-school", Title: "Demo far school"}
	pin := func(act catalog.Act, i catalog.Institute, verifier string) error {
		_, err := s.PinSigningKey(t.Context(), act, i, verifier, emptyReply)
		return err
	}
	steward := catalog.Act{Actor: catalog.Actor{Institute: testSchool, Person: "demo-p1", Scopes: []catalog.Scope{catalog.ScopeSteward}}, KeyID: "k00000000001"}
	others := steward
	others.Actor.Scopes = []catalog.Scope{catalog.ScopeContribute, catalog.ScopeVet, catalog.ScopePublish}
	first := verifierOf(t, far.Slug, 1)
	require.Equal(t, errs.KindForbidden, errs.KindOf(pin(others, far, first)))
	require.Equal(t, errs.KindUnauthenticated, errs.KindOf(pin(catalog.Act{KeyID: "k00000000001"}, far, first)))
	require.Equal(t, errs.KindUnauthenticated, errs.KindOf(pin(catalog.Act{}, far, first)), "nobody is not the operator")
	require.NoError(t, pin(steward, far, first))
	got, err := s.Signatory(t.Context(), far.Slug)
	require.NoError(t, err)
	require.False(t, got.Own)
	require.Equal(t, first, got.Keys[0].Verifier)

	require.Equal(t, errs.KindConflict, errs.KindOf(pin(steward, far, first)), "pinned already")
	err = pin(steward, far, verifierOf(t, far.Slug, 2))
	require.Equal(t, errs.KindConflict, errs.KindOf(err))
	require.ErrorContains(t, err, "must be retired first")
	_, err = s.RetireSigningKey(t.Context(), steward, far.Slug)
	require.NoError(t, err)
	require.NoError(t, pin(steward, far, verifierOf(t, far.Slug, 2)))

	require.Equal(t, errs.KindConflict, errs.KindOf(pin(steward, catalog.Institute{Slug: testSchool, Title: "t"}, verifierOf(t, testSchool, 9))), "our own")
	require.Equal(t, errs.KindConflict, errs.KindOf(s.RotateSigningKey(t.Context(), steward, far.Slug, verifierOf(t, far.Slug, 3))), "not ours to make")
	err = pin(steward, catalog.Institute{Slug: "demo-third", Title: "t"}, verifierOf(t, "demo-fourth", 1))
	require.ErrorContains(t, err, "of the institute demo-fourth, not of demo-third")
	signer, _, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat("x", 32)), "demo-third")
	require.NoError(t, err)
	err = pin(steward, catalog.Institute{Slug: "demo-third", Title: "t"}, signer)
	require.Error(t, err, "the secret half is not for us")
	require.NotContains(t, err.Error(), signer[len(signer)-20:])
	_, err = s.Signatory(t.Context(), "demo-third")
	require.Equal(t, errs.KindNotFound, errs.KindOf(err))
}
