package match

import (
	"fmt"
	"os"
	"strconv"
	"sync"
	"testing"

	"statorbook/internal/simworld"
)

// benchSizes are the catalogues that are timed: 1,000 and 100,000 records, and as many as
// STATORBOOK_BENCH_RECORDS says (a million takes a minute to build).
func benchSizes() []int {
	sizes := []int{1000, 100_000}
	if n, err := strconv.Atoi(os.Getenv("STATORBOOK_BENCH_RECORDS")); err == nil {
		sizes = append(sizes, n)
	}
	return sizes
}

var benchIndex = sync.OnceValue(func() map[int]struct {
	x *Index
	q []simQuery
} {
	out := map[int]struct {
		x *Index
		q []simQuery
	}{}
	for _, n := range benchSizes() {
		x, q := simIndex(panicTB{}, simworld.Config{Records: n, Queries: 300, Seed: 7})
		out[n] = struct {
			x *Index
			q []simQuery
		}{x, q}
	}
	return out
})

// BenchmarkMatch times whole answers, proposals included.
func BenchmarkMatch(b *testing.B) {
	for _, n := range benchSizes() {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			w := benchIndex()[n]
			b.ReportAllocs()
			i := 0
			for b.Loop() {
				if _, err := w.x.Match(w.q[i%len(w.q)].Query); err != nil {
					b.Fatal(err)
				}
				i++
			}
			b.ReportMetric(float64(w.x.Stats().Bytes)/float64(n), "index-B/record")
		})
	}
}

// BenchmarkCoarseScan times the scan of laminations alone, and tells how many of the right ones it keeps.
func BenchmarkCoarseScan(b *testing.B) {
	for _, n := range benchSizes() {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			w := benchIndex()[n]
			work := new(work)
			prepared := make([]*prepared, len(w.q))
			for i := range w.q {
				prepared[i] = w.x.prepare(&w.q[i].Query)
			}
			b.ReportAllocs()
			i := 0
			for b.Loop() {
				w.x.scan(prepared[i%len(prepared)], work)
				i++
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/record")
			known, kept, _ := w.x.recall(w.q, keepMost)
			b.ReportMetric(100*float64(kept)/float64(known), "%recall")
		})
	}
}

// BenchmarkCheckRecord times the record check.
func BenchmarkCheckRecord(b *testing.B) {
	w := sampleWorld()
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		w.index.CheckRecord(sheetOf(&w.entries[i%len(w.entries)]))
		i++
	}
}

// BenchmarkBuild times taking in a catalogue and learning from it.
func BenchmarkBuild(b *testing.B) {
	records := make([]RecordEntry, len(sampleWorld().records))
	for i := range records {
		records[i] = sampleWorld().records[i].domain()
	}
	b.ReportAllocs()
	for b.Loop() {
		builder := NewBuilder(testWires())
		for i := range records {
			builder.AddRecord(records[i])
		}
		builder.Build()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(records)), "ns/record")
}

// BenchmarkRebuild times how long it takes, after one sighting of one record, until there is an index that
// knows of it.
func BenchmarkRebuild(b *testing.B) {
	for _, n := range benchSizes() {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			builder, _, one := simBuilder(b, simworld.Config{Records: n, Seed: 7})
			builder.Build()
			b.ReportAllocs()
			for b.Loop() {
				one.TimesSeen++
				builder.AddRecord(one)
				builder.Build()
			}
		})
	}
}
