// Package internal_test holds the floor plan of the house: which package may import which, and
// which technology belongs to which package. The plan is told in DEVELOPERS.md.
package internal_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const module = "statorbook/"

// mayImport lists, for each package, the packages of ours that it may import directly. Each of
// them brings along what it may import itself.
var mayImport = map[string][]string{
	"internal/errs":       nil,
	"internal/unit":       nil,
	"internal/localpg":    nil,
	"internal/web":        nil,
	"migrations":          nil,
	"seeds":               nil,
	"openapi":             nil,
	"internal/jsonin":     {"internal/errs", "internal/unit"},
	"internal/wire":       {"internal/errs", "internal/unit"},
	"internal/insulation": {"internal/errs", "internal/unit"},
	"internal/stator":     {"internal/errs", "internal/unit"},
	"internal/winding":    {"internal/wire", "internal/insulation", "internal/stator"},
	"internal/catalog":    {"internal/winding"},
	"internal/match":      {"internal/winding"},
	"internal/acceptance": {"internal/winding"},
	"internal/diagram":    {"internal/winding"},
	"internal/simworld":   {"internal/catalog"},
	"internal/score":      {"internal/catalog"},
	"internal/bundle":     {"internal/catalog", "internal/match", "internal/acceptance", "internal/jsonin"},
	"internal/postgres":   {"internal/bundle", "internal/catalog", "internal/match", "migrations"},
	"internal/httpapi":    {"internal/bundle", "internal/catalog", "internal/match", "internal/acceptance", "internal/diagram", "internal/web", "openapi"},
	"internal/pgtest":     {"internal/postgres", "internal/localpg", "migrations"},
	"api":                 {"internal/httpapi", "internal/postgres", "internal/simworld", "internal/score", "internal/localpg", "seeds"},
}

// owners tells which packages alone may use a technology.
var owners = map[string][]string{
	"github.com/gin-gonic/gin":    {"internal/httpapi"},
	"github.com/swaggest/swgui":   {"internal/httpapi"},
	"github.com/jackc/pgx/v5":     {"internal/postgres", "internal/localpg", "internal/pgtest"},
	"github.com/pressly/goose/v3": {"internal/postgres"},
	"database/sql":                {"internal/postgres"},
	"net/http":                    {"internal/httpapi", "api"},
	"html/template":               {"internal/httpapi"},
	"gonum.org/v1/gonum":          {"internal/match"},
	"github.com/gowebpki/jcs":     {"internal/bundle"},
	"golang.org/x/mod":            {"internal/bundle"},
	"os":                          {"api", "internal/localpg", "internal/pgtest"},
	"os/exec":                     {"internal/localpg"},
	"log/slog":                    {"api", "internal/httpapi", "internal/postgres", "internal/localpg", "internal/pgtest"},
	"math/rand/v2":                {"internal/simworld"},
	"crypto/rand":                 {"api", "internal/localpg", "internal/pgtest"},
	"embed":                       {"internal/web", "migrations", "seeds", "openapi"},
	"encoding/json":               {"internal/jsonin", "internal/bundle", "internal/postgres", "internal/httpapi", "internal/localpg", "api"},
	"math/rand":                   nil,
	"github.com/stretchr/testify": nil,
	"pgregory.net/rapid":          nil,
}

// pure lists the packages without clock, environment, files or logging.
var pure = []string{
	"internal/errs", "internal/unit", "internal/jsonin", "internal/wire", "internal/insulation", "internal/stator", "internal/winding",
	"internal/catalog", "internal/match", "internal/acceptance", "internal/diagram", "internal/simworld", "internal/score", "internal/bundle",
}

func TestLayering(t *testing.T) {
	allowed := closure()
	for file, imports := range sourceImports(t) {
		pkg := filepath.ToSlash(filepath.Dir(file))
		direct, known := allowed[pkg]
		if !known {
			t.Errorf("%s: package %s has no floor in the plan; give it one in internal/layering_test.go", file, pkg)
			continue
		}
		for _, path := range imports {
			if ours, ok := strings.CutPrefix(path, module); ok {
				if !slices.Contains(direct, ours) {
					t.Errorf("%s: %s may not import %s: an import may only point down", file, pkg, ours)
				}
				continue
			}
			checkOwner(t, file, pkg, path)
		}
	}
}

// closure adds to each package what the packages that it may import may import themselves.
func closure() map[string][]string {
	all := make(map[string][]string, len(mayImport))
	var walk func(pkg string, into map[string]bool)
	walk = func(pkg string, into map[string]bool) {
		for _, dep := range mayImport[pkg] {
			into[dep] = true
			walk(dep, into)
		}
	}
	for pkg := range mayImport {
		set := map[string]bool{}
		walk(pkg, set)
		all[pkg] = []string{}
		for dep := range set {
			all[pkg] = append(all[pkg], dep)
		}
	}
	return all
}

// sourceImports reads the imports of every non-test Go file of the module.
func sourceImports(t *testing.T) map[string][]string {
	t.Helper()
	found := map[string][]string{}
	root := ".."
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && path != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata" || d.Name() == "node_modules") {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		src, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, src, parser.ImportsOnly)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		imports := []string{}
		for _, spec := range file.Imports {
			imports = append(imports, strings.Trim(spec.Path.Value, `"`))
		}
		found[rel] = imports
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(found) == 0 {
		t.Fatal("no Go file was found: this test looks at the wrong folder")
	}
	return found
}

// checkOwner fails when pkg uses a technology that belongs to another package.
func checkOwner(t *testing.T, file, pkg, path string) {
	t.Helper()
	for tech, who := range owners {
		if path != tech && !strings.HasPrefix(path, tech+"/") {
			continue
		}
		if exact := tech == "os" || tech == "net/http" || tech == "math/rand"; exact && path != tech {
			continue
		}
		// The test packages of pgtest reach for testify and the database on purpose.
		if !slices.Contains(who, pkg) {
			t.Errorf("%s: %s belongs to %v, not to %s", file, tech, who, pkg)
		}
	}
	if slices.Contains(pure, pkg) && slices.Contains([]string{"os", "net", "os/exec", "log", "log/slog", "io/fs", "path/filepath", "context"}, path) {
		t.Errorf("%s: %s is a pure package: time, identity, files and logs come in as arguments, not through %s", file, pkg, path)
	}
}
