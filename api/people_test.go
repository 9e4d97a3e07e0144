package main

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"

	"github.com/stretchr/testify/require"
)

// done runs a command that must succeed and gives what it printed.
func done(t *testing.T, env map[string]string, args ...string) string {
	t.Helper()
	code, out, errOut := runCommand(t, env, "", args...)
	require.Equal(t, 0, code, "%v: %s", args, errOut)
	return out
}

// refused runs a command that must fail and gives what it said.
func refused(t *testing.T, env map[string]string, code int, args ...string) string {
	t.Helper()
	got, out, errOut := runCommand(t, env, "", args...)
	require.Equal(t, code, got, "%v: %s", args, errOut)
	require.Empty(t, out, args)
	return errOut
}

var headerLine = regexp.MustCompile(`(?m)^Authorization: (Bearer sbk_([0-9a-z]{12})_([A-Za-z0-9_-]{43}))$`)

// getAs asks with a key.
func getAs(t *testing.T, url, authorization string) int {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	require.NoError(t, err)
	req.Header.Set("Authorization", authorization)
	res, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	_, _ = io.Copy(io.Discard, res.Body)
	require.NoError(t, res.Body.Close())
	return res.StatusCode
}

// TestKeysAtTheCommandLine walks the way of an operator, beside a running server: an institute, persons, a
// key, its change for a new one, its end. The server heeds each step at once (S21).
func TestKeysAtTheCommandLine(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	s := startServer(t, env)
	made := done(t, env, "institute", "add", "-slug", "demo-bench-school", "-title", "Demo bench school", "-demo")
	file := filepath.Join(env["STATORBOOK_DATA_DIR"], "signing", "demo-bench-school.key")
	require.Contains(t, made, file)
	for path, mode := range map[string]os.FileMode{file: 0o600, filepath.Dir(file): 0o700 | os.ModeDir} {
		info, err := os.Stat(path)
		require.NoError(t, err)
		require.Equal(t, mode, info.Mode(), path)
	}
	require.Contains(t, done(t, env, "person", "add", "-institute", "demo-bench-school", "-pseudonym", "demo-p1"), "made")
	require.Equal(t, "demo-p1\n", done(t, env, "person", "list", "-institute", "demo-bench-school"))

	shown := headerLine.FindStringSubmatch(done(t, env, "key", "issue", "-institute", "demo-bench-school", "-person", "demo-p1", "-scopes", "contribute, vet"))
	require.NotNil(t, shown)
	first, firstID, secret := shown[1], shown[2], shown[3]
	require.Equal(t, 200, getAs(t, s.base+"/v1/meta", first))
	require.Equal(t, 401, getAs(t, s.base+"/v1/meta", first[:len(first)-43]+strings.Repeat("x", 43)))

	second := headerLine.FindStringSubmatch(done(t, env, "key", "rotate", firstID, "-days", "30"))
	require.NotNil(t, second)
	require.Equal(t, 200, getAs(t, s.base+"/v1/meta", first))
	require.Equal(t, 200, getAs(t, s.base+"/v1/meta", second[1]))
	require.Contains(t, refused(t, env, 1, "key", "rotate", "-days", "30", firstID), "two live keys")
	require.Contains(t, done(t, env, "key", "revoke", firstID), "is revoked")
	require.Equal(t, 401, getAs(t, s.base+"/v1/meta", first))
	require.Equal(t, 200, getAs(t, s.base+"/v1/meta", second[1]))

	list := done(t, env, "key", "list", "-institute", "demo-bench-school")
	require.Regexp(t, firstID+`.*contribute,vet.*revoked`, list)
	require.Regexp(t, second[2]+`.*contribute,vet.*[0-9]{4}-[0-9]{2}-[0-9]{2} [0-9]{2}:[0-9]{2} .*live`, list, "with the last use")
	for _, where := range []string{list, s.err.String(), s.out.String()} {
		require.NotContains(t, where, secret)
		require.NotContains(t, where, second[3])
		require.NotContains(t, where, "PRIVATE+KEY")
	}
}

