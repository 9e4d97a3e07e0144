package httpapi

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"statorbook/internal/match"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
)

// benchHandler serves as the program does: JSON log lines (to nowhere), random ids, the real clock.
func benchHandler(b *testing.B, snap *Snapshot) http.Handler {
	b.Helper()
	h, err := New(Config{
		Snapshot: func() *Snapshot { return snap }, Ready: func() error { return nil }, Log: slog.New(slog.NewJSONHandler(io.Discard, nil)),
		NewID: func() string { return uuid.Must(uuid.NewV7()).String() }, Now: time.Now, PageKey: []byte("bench"), Quota: 100_000_000,
	})
	require.NoError(b, err)
	return h
}

// nullWriter is a response that keeps nothing.
type nullWriter struct{ h http.Header }

func (w *nullWriter) Header() http.Header         { return w.h }
func (w *nullWriter) Write(p []byte) (int, error) { return len(p), nil }
func (w *nullWriter) WriteHeader(int)             {}

// serve runs b.N requests through a handler without a network.
func serve(b *testing.B, h http.Handler, method, target, body string) {
	b.ReportAllocs()
	for b.Loop() {
		w := &nullWriter{http.Header{}}
		h.ServeHTTP(w, request(method, target, body))
	}
}

// bareGin writes the same bytes with nothing around them.
func bareGin(path string, body []byte) http.Handler {
	gin.SetMode(gin.ReleaseMode)
	e := gin.New()
	e.GET(path, func(c *gin.Context) { c.Data(http.StatusOK, "application/json", body) })
	return e
}

// BenchmarkWireLookup sets the look-up beside a bare gin handler that writes the same bytes, over
// real connections (the goal is a ratio of 0.7) and without a network.
func BenchmarkWireLookup(b *testing.B) {
	snap, err := seedSnapshot()
	require.NoError(b, err)
	ours := benchHandler(b, snap)
	rec := httptest.NewRecorder()
	ours.ServeHTTP(rec, request("GET", "/v1/wires/awg-20", ""))
	bare := bareGin("/v1/wires/:id", rec.Body.Bytes())

	b.Run("network", func(b *testing.B) {
		var perSecond [2]float64
		// Turn about, so that both see the same neighbours on the machine.
		for round := 0; b.Loop(); round++ {
			for i, h := range []http.Handler{bare, ours} {
				perSecond[i] += requestsPerSecond(b, h, "/v1/wires/awg-20")
			}
		}
		n := float64(b.N)
		b.ReportMetric(perSecond[0]/n, "bare-req/s")
		b.ReportMetric(perSecond[1]/n, "ours-req/s")
		b.ReportMetric(perSecond[1]/perSecond[0], "ratio")
	})
	b.Run("in-process/bare", func(b *testing.B) { serve(b, bare, "GET", "/v1/wires/awg-20", "") })
	b.Run("in-process/ours", func(b *testing.B) { serve(b, ours, "GET", "/v1/wires/awg-20", "") })
	b.Run("in-process/filtered-list", func(b *testing.B) { serve(b, ours, "GET", "/v1/wires?system=awg&min_diameter_mm=0.5", "") })
}

// requestsPerSecond asks for target 2,000 times over eight connections.
func requestsPerSecond(b *testing.B, h http.Handler, target string) float64 {
	b.Helper()
	server := NewServer(h)
	listener := httptest.NewUnstartedServer(nil)
	listener.Config = server
	listener.Start()
	defer listener.Close()
	const clients, each = 8, 250
	transport := &http.Transport{MaxIdleConnsPerHost: clients, DisableCompression: true}
	defer transport.CloseIdleConnections()
	begun := time.Now()
	var group sync.WaitGroup
	for range clients {
		group.Go(func() {
			client := &http.Client{Transport: transport}
			for range each {
				resp, err := client.Get(listener.URL + target)
				if err != nil {
					b.Error(err)
					return
				}
				_, _ = io.Copy(io.Discard, resp.Body)
				_ = resp.Body.Close()
			}
		})
	}
	group.Wait()
	return clients * each / time.Since(begun).Seconds()
}

func BenchmarkInsulationLookup(b *testing.B) {
	snap, err := seedSnapshot()
	require.NoError(b, err)
	serve(b, benchHandler(b, snap), "GET", "/v1/insulation-classes/F", "")
}

// BenchmarkEquivalents sets a batch of 1,000 beside single calls (the goal is five times the items
// per second), over real connections and without a network.
func BenchmarkEquivalents(b *testing.B) {
	snap, err := seedSnapshot()
	require.NoError(b, err)
	h := benchHandler(b, snap)
	items := make([]string, 1000)
	for i := range items {
		items[i] = fmt.Sprintf(`{"from":{"system":"swg","size":"%d","conductor":"copper","build":"grade_2","strands":1},"to":{"systems":["metric"],"max_strands":2},"limit":1}`, 20+i%25)
	}
	batch := `{"items":[` + strings.Join(items, ",") + `]}`
	server := httptest.NewServer(h)
	defer server.Close()
	client := &http.Client{Transport: &http.Transport{DisableCompression: true}}
	post := func(b *testing.B, path, body string) {
		resp, err := client.Post(server.URL+path, "application/json", strings.NewReader(body))
		require.NoError(b, err)
		_, _ = io.Copy(io.Discard, resp.Body)
		_ = resp.Body.Close()
		require.Equal(b, http.StatusOK, resp.StatusCode)
	}
	b.Run("network", func(b *testing.B) {
		const singles = 500
		var single, whole time.Duration
		for b.Loop() { // turn about, so that both see the same neighbours on the machine
			begun := time.Now()
			for i := range singles {
				post(b, "/v1/wire-equivalents", items[i])
			}
			single += time.Since(begun)
			begun = time.Now()
			post(b, "/v1/wire-equivalents/batch", batch)
			whole += time.Since(begun)
		}
		alone, together := singles*float64(b.N)/single.Seconds(), 1000*float64(b.N)/whole.Seconds()
		b.ReportMetric(alone, "single-items/s")
		b.ReportMetric(together, "batch-items/s")
		b.ReportMetric(together/alone, "ratio")
	})
	b.Run("single/in-process", func(b *testing.B) { serve(b, h, "POST", "/v1/wire-equivalents", items[0]) })
	b.Run("mixed-pairs-4-strands-3-systems/in-process", func(b *testing.B) {
		serve(b, h, "POST", "/v1/wire-equivalents", `{"from":{"system":"swg","size":"24","conductor":"copper","build":"grade_2","strands":1},"to":{"max_strands":4,"mixed":true}}`)
	})
}

