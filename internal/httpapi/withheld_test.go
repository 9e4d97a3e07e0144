package httpapi_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"sync/atomic"
	"testing"

	"statorbook/internal/bundle"
	"statorbook/internal/httpapi"

	"github.com/stretchr/testify/require"
)

// TestWithheldRecordIsNeverShown: an index that is behind must not answer with a withdrawn record, or
// one of a withdrawn family; other answers go on as if nothing had happened.
func TestWithheldRecordIsNeverShown(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	question := func(i int) string {
		r := s.demo.Windings[i]
		core := bundle.CoreOf(*r.CoreAsMeasured)
		text, err := json.Marshal(map[string]any{"measurements": core, "nameplate": bundle.NameplateOf(r.Nameplate)})
		require.NoError(t, err)
		return string(text)
	}
	snap := snapshotOf(t, s.store)
	first := s.Ask(t, "POST", "/v1/matches", question(0))
	id, family := first.At(t, "candidates", 0, "winding_id").(string), first.At(t, "candidates", 0, "family_id").(string)
	for name, gone := range map[string]string{"its id": id, "its family": family} {
		withheld := &httpapi.Withheld{Revision: snap.Revision + 1, IDs: map[string]bool{gone: true}}
		var asked atomic.Int64
		host := httpapi.NewHost(t, httpapi.Config{
			Snapshot: func() *httpapi.Snapshot { return snap }, Families: s.store, Windings: s.store, Changes: s.store,
			Withheld: func() *httpapi.Withheld { return withheld }, Refresh: func(context.Context) { asked.Add(1) },
		})
		a := host.Ask(t, "POST", "/v1/matches", question(0))
		require.Equal(t, http.StatusServiceUnavailable, a.StatusCode, "%s: %s", name, a.Text())
		require.NotEmpty(t, a.Header.Get("Retry-After"))
		require.EqualValues(t, 1, asked.Load(), "it asked once for a newer index")

		shown := 0
		for i := range s.demo.Windings {
			a := host.Ask(t, "POST", "/v1/matches", question(i))
			require.NotContains(t, a.Text(), id, "question %d", i)
			if a.StatusCode == http.StatusOK {
				shown++
			}
		}
		require.Greater(t, shown, len(s.demo.Windings)/2, "other questions are answered")

		caught := snapshotOf(t, s.store)
		caught.Revision = withheld.Revision
		snap = caught // as if the index had followed: it is then taken at its word
		require.Equal(t, http.StatusOK, host.Ask(t, "POST", "/v1/matches", question(0)).StatusCode)
		snap = snapshotOf(t, s.store)
	}
}

// TestWithheldQuestionIsAskedAnew: when the index follows in time, the caller gets its answer.
func TestWithheldQuestionIsAskedAnew(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	old, fresh := snapshotOf(t, s.store), snapshotOf(t, s.store)
	fresh.Revision++
	var current atomic.Pointer[httpapi.Snapshot]
	current.Store(old)
	withheld := &httpapi.Withheld{Revision: fresh.Revision, IDs: map[string]bool{}}
	for _, f := range s.demo.Families {
		withheld.IDs[f.ID] = true
	}
	host := httpapi.NewHost(t, httpapi.Config{
		Snapshot: current.Load, Families: s.store, Windings: s.store, Changes: s.store,
		Withheld: func() *httpapi.Withheld { return withheld }, Refresh: func(context.Context) { current.Store(fresh) },
	})
	a := host.Ask(t, "POST", "/v1/matches", `{"measurements": {"slots": 24, "rotor_position": "inside"}}`)
	require.Equal(t, http.StatusOK, a.StatusCode, a.Text())
	require.Equal(t, fmt.Sprint(float64(fresh.Revision)), fmt.Sprint(a.Number(t, "catalogue_revision")), "the answer names the newer index")
}
