package bundle

import (
	"bufio"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/jsonin"
)

// samples is a spread of two simulated worlds; its README tells where it comes from.
const samples = "../../testdata/worlds-sample"

// readAll reads a bundle to its end.
func readAll(t testing.TB, in io.Reader) []*Line {
	t.Helper()
	r := NewReader(in, Options{})
	var all []*Line
	for {
		l, err := r.Next()
		if errors.Is(err, io.EOF) {
			return all
		}
		require.NoError(t, err)
		all = append(all, l)
	}
}

func openFile(t testing.TB, path string) *os.File {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, f.Close()) })
	return f
}

func sampleRecord(t testing.TB) Winding {
	t.Helper()
	all := readAll(t, openFile(t, filepath.Join(samples, "plain-catalogue.jsonl")))
	return *all[len(all)-1].Winding
}

func TestWorldsRead(t *testing.T) {
	t.Parallel()
	for _, world := range []string{"plain", "perturbed"} {
		all := readAll(t, openFile(t, filepath.Join(samples, world+"-catalogue.jsonl")))
		require.Len(t, all, 33)
		require.Equal(t, KindManifest, all[0].Kind)
		windings := 0
		for _, l := range all[1:] {
			switch l.Kind {
			case KindFamily:
				require.NotEmpty(t, l.Family.ToDomain().Cores)
			case KindWinding:
				windings++
				w := l.Winding.ToDomain()
				require.Equal(t, 1, w.Revision, "taken from the line")
				require.True(t, w.Demo)
				require.NotEmpty(t, w.Scheme.CoilSets)
				require.True(t, w.CoreAsMeasured.StackLength.Given)
				require.Equal(t, w, WindingOf(w).ToDomain())
			default:
				require.Fail(t, "unexpected kind", l.Kind)
			}
		}
		require.Equal(t, 16, windings)
	}
}

// request is the part of a match request that rests on the shapes of this package.
type request struct {
	Measurements Core       `json:"measurements"`
	Nameplate    Nameplate  `json:"nameplate"`
	Remains      jsonin.Raw `json:"remains"`
}

type queryLine struct {
	ID      string     `json:"id"`
	Request request    `json:"request"`
	Truth   jsonin.Raw `json:"truth"`
}

type entryLine struct {
	ID      string     `json:"id"`
	Request Sheet      `json:"request"`
	Truth   jsonin.Raw `json:"truth"`
}

// readLines reads a file of JSON lines, each into a fresh T, and tells how many there were.
func readLines[T any](t *testing.T, path string, each func(T)) int {
	t.Helper()
	in := bufio.NewScanner(openFile(t, path))
	n := 0
	for in.Scan() {
		n++
		var line T
		require.NoError(t, jsonin.Decode(in.Bytes(), &line, jsonin.Single), "line %d of %s", n, path)
		each(line)
	}
	require.NoError(t, in.Err())
	return n
}

func TestWorldRequestsRead(t *testing.T) {
	t.Parallel()
	for _, world := range []string{"plain", "perturbed"} {
		plates, rings := 0, 0
		require.Equal(t, 20, readLines(t, filepath.Join(samples, world+"-queries.jsonl"), func(q queryLine) {
			c := q.Request.Measurements.ToDomain()
			require.NotZero(t, c.RotorPosition)
			if c.SecondRing != nil {
				rings++
			}
			if n := q.Request.Nameplate.ToDomain(); n.Voltage.Given || n.Poles > 0 {
				plates++
			}
		}))
		require.Positive(t, plates)
		require.Positive(t, rings)
		require.Equal(t, 20, readLines(t, filepath.Join(samples, world+"-entries.jsonl"), func(e entryLine) {
			require.NotEmpty(t, e.Request.ToDomain().Scheme.CoilSets)
		}))
	}
}

func TestSeedsRead(t *testing.T) {
	t.Parallel()
	kinds := map[Kind]int{}
	for _, name := range []string{"wires.jsonl", "insulation.jsonl"} {
		for _, l := range readAll(t, openFile(t, filepath.Join("..", "..", "seeds", name))) {
			kinds[l.Kind]++
			if l.Kind == KindWire {
				s := l.Wire.ToDomain()
				require.Equal(t, s.Text, l.Wire.Conductor.Diameter.Digits())
				back := WireSizeOf(s, "copper", nil)
				require.InEpsilon(t, l.Wire.Resistance.Ohms.Nominal, back.Resistance.Ohms.Nominal, 3e-6)
				require.Equal(t, l.Wire.Resistance.Printed, back.Resistance.Printed, l.ID)
			}
		}
	}
	require.Greater(t, kinds[KindWire], 200)
	require.Positive(t, kinds[KindClass])
	require.Positive(t, kinds[KindMaterial])
}
