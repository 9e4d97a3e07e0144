package wire_test

import (
	"fmt"
	"testing"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

func BenchmarkByID(b *testing.B) {
	table := referenceTable(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, ok := table.ByID("awg-4-0"); !ok {
			b.Fatal("lost")
		}
	}
}

func BenchmarkFind(b *testing.B) {
	table := referenceTable(b)
	for _, size := range []string{"22", "4/0", "0000"} {
		b.Run(size, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := table.Find(wire.AWG, size); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkResolve(b *testing.B) {
	table := referenceTable(b)
	for name, w := range map[string]wire.Wire{
		"size": {System: wire.SWG, Size: "22", Conductor: wire.Copper, Build: wire.Grade2, Strands: 1},
		"bare": {System: wire.Bare, Diameter: unit.Of(0.63), Conductor: wire.Copper, Build: wire.Grade2, Strands: 1},
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := table.Resolve(w); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkNearest(b *testing.B) {
	table := referenceTable(b)
	b.ReportAllocs()
	for b.Loop() {
		if len(table.Nearest(0.4, wire.NearestOptions{})) == 0 {
			b.Fatal("nothing")
		}
	}
}

// Equivalents of SWG 22 grade 2 in all three systems, ten answers.
func BenchmarkEquivalents(b *testing.B) {
	table := referenceTable(b)
	from := wire.Wire{System: wire.SWG, Size: "22", Conductor: wire.Copper, Build: wire.Grade2, Strands: 1}
	for _, mixed := range []bool{false, true} {
		for strands := 1; strands <= 4; strands++ {
			b.Run(fmt.Sprintf("mixed=%v/strands=%d", mixed, strands), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if _, err := table.Equivalents(from, wire.EquivalentOptions{Mixed: mixed, MaxStrands: strands}); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
	b.Run("mixed=true/strands=8/aluminium", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := table.Equivalents(from, wire.EquivalentOptions{Mixed: true, MaxStrands: 8, Conductor: wire.Aluminium}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
