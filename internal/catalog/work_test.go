package catalog

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
)

func content(n byte) Hash { return Hash{n} }

func TestLifeOfARecord(t *testing.T) {
	t.Parallel()
	w, err := Start("demo-p1", content(1), 0)
	require.NoError(t, err)
	w, err = w.Submit()
	require.NoError(t, err)
	w, err = w.Vet("demo-p2", content(1))
	require.NoError(t, err)
	shelf, err := Shelf{}.Publish(w)
	require.NoError(t, err)
	require.Equal(t, Shelf{Revision: 1, State: Published}, shelf)

	w, err = shelf.Erratum("demo-p2", content(2))
	require.NoError(t, err)
	require.Equal(t, 1, w.Base)
	w, _ = w.Submit()
	w, err = w.Vet("demo-p1", content(2))
	require.NoError(t, err)
	shelf, err = shelf.Publish(w)
	require.NoError(t, err)
	require.Equal(t, 2, shelf.Revision)
	shelf, err = shelf.Withdraw("the turns were wrong")
	require.NoError(t, err)
	require.Equal(t, Shelf{Revision: 3, State: Withdrawn}, shelf)
	_, err = shelf.Erratum("demo-p1", content(3))
	require.Error(t, err)
}

// The table of what each state allows, written by hand from the design: draft -> submitted ->
// vetted -> published -> superseded or withdrawn.
func TestStatesAllowOnly(t *testing.T) {
	t.Parallel()
	allowed := map[State]map[string]State{
		Draft:     {"edit": Draft, "submit": Submitted},
		Submitted: {"edit": Draft, "vet": Vetted, "return": Draft},
		Vetted:    {"edit": Draft, "return": Draft, "publish": Published},
		Published: {}, Superseded: {}, Withdrawn: {},
	}
	for state, may := range allowed {
		w := Work{State: state, Author: "demo-p1", Hash: content(1)}
		if state == Vetted {
			w.Vetter, w.VettedHash = "demo-p2", content(1)
		}
		for act, do := range map[string]func() (State, error){
			"edit":    func() (State, error) { n, err := w.Edit(content(2)); return n.State, err },
			"submit":  func() (State, error) { n, err := w.Submit(); return n.State, err },
			"vet":     func() (State, error) { n, err := w.Vet("demo-p2", content(1)); return n.State, err },
			"return":  func() (State, error) { n, err := w.Return(); return n.State, err },
			"publish": func() (State, error) { n, err := Shelf{}.Publish(w); return n.State, err },
		} {
			got, err := do()
			want, ok := may[act]
			if !ok {
				require.Equal(t, errs.KindConflict, errs.KindOf(err), "%s of %s", act, state)
				continue
			}
			require.NoError(t, err, "%s of %s", act, state)
			require.Equal(t, want, got, "%s of %s", act, state)
		}
	}
}

func TestFourEyes(t *testing.T) {
	t.Parallel()
	_, err := Start("", content(1), 0)
	require.Error(t, err)
	w := Work{State: Submitted, Author: "demo-p1", Hash: content(1)}
	_, err = w.Vet("demo-p1", content(1))
	require.Equal(t, errs.KindForbidden, errs.KindOf(err))
	_, err = w.Vet("", content(1))
	require.Equal(t, errs.KindForbidden, errs.KindOf(err))
	_, err = w.Vet("demo-p2", content(2))
	require.Equal(t, errs.KindPreconditionFailed, errs.KindOf(err), "what was read is not what is there")

	vetted, err := w.Vet("demo-p2", content(1))
	require.NoError(t, err)
	edited, err := vetted.Edit(content(2))
	require.NoError(t, err)
	require.Equal(t, Work{State: Draft, Author: "demo-p1", Hash: content(2)}, edited, "an edit voids the vetting")
	same, err := vetted.Edit(content(1))
	require.NoError(t, err)
	require.Equal(t, vetted, same, "writing the same again does not")

	// A row that was tampered with does not get out.
	for _, bad := range []Work{
		{State: Vetted, Author: "demo-p1", Hash: content(1), Vetter: "demo-p1", VettedHash: content(1)},
		{State: Vetted, Author: "demo-p1", Hash: content(1), Vetter: "", VettedHash: content(1)},
		{State: Vetted, Author: "demo-p1", Hash: content(2), Vetter: "demo-p2", VettedHash: content(1)},
	} {
		require.Error(t, bad.Publishable())
	}
}

func TestShelf(t *testing.T) {
	t.Parallel()
	vetted := Work{State: Vetted, Author: "demo-p1", Hash: content(1), Vetter: "demo-p2", VettedHash: content(1), Base: 1}
	_, err := Shelf{Revision: 2, State: Published}.Publish(vetted)
	require.Equal(t, errs.KindConflict, errs.KindOf(err), "it corrects a revision that is no longer current")
	_, err = Shelf{Revision: 1, State: Withdrawn}.Publish(vetted)
	require.Equal(t, errs.KindConflict, errs.KindOf(err))
	_, err = Shelf{}.Publish(vetted)
	require.Equal(t, errs.KindConflict, errs.KindOf(err))
	_, err = Shelf{}.Withdraw("why")
	require.Equal(t, errs.KindConflict, errs.KindOf(err))
	_, err = Shelf{Revision: 1, State: Published}.Withdraw("")
	require.Equal(t, errs.KindSyntax, errs.KindOf(err))
	_, err = Shelf{Revision: 1, State: Superseded}.Withdraw("why")
	require.Equal(t, errs.KindConflict, errs.KindOf(err))
}

