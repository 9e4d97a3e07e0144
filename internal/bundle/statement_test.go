package bundle

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"

	"statorbook/internal/errs"
)

func someStatement() Statement {
	return Statement{
		Act: "publication", Kind: KindWinding, Record: drawnUUID, Revision: 3, SHA256: strings.Repeat("ab", 32),
		Institute: "demo-winding-school", Author: "demo-p1", Vetter: "demo-p2",
	}
}

// The text is fixed for good: signatures and logs rest on it.
func TestStatementText(t *testing.T) {
	t.Parallel()
	s := someStatement()
	require.Equal(t, "statorbook statement v1\nact publication\nkind winding\nrecord "+drawnUUID+"\nrevision 3\nsha256 "+strings.Repeat("ab", 32)+
		"\ninstitute demo-winding-school\nauthor demo-p1\nvetter demo-p2\n", s.Text())
	back, err := ParseStatement(s.Text())
	require.NoError(t, err)
	require.Equal(t, s, back)
	s.Act, s.Reason = "withdrawal", "wrong_turns"
	back, err = ParseStatement(s.Text())
	require.NoError(t, err)
	require.Equal(t, s, back)
	require.Equal(t, s, ReviewOf(s, "note").Statement())
}

// A statement can be the text of a signed note (C2SP signed-note, as golang.org/x/mod has it).
func TestStatementIsTheTextOfANote(t *testing.T) {
	t.Parallel()
	skey, vkey, err := note.GenerateKey(strings.NewReader(strings.Repeat("demo", 8)), "demo-winding-school")
	require.NoError(t, err)
	signer, err := note.NewSigner(skey)
	require.NoError(t, err)
	signed, err := note.Sign(&note.Note{Text: someStatement().Text()}, signer)
	require.NoError(t, err)
	verifier, err := note.NewVerifier(vkey)
	require.NoError(t, err)
	opened, err := note.Open(signed, note.VerifierList(verifier))
	require.NoError(t, err)
	s, err := ParseStatement(opened.Text)
	require.NoError(t, err)
	require.Equal(t, someStatement(), s)
}

func TestStatementRefuses(t *testing.T) {
	t.Parallel()
	for name, spoil := range map[string]func(*Statement){
		"act":              func(s *Statement) { s.Act = "praise" },
		"kind":             func(s *Statement) { s.Kind = KindWire },
		"record":           func(s *Statement) { s.Record = "demo-fan" },
		"revision":         func(s *Statement) { s.Revision = 0 },
		"hash":             func(s *Statement) { s.SHA256 = strings.ToUpper(s.SHA256) },
		"short hash":       func(s *Statement) { s.SHA256 = "ab" },
		"institute":        func(s *Statement) { s.Institute = "Demo School" },
		"no author":        func(s *Statement) { s.Author = "" },
		"own work":         func(s *Statement) { s.Vetter = s.Author },
		"free text":        func(s *Statement) { s.Reason = "the turns were wrong" },
		"no reason":        func(s *Statement) { s.Act = "erratum" },
		"reason of a name": func(s *Statement) { s.Reason = "Demo" },
	} {
		s := someStatement()
		spoil(&s)
		require.Error(t, s.Validate(), name)
		_, err := ParseStatement(s.Text())
		require.Equal(t, errs.KindSyntax, errs.KindOf(err), name)
	}
	smuggled := someStatement()
	smuggled.Vetter = "demo-p2\nreason x"
	require.Error(t, smuggled.Validate(), "what is signed was validated")
	text := someStatement().Text()
	for name, other := range map[string]string{
		"empty":         "",
		"other head":    strings.Replace(text, "v1", "v2", 1),
		"no line feed":  strings.TrimSuffix(text, "\n"),
		"extra line":    text + "colour blue\n",
		"empty line":    text + "\n",
		"leading zero":  strings.Replace(text, "revision 3", "revision 03", 1),
		"no revision":   strings.Replace(text, "revision 3\n", "", 1),
		"other order":   strings.Replace(text, "act publication\nkind winding\n", "kind winding\nact publication\n", 1),
		"twice":         text + "vetter demo-p2\n",
		"trailing rest": text + "x",
	} {
		_, err := ParseStatement(other)
		require.Error(t, err, name)
	}
}
