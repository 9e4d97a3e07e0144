package simworld

import "testing"

// BenchmarkWorld makes a catalogue of 1,000 records.
func BenchmarkWorld(b *testing.B) {
	wires := table(b)
	b.ReportAllocs()
	for b.Loop() {
		w, err := NewWorld(Config{Seed: 1, Records: 1000}, wires)
		if err != nil {
			b.Fatal(err)
		}
		n := 0
		for _, windings := range w.Catalogue() {
			n += len(windings)
		}
		if n != 1000 {
			b.Fatal(n)
		}
	}
}

// BenchmarkQuery makes one measured stator.
func BenchmarkQuery(b *testing.B) {
	w := world(b, Config{Seed: 1, Records: 1000, Queries: 1})
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		w.query(i)
	}
}

// BenchmarkDemo makes the demo set.
func BenchmarkDemo(b *testing.B) {
	wires := table(b)
	for b.Loop() {
		Demo(DemoSeed, wires)
	}
}