// TestSigningKeysAtTheCommandLine: own keys change, foreign ones are accepted one at a time.
func TestSigningKeysAtTheCommandLine(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	public := regexp.MustCompile(`public signing key: (\S+)`)
	first := public.FindStringSubmatch(done(t, env, "institute", "add", "-slug", "demo-bench-school", "-title", "Demo bench school"))[1]
	keys := openSigningKeys(config{dataDir: env["STATORBOOK_DATA_DIR"]})
	statement := bundle.Statement{Act: "publication", Kind: bundle.KindWinding, Record: "00000000-0000-4000-8000-000000000001", Revision: 1,
		SHA256: strings.Repeat("0", 64), Institute: "demo-bench-school", Author: "demo-p1", Vetter: "demo-p2"}
	note, err := keys.sign(statement)
	require.NoError(t, err)
	known, err := bundle.NewKeys(first)
	require.NoError(t, err)
	opened, err := bundle.OpenStatement(note, known)
	require.NoError(t, err)
	require.Equal(t, statement, opened.Statement)

	second := public.FindStringSubmatch(done(t, env, "institute", "rotate-key", "-slug", "demo-bench-school"))[1]
	require.NotEqual(t, first, second)
	note, err = keys.sign(statement)
	require.NoError(t, err)
	_, err = bundle.OpenStatement(note, known)
	require.Error(t, err, "the new key signs now")
	list := done(t, env, "institute", "list")
	require.Contains(t, list, second)
	require.Regexp(t, `retired \d{4}-\d\d-\d\d +`+regexp.QuoteMeta(first), list, "for those who shall check what it signed")

	_, far, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat("f", 32)), "demo-far-school")
	require.NoError(t, err)
	_, farther, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat("g", 32)), "demo-far-school")
	require.NoError(t, err)
	pin := func(key string) []string {
		return []string{"key", "pin", "-institute", "demo-far-school", "-title", "Demo far school", key}
	}
	require.Contains(t, done(t, env, pin(far)...), "is accepted")
	require.Contains(t, done(t, env, "institute", "list"), far)
	require.Contains(t, refused(t, env, 1, pin(farther)...), "must be retired first")
	require.Contains(t, done(t, env, "key", "retire", "-institute", "demo-far-school"), far)
	require.Contains(t, done(t, env, pin(farther)...), "is accepted")
	require.Contains(t, refused(t, env, 1, "institute", "rotate-key", "-slug", "demo-far-school"), "another server")
	require.NoFileExists(t, keys.file("demo-far-school"))
	require.NoFileExists(t, keys.fresh("demo-far-school"))
}