// BenchmarkMatch asks an index of invented two-ring fans and small motors, four records to a core.
func BenchmarkMatch(b *testing.B) {
	seed, err := seedSnapshot()
	require.NoError(b, err)
	for _, n := range []int{1_000, 100_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			snap := &Snapshot{Revision: 1, Wires: seed.Wires, Classes: seed.Classes, Materials: seed.Materials, Index: inventedIndex(seed.Wires, n), BuiltAt: seed.BuiltAt}
			h := benchHandler(b, snap)
			serve(b, h, "POST", "/v1/matches", `{"measurements":{"phases":1,"rotor_position":"outside","slots":14,"gap_diameter_mm":118,"back_diameter_mm":58,"stack_length_mm":17,"tooth_width_mm":5.1},"supply":{"voltage_v":230,"frequency_hz":50,"phases":1}}`)
			b.ReportMetric(float64(snap.Index.Stats().Bytes)/float64(n), "index-bytes/record")
		})
	}
}

// inventedIndex builds an index of n records. It is for timing only: the dimensions scatter without sense.
func inventedIndex(table *wire.Table, n int) *match.Index {
	draw := rand.New(rand.NewPCG(1, 2))
	builder := match.NewBuilder(table)
	var family, core string
	var shape stator.Core
	for i := range n {
		if i%8 == 0 {
			family = fmt.Sprintf("%08d-0000-4000-8000-000000000000", i)
			shape = inventedCore(draw)
			builder.AddFamily(match.FamilyEntry{ID: family, Application: "ceiling_fan", Core: shape})
		}
		if i%4 == 0 {
			core = fmt.Sprintf("%08d-0000-4000-8000-000000000001", i)
			builder.AddFamily(match.FamilyEntry{ID: family, Core: shape, Cores: []match.CoreEntry{{ID: core, StackLength: unit.Of(12 + 30*draw.Float64())}}})
		}
		builder.AddRecord(match.RecordEntry{
			ID: fmt.Sprintf("%08d-0000-4000-8000-000000000002", i), CoreID: core, FamilyID: family, Status: "demo", MotorType: "permanent_split_capacitor", Origin: "factory", TimesSeen: 1,
			Nameplate: winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Poles: shape.Slots},
			Scheme: winding.Scheme{Poles: shape.Slots, CoilSets: []winding.CoilSet{{
				Role: winding.Main, Wires: []wire.Wire{{System: wire.SWG, Size: "36", Conductor: wire.Copper, Strands: 1}},
				Pattern: &winding.Pattern{Kind: winding.Tooth, Throws: []int{2}, Turns: []float64{float64(200 + draw.IntN(200))}, Groups: shape.Slots},
			}}},
		})
	}
	return builder.Build()
}

func inventedCore(draw *rand.Rand) stator.Core {
	gap := 90 + 60*draw.Float64()
	return stator.Core{
		Phases: 1, RotorPosition: stator.RotorOutside, Slots: 12 + 2*draw.IntN(4), GapDiameter: unit.Of(gap), BackDiameter: unit.Of(gap * (0.4 + 0.2*draw.Float64())),
		ToothWidth: unit.Of(3 + 4*draw.Float64()), SlotDepth: unit.Of(10 + 10*draw.Float64()), SlotOpening: unit.Of(1.5 + draw.Float64()), BackIron: unit.Of(4 + 4*draw.Float64()),
	}
}

// BenchmarkAnalysis analyses a 48-slot double-layer three-phase winding.
func BenchmarkAnalysis(b *testing.B) {
	snap, err := seedSnapshot()
	require.NoError(b, err)
	var body bytes.Buffer
	body.WriteString(`{"core":{"phases":3,"rotor_position":"inside","slots":48,"gap_diameter_mm":110,"back_diameter_mm":180,"stack_length_mm":100,"tooth_width_mm":3.5,"slot_depth_mm":18,"back_iron_mm":16},"nameplate":{"voltage_v":400,"frequency_hz":50,"current_a":5,"connection":"star"},"scheme":{"poles":4,"coil_sets":[`)
	for i, role := range []string{"u", "v", "w"} {
		if i > 0 {
			body.WriteByte(',')
		}
		fmt.Fprintf(&body, `{"role":"phase_%s","pattern":{"kind":"lap","throws":[11],"turns":[12],"groups":16},"wires":[{"system":"metric","size":"0.800","conductor":"copper","build":"grade_2","strands":2}]}`, role)
	}
	body.WriteString(`]}}`)
	h := benchHandler(b, snap)
	rec := httptest.NewRecorder()
	h.ServeHTTP(rec, request("POST", "/v1/winding-analyses", body.String()))
	require.Equal(b, http.StatusOK, rec.Code, rec.Body.String())
	serve(b, h, "POST", "/v1/winding-analyses", body.String())
}
