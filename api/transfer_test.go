package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
)

// A bundle of another institute is taken with its proof once its key is pinned, and goes on with it; the
// institute here signs what it hands out itself.
func TestBundleWithProofGoesOn(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	text, verifier := signedBundle(t, "a")
	name := filepath.Join(t.TempDir(), "in.jsonl")
	require.NoError(t, os.WriteFile(name, text, 0o600))

	out := done(t, env, "import", name)
	require.Contains(t, out, "signer_unknown", "no key is pinned yet")
	require.Contains(t, out, "Accept the key of demo-winding-school, then import again", "and what helps")
	require.NotContains(t, out, "the whole file is signed by")
	done(t, env, "key", "pin", "-institute", "demo-winding-school", "-title", "Demo winding school", verifier)
	out = done(t, env, "import", name, "-apply", "-strict") // flags may follow the name
	require.Contains(t, out, "new 2 (stored)")
	require.Contains(t, out, "the whole file is signed by demo-winding-school")
	require.NotContains(t, out, "unproved")

	on := filepath.Join(t.TempDir(), "on.jsonl")
	done(t, env, "export", "-title", "Handed on", "-institute", "demo-winding-school", on)
	handed, err := os.Open(on)
	require.NoError(t, err)
	defer handed.Close()
	keys, err := bundle.NewKeys(verifier)
	require.NoError(t, err)
	report := bundle.Verify(bundle.NewReader(handed, bundle.Options{}), keys)
	require.Equal(t, []int{1, 0, 0}, []int{report.Proved, report.Unproved, report.Failed})

	require.Contains(t, refused(t, env, 1, "export", "-institute", "demo-winding-school", "-sign", on), "it signs what it hands out on its own server",
		"nobody signs with a key that is not here")
	made := done(t, env, "institute", "add", "-slug", "demo-bench-school", "-title", "Demo bench school")
	own := strings.TrimSpace(strings.SplitN(strings.SplitN(made, "public signing key: ", 2)[1], "\n", 2)[0])
	done(t, env, "export", "-institute", "demo-bench-school", "-sign", on)
	require.Contains(t, done(t, env, "verify", "-key", own, on), "VERIFIED against the keys that you gave")
	require.Contains(t, refused(t, env, 1, "export", "-since", "99"), "beyond the catalogue revision")
	later := done(t, env, "export", "-since", "1")
	require.Equal(t, 2, strings.Count(later, "\n"), "nothing changed after the only import: %s", later)

	require.Contains(t, refused(t, env, 1, "export", "-institute", "no-school"), "There is no institute no-school")

	// An export that fails leaves what stands in its place.
	kept, err := os.ReadFile(on)
	require.NoError(t, err)
	require.Contains(t, refused(t, env, 1, "export", "-institute", "no-school", on), "There is no institute no-school")
	still, err := os.ReadFile(on)
	require.NoError(t, err)
	require.Equal(t, kept, still)
	left, err := os.ReadDir(filepath.Dir(on))
	require.NoError(t, err)
	require.Len(t, left, 1, "and nothing beside it")
}

// Whoever gives a file by a pipe or by hand, and thinks better of it, is not kept waiting for its end.
func TestInterruptEndsReading(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	text, _ := signedBundle(t, "a")
	half := string(text[:len(text)/2])
	for args, begun := range map[string]string{"import -apply -": half, "import -csv -": "motor_type,nameplate.pow", "verify -": half} { // each good as far as it goes
		ctx, interrupt := context.WithCancel(t.Context())
		in, typed := io.Pipe()
		var out, errOut buffer
		ended := make(chan int, 1)
		go func() {
			ended <- run(ctx, strings.Fields(args), console{out: &out, err: &errOut, in: in, getenv: func(k string) string { return env[k] }})
		}()
		_, err := io.WriteString(typed, begun) // returns when it was read
		require.NoError(t, err, args)
		select {
		case code := <-ended:
			require.Fail(t, "it did not wait for the rest", "%s: %d %s", args, code, errOut.String())
		default:
		}
		interrupt()
		require.Equal(t, 130, <-ended, "%s: %s%s", args, out.String(), errOut.String())
		require.Empty(t, out.String(), args)
		require.NoError(t, in.Close())
	}
	require.NotContains(t, done(t, env, "export"), "demo fan", "nothing was stored")
}

// The line of progress is ended before a report on a line, and leaves no trace where none is wanted.
func TestProgressIsALineOfItsOwn(t *testing.T) {
	t.Parallel()
	var screen bytes.Buffer
	p := progress{out: &screen, wanted: true}
	p.end()
	p.show(1000)
	p.show(2000)
	p.end()
	p.end()
	require.Equal(t, "\r1000 lines read\r2000 lines read\n", screen.String())
	p = progress{out: &screen}
	p.show(3000)
	p.end()
	require.NotContains(t, screen.String(), "3000")
}