func TestMisuseIsNamed(t *testing.T) {
	t.Parallel()
	nowhere := map[string]string{"DATABASE_URL": "postgres://nobody@127.0.0.1:1/none?connect_timeout=1"}
	for _, c := range []struct {
		args string
		says string
	}{
		{"institute", "usage: go run ./api institute"},
		{"institute remove", `there is no "remove" here`},
		{"institute add -title T", "-slug is missing"},
		{"institute add -slug demo-x", "-title is missing"},
		{"institute add -slug demo-x -title T extra", `"extra" is not expected here`},
		{"institute rotate-key", "-slug is missing"},
		{"person add -institute demo-x", "-pseudonym is missing"},
		{"person list", "-institute is missing"},
		{"key issue -person p -scopes vet", "-institute is missing"},
		{"key issue -institute i -scopes vet", "-person is missing"},
		{"key issue -institute i -person p", "-scopes is missing"},
		{"key issue -institute i -person p -scopes vet -days soon", "invalid value \"soon\""},
		{"key rotate", "exactly one key ID is expected, not 0"},
		{"key revoke a b", "exactly one key ID is expected, not 2"},
		{"key pin -institute i -title t", "exactly one VERIFIER key is expected"},
		{"key retire", "-institute is missing"},
		{"key list -loud", "not defined: -loud"},
		{"serve -quota -1", "-quota is 0 to"},
		{"serve 8080", `"8080" is not expected here`},
		{"institute list demo-x", `"demo-x" is not expected here`},
		{"migrate up", `"up" is not expected here`},
		{"seed again", `"again" is not expected here`},
		{"health check", `"check" is not expected here`},
		{"version 2", `"2" is not expected here`},
		{"import", "exactly one file is expected, not 0"},
		{"import a b", "exactly one file is expected, not 2"},
		{"import -columns", "-columns goes with -csv and without a file"},
		{"import -csv -columns a", "-columns goes with -csv and without a file"},
		{"export a b", "at most one file is expected, not 2"},
		{"export -sign", "-sign needs -institute"},
		{"export -since -1", "-since is a catalogue revision"},
		{"export -since soon", "invalid value \"soon\""},
		{"export -csv -institute demo-x", "-csv writes all records"},
		{"verify", "exactly one bundle is expected, not 0"},
		{"verify a -loud", "not defined: -loud"},
	} {
		errOut := refused(t, nowhere, 2, strings.Fields(c.args)...)
		require.Contains(t, errOut, c.says, c.args)
		require.Equal(t, 1, strings.Count(strings.ToLower(errOut), "usage"), "the help comes once: %s", errOut)
		require.Contains(t, errOut, "usage: go run ./api "+strings.Fields(c.args)[0], c.args)
	}
	for _, args := range []string{"key -h", "key issue -h", "institute add --help", "person -h"} {
		require.Contains(t, done(t, nowhere, strings.Fields(args)...), "usage: go run ./api", args)
	}
	env := givenDatabase(t)
	for args, says := range map[string]string{
		"key issue -institute demo-none -person demo-p1 -scopes vet": "no institute demo-none",
		"key revoke 000000000000":                                    "no key 000000000000",
		"person add -institute demo-none -pseudonym demo-p1":         "no institute demo-none",
		"institute add -slug Demo -title T":                          "is no slug",
		"key list -institute demo-none":                              "no institute demo-none",
		"key pin -institute demo-far -title T not-a-key":             "malformed",
	} {
		errOut := refused(t, env, 1, strings.Fields(args)...)
		require.Contains(t, errOut, says, args)
		require.Equal(t, 1, strings.Count(errOut, says), "said once: %s", errOut)
	}
}

// TestSigningFiles: what is wrong with the file of a key stops publications, and nothing else.
func TestSigningFiles(t *testing.T) {
	t.Parallel()
	keys := openSigningKeys(config{dataDir: t.TempDir()})
	statement := bundle.Statement{Act: "publication", Kind: bundle.KindFamily, Record: "00000000-0000-4000-8000-000000000001", Revision: 1,
		SHA256: strings.Repeat("0", 64), Institute: "demo-school", Author: "demo-p1", Vetter: "demo-p2"}
	_, err := keys.sign(statement)
	require.Equal(t, errs.KindUnavailable, errs.KindOf(err))
	require.ErrorContains(t, err, "does not hold the signing key of demo-school")

	verifier, err := keys.make("demo-school", func(string) error { return nil })
	require.NoError(t, err)
	_, err = keys.sign(statement)
	require.NoError(t, err)
	require.NoError(t, keys.check("demo-school", verifier))

	require.NoError(t, os.Chmod(keys.file("demo-school"), 0o640))
	_, err = keys.sign(statement)
	require.Equal(t, errs.KindUnavailable, errs.KindOf(err))
	require.ErrorContains(t, err, "open to other users")
	require.NoError(t, os.Chmod(keys.file("demo-school"), 0o600))

	refusal := errs.New(errs.KindConflict, "no")
	_, err = keys.make("demo-school", func(string) error { return refusal })
	require.ErrorIs(t, err, refusal)
	require.NoFileExists(t, keys.fresh("demo-school"))
	require.NoError(t, keys.check("demo-school", verifier), "a refused change leaves the old key in its place")

	// Registered, then killed before the file was put in its place.
	interrupted := ""
	require.Panics(t, func() {
		_, _ = keys.make("demo-school", func(v string) error { interrupted = v; panic("killed") })
	})
	require.FileExists(t, keys.fresh("demo-school"))
	_, err = keys.make("demo-school", func(string) error { return nil })
	require.ErrorContains(t, err, "was interrupted", "nobody writes over a key")
	require.NoError(t, keys.check("demo-school", interrupted))
	require.NoFileExists(t, keys.fresh("demo-school"))
	require.ErrorContains(t, keys.check("demo-school", verifier), "another key than the registered one")

	adopted, err := keys.adopt("demo-school", func(string) error { return nil })
	require.NoError(t, err)
	require.Equal(t, interrupted, adopted, "the key that is here is taken, not written over")
}

