package simworld

import (
	"bytes"
	"flag"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/winding"
	"statorbook/seeds"
)

// go test ./internal/simworld -run TestSeedFile -update writes seeds/demo.jsonl anew.
var update = flag.Bool("update", false, "write the seed file instead of comparing it")

const seedName = "demo.jsonl"

// demoBundle is the demo set as a bundle.
func demoBundle(t *testing.T, c Catalogue) []byte {
	t.Helper()
	var out bytes.Buffer
	w := bundle.NewWriter(&out)
	require.NoError(t, w.Manifest("demo", 1, bundle.Manifest{Licence: Licence, Demo: true, Institute: c.Institute.Slug, Title: "Demo stator families and winding records, invented"}))
	for _, f := range c.Families {
		line := bundle.FamilyOf(f)
		line.Witness = bundle.Witness{} // nobody vouches for a seed in the file itself
		require.NoError(t, w.Write(bundle.KindFamily, f.ID, f.Revision, line))
	}
	for _, r := range c.Windings {
		line := bundle.WindingOf(r)
		line.Witness = bundle.Witness{}
		require.NoError(t, w.Write(bundle.KindWinding, r.ID, r.Revision, line))
	}
	require.NoError(t, w.Close())
	return out.Bytes()
}

// TestSeedFile: the committed demo set is what the generator makes, byte for byte. On another kind
// of processor the last digit of a figure may fall otherwise (fused multiply-add); the file was
// made on amd64.
func TestSeedFile(t *testing.T) {
	got := demoBundle(t, Demo(DemoSeed, table(t)))
	if *update {
		require.NoError(t, os.WriteFile(filepath.Join("..", "..", "seeds", seedName), got, 0o644))
		return
	}
	want, err := seeds.Files.ReadFile(seedName)
	require.NoError(t, err)
	require.True(t, bytes.Equal(want, got), "seeds/%s differs from the generator: run the test with -update and look at the difference", seedName)
}

// TestSeedFileReads: the strict reader takes every line, and what it reads is what was meant.
func TestSeedFileReads(t *testing.T) {
	t.Parallel()
	data, err := seeds.Files.ReadFile(seedName)
	require.NoError(t, err)
	c := Demo(DemoSeed, table(t))
	families, windings := 0, 0
	for r := bundle.NewReader(bytes.NewReader(data), bundle.Options{}); ; {
		line, err := r.Next()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		switch line.Kind {
		case bundle.KindFamily:
			want := c.Families[families]
			want.Author, want.Vetter = "", "" // never in a body
			require.Equal(t, want, line.Family.ToDomain())
			families++
		case bundle.KindWinding:
			want := c.Windings[windings]
			want.Author, want.Vetter = "", ""
			require.Equal(t, want, line.Winding.ToDomain())
			windings++
		}
	}
	require.Equal(t, len(c.Families), families)
	require.Equal(t, len(c.Windings), windings)
}

// TestDemoPassesLint: no fault, no finding of severity error, and no warning but those that an
// honest sheet gets: its plate does not say that a capacitor is for starting only.
func TestDemoPassesLint(t *testing.T) {
	t.Parallel()
	wires := table(t)
	c := Demo(DemoSeed, wires)
	family := map[string]*catalog.Family{}
	for i := range c.Families {
		f := &c.Families[i]
		family[f.ID] = f
		l := catalog.LintFamily(*f, catalog.LintOptions{Wires: wires, New: true})
		require.Empty(t, l.Faults, f.Slug)
		require.Empty(t, l.Findings, f.Slug)
	}
	for _, w := range c.Windings {
		l := catalog.LintWinding(w, catalog.LintOptions{Wires: wires, Family: family[w.FamilyID]})
		require.Empty(t, l.Faults, w.Slug)
		require.Empty(t, l.Findings, w.Slug)
		sheet := winding.Sheet{Core: *w.CoreAsMeasured, MotorType: w.MotorType, Origin: w.Origin, Nameplate: w.Nameplate, Scheme: w.Scheme}
		require.NotEqual(t, winding.Impossible, winding.Check(sheet, wires).Verdict)
	}
}