// model tells the life of one record in another way: as the list of what happened.
type model struct {
	log       []string // of the present draft: "edit 3", "submit", "vet demo-p2", "return"
	author    string
	content   byte
	published []byte // contents, revision by revision
	withdrawn bool
	base      int
}

func (m *model) last() string {
	if len(m.log) == 0 {
		return ""
	}
	return m.log[len(m.log)-1]
}

// Random walks against the model (row S25, goal G10): no content is ever published that another
// person than its author did not vet as it stands.
func TestWorkflowAgainstModel(t *testing.T) {
	t.Parallel()
	people := rapid.SampledFrom([]string{"demo-p1", "demo-p2", "demo-p3"})
	walk := func(t *rapid.T) {
		var w Work
		var shelf Shelf
		m := &model{}
		t.Repeat(map[string]func(*rapid.T){
			"start": func(t *rapid.T) {
				who, c := people.Draw(t, "who"), rapid.Byte().Draw(t, "content")
				if len(m.published) > 0 {
					next, err := shelf.Erratum(who, content(c))
					require.Equal(t, m.withdrawn, err != nil)
					if err != nil {
						return
					}
					w = next
				} else {
					w, _ = Start(who, content(c), 0)
				}
				m.log, m.author, m.content, m.base = []string{"edit"}, who, c, len(m.published)
			},
			"edit": func(t *rapid.T) {
				c := rapid.Byte().Draw(t, "content")
				next, err := w.Edit(content(c))
				require.Equal(t, m.log == nil, err != nil)
				if err == nil {
					w = next
					if c != m.content {
						m.log, m.content = append(m.log, "edit"), c
					}
				}
			},
			"submit": func(t *rapid.T) {
				next, err := w.Submit()
				ok := m.last() == "edit" || m.last() == "return"
				require.Equal(t, ok, err == nil)
				if ok {
					w, m.log = next, append(m.log, "submit")
				}
			},
			"return": func(t *rapid.T) {
				next, err := w.Return()
				ok := m.last() == "submit" || m.last() == "vet"
				require.Equal(t, ok, err == nil)
				if ok {
					w, m.log = next, append(m.log, "return")
				}
			},
			"vet": func(t *rapid.T) {
				who, seen := people.Draw(t, "who"), rapid.SampledFrom([]byte{m.content, m.content + 1}).Draw(t, "seen")
				next, err := w.Vet(who, content(seen))
				ok := m.last() == "submit" && who != m.author && seen == m.content
				require.Equal(t, ok, err == nil)
				if ok {
					w, m.log = next, append(m.log, "vet")
				}
			},
			"publish": func(t *rapid.T) {
				next, err := shelf.Publish(w)
				ok := m.last() == "vet" && !m.withdrawn && m.base == len(m.published)
				require.Equal(t, ok, err == nil)
				if ok {
					shelf, w = next, Work{}
					m.published, m.log = append(m.published, m.content), nil
				}
			},
			"withdraw": func(t *rapid.T) {
				next, err := shelf.Withdraw("why")
				ok := len(m.published) > 0 && !m.withdrawn
				require.Equal(t, ok, err == nil)
				if ok {
					shelf = next
					m.withdrawn, m.published = true, append(m.published, 0)
				}
			},
			"": func(t *rapid.T) {
				require.Equal(t, len(m.published), shelf.Revision)
				require.Equal(t, m.withdrawn, shelf.State == Withdrawn)
				if w.State == Vetted {
					require.NotEqual(t, w.Author, w.Vetter)
					require.Equal(t, w.Hash, w.VettedHash)
					require.Equal(t, content(m.content), w.Hash)
				}
			},
		})
	}
	for range 100 { // of a hundred walks each: 10,000 (goal G10)
		rapid.Check(t, walk)
	}
}

func TestStatus(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		state          State
		demo, imported bool
		want           Status
	}{
		{Draft, false, false, StatusNotVerified}, {Submitted, false, false, StatusNotVerified},
		{Vetted, false, false, StatusVetted}, {Published, false, false, StatusVetted}, {Superseded, false, false, StatusVetted},
		{Published, true, false, StatusDemo}, {Published, true, true, StatusDemo}, {Draft, true, false, StatusDemo},
		{Published, false, true, StatusForeign}, {Superseded, false, true, StatusForeign},
		{Withdrawn, false, false, StatusWithdrawn}, {Withdrawn, true, true, StatusWithdrawn},
	} {
		require.Equal(t, tc.want, StatusOf(tc.state, tc.demo, tc.imported), "%+v", tc)
	}
	require.Len(t, Statuses(), 6)
}