// TestTwoDatabasesOneFolder: the demo institute of both signs with one key; none is written over.
func TestTwoDatabasesOneFolder(t *testing.T) {
	t.Parallel()
	first, second := givenDatabase(t), givenDatabase(t)
	second["STATORBOOK_DATA_DIR"] = first["STATORBOOK_DATA_DIR"]
	done(t, first, "seed")
	file := filepath.Join(first["STATORBOOK_DATA_DIR"], "signing", "demo-winding-school.key")
	before, err := os.ReadFile(file)
	require.NoError(t, err)
	done(t, second, "seed")
	done(t, first, "seed")
	after, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, before, after)
	require.Equal(t, done(t, first, "institute", "list"), done(t, second, "institute", "list"))
	require.Regexp(t, "(?m)^demo-winding-school +here, demo +", done(t, first, "institute", "list"))
}

// TestWithoutDataFolder: a server that cannot keep keys serves all the same, and says so.
func TestWithoutDataFolder(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	blocked := filepath.Join(t.TempDir(), "a-file")
	require.NoError(t, os.WriteFile(blocked, nil, 0o600))
	env["STATORBOOK_DATA_DIR"] = blocked
	s := startServer(t, env)
	require.Equal(t, 200, getAs(t, s.base+"/readyz", ""))
	require.Contains(t, s.err.String(), "nothing can be published for it")

	owner, app := pgtest.NewURLs(t)
	require.NoError(t, postgres.Migrate(t.Context(), owner, postgres.WithAppURL(app)))
	store, err := postgres.Open(t.Context(), app)
	require.NoError(t, err)
	defer store.Close()
	none := signingKeys{none: errs.New(errs.KindInternal, "no home folder")}
	require.NoError(t, seedAll(context.WithoutCancel(t.Context()), store, none, slog.New(slog.DiscardHandler)))
	_, err = none.sign(bundle.Statement{Institute: "demo-school"})
	require.Equal(t, errs.KindUnavailable, errs.KindOf(err))
}

// TestSecretsStayOutOfTheProgramsLog is row S30 for the program: the password of the database is in no line.
func TestSecretsStayOutOfTheProgramsLog(t *testing.T) {
	t.Parallel()
	const canary = "canary-in-the-address"
	url := "postgres://nobody:" + canary + "@127.0.0.1:1/none?connect_timeout=1"
	s := startServer(t, map[string]string{"DATABASE_URL": url, "DATABASE_OWNER_URL": url + "&application_name=owner", "STATORBOOK_ADDR": "127.0.0.1:0", "STATORBOOK_DATA_DIR": t.TempDir()})
	_, problem := get(t, s.base+"/v1/windings/demo-x")
	said, err := json.Marshal(problem)
	require.NoError(t, err)
	require.Equal(t, 0, s.stop())
	for _, text := range []string{string(said), s.err.String(), s.out.String(), refused(t, map[string]string{"DATABASE_URL": url}, 1, "seed")} {
		require.NotContains(t, text, canary)
	}
}
