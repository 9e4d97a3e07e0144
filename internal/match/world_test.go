package match

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// Small structs of the exchange shapes: what these tests need, and no more.

type jm struct{ m unit.Measured }

func (j *jm) UnmarshalJSON(b []byte) error {
	if bytes.HasPrefix(bytes.TrimSpace(b), []byte("{")) {
		var o struct {
			Value       json.Number
			Uncertainty float64
			Resolution  float64
			Unit        string
		}
		if err := json.Unmarshal(b, &o); err != nil {
			return err
		}
		v, err := o.Value.Float64()
		j.m = unit.Measured{Given: true, Value: v, Text: o.Value.String(), Uncertainty: o.Uncertainty, Resolution: o.Resolution}
		return err
	}
	if string(b) == "null" {
		return nil
	}
	v, err := json.Number(b).Float64()
	j.m = unit.Measured{Given: true, Value: v, Text: string(b)}
	return err
}

type jring struct {
	Slots        int
	ToothWidth   jm `json:"tooth_width_mm"`
	SlotDepth    jm `json:"slot_depth_mm"`
	SlotOpening  jm `json:"slot_opening_mm"`
	SlotArea     jm `json:"slot_area_mm2"`
	TurnedSlots  jm `json:"turned_slots"`
	Unrecognised string
}

type jcore struct {
	Phases        int
	RotorPosition string `json:"rotor_position"`
	Slots         int
	GapDiameter   jm     `json:"gap_diameter_mm"`
	BackDiameter  jm     `json:"back_diameter_mm"`
	StackLength   jm     `json:"stack_length_mm"`
	ToothWidth    jm     `json:"tooth_width_mm"`
	SlotDepth     jm     `json:"slot_depth_mm"`
	SlotOpening   jm     `json:"slot_opening_mm"`
	BackIron      jm     `json:"back_iron_mm"`
	SlotArea      jm     `json:"slot_area_mm2"`
	SlotAreaBasis string `json:"slot_area_basis"`
	SecondRing    *jring `json:"second_ring"`
}

func (j *jcore) domain() stator.Core {
	c := stator.Core{Phases: j.Phases, RotorPosition: stator.RotorPosition(j.RotorPosition), Slots: j.Slots, GapDiameter: j.GapDiameter.m, BackDiameter: j.BackDiameter.m, StackLength: j.StackLength.m,
		ToothWidth: j.ToothWidth.m, SlotDepth: j.SlotDepth.m, SlotOpening: j.SlotOpening.m, BackIron: j.BackIron.m, SlotArea: j.SlotArea.m, SlotAreaBasis: stator.AreaBasis(j.SlotAreaBasis)}
	if r := j.SecondRing; r != nil {
		c.SecondRing = &stator.Ring{Slots: r.Slots, ToothWidth: r.ToothWidth.m, SlotDepth: r.SlotDepth.m, SlotOpening: r.SlotOpening.m, SlotArea: r.SlotArea.m, TurnedSlots: r.TurnedSlots.m}
	}
	return c
}

type jplate struct {
	Voltage    jm `json:"voltage_v"`
	Frequency  jm `json:"frequency_hz"`
	Power      jm `json:"power_w"`
	Current    jm `json:"current_a"`
	Speed      jm `json:"speed_rpm"`
	Poles      int
	Capacitor  jm     `json:"capacitor_uf"`
	Class      string `json:"insulation_class"`
	Taps       int    `json:"speed_taps"`
	Connection string
}

func (j *jplate) domain() winding.Nameplate {
	return winding.Nameplate{Voltage: j.Voltage.m, Frequency: j.Frequency.m, Power: j.Power.m, Current: j.Current.m, Speed: j.Speed.m, Poles: j.Poles, CapacitorUF: j.Capacitor.m,
		InsulationClass: j.Class, SpeedTaps: j.Taps, Connection: winding.Connection(j.Connection)}
}

type jscheme struct {
	Poles    int
	CoilSets []struct {
		Role    string
		Ring    string
		Pattern *struct {
			Kind      string
			Throws    []int
			Turns     []float64
			Groups    int
			FirstSlot int `json:"first_slot"`
			Alternate *bool
		}
		Coils []struct {
			In, Out int
			Turns   float64
		}
		ParallelPaths int `json:"parallel_paths"`
		Wires         []struct {
			System, Size, Conductor, Build string
			Strands                        int
			Diameter                       jm `json:"diameter_mm"`
		}
		Mass        jm     `json:"mass_g"`
		MassState   string `json:"mass_state"`
		Resistance  jm     `json:"resistance_ohm"`
		Temperature jm     `json:"temperature_c"`
		LeadPair    string `json:"lead_pair"`
	} `json:"coil_sets"`
}

func (j *jscheme) domain() winding.Scheme {
	s := winding.Scheme{Poles: j.Poles}
	for _, c := range j.CoilSets {
		set := winding.CoilSet{Role: winding.Role(c.Role), Ring: winding.RingName(c.Ring), ParallelPaths: c.ParallelPaths, Mass: c.Mass.m, MassState: c.MassState, Resistance: c.Resistance.m, Temperature: c.Temperature.m, LeadPair: c.LeadPair}
		for _, w := range c.Wires {
			set.Wires = append(set.Wires, wire.Wire{System: wire.System(w.System), Size: w.Size, Conductor: wire.Conductor(w.Conductor), Build: wire.Build(w.Build), Strands: w.Strands, Diameter: w.Diameter.m})
		}
		if p := c.Pattern; p != nil {
			set.Pattern = &winding.Pattern{Kind: winding.PatternKind(p.Kind), Throws: p.Throws, Turns: p.Turns, Groups: p.Groups, FirstSlot: p.FirstSlot, Alternate: p.Alternate}
		}
		for _, k := range c.Coils {
			set.Coils = append(set.Coils, winding.Coil{In: k.In, Out: k.Out, Turns: k.Turns})
		}
		s.CoilSets = append(s.CoilSets, set)
	}
	return s
}

type jwinding struct {
	ID        string
	CoreID    string `json:"core_id"`
	FamilyID  string `json:"family_id"`
	Core      *jcore `json:"core_as_measured"`
	MotorType string `json:"motor_type"`
	Origin    string
	Nameplate jplate
	Scheme    jscheme
	TimesSeen int `json:"times_seen"`
}

func (j *jwinding) domain() RecordEntry {
	e := RecordEntry{ID: j.ID, CoreID: j.CoreID, FamilyID: j.FamilyID, Status: "demo", MotorType: j.MotorType, Origin: j.Origin, TimesSeen: j.TimesSeen, Nameplate: j.Nameplate.domain(), Scheme: j.Scheme.domain()}
	if j.Core != nil {
		c := j.Core.domain()
		e.CoreAsMeasured = &c
	}
	return e
}

type jquery struct {
	ID      string
	Request struct {
		Measurements jcore
		MotorType    string `json:"motor_type"`
		Nameplate    *jplate
		Supply       *struct {
			Voltage    jm `json:"voltage_v"`
			Frequency  jm `json:"frequency_hz"`
			Phases     int
			Connection string
		}
		Remains *struct {
			Wires []struct {
				Diameter           jm `json:"diameter_mm"`
				Coating, Condition string
				Role               string
				Strands            int
			}
			Coils []struct {
				Role  string
				Turns jm
			}
			Copper struct{ Main, Auxiliary, Total jm } `json:"copper_mass_g"`
		}
	}
	Truth struct {
		Kind      string
		WindingID string  `json:"winding_id"`
		CoreID    string  `json:"core_id"`
		Turns     float64 `json:"series_turns"`
		Area      float64 `json:"conductor_area_mm2"`
	}
}

func (j *jquery) domain() Query {
	q := Query{Measurements: j.Request.Measurements.domain(), MotorType: j.Request.MotorType}
	if j.Request.Nameplate != nil {
		n := j.Request.Nameplate.domain()
		q.Nameplate = &n
	}
	if s := j.Request.Supply; s != nil {
		q.Supply = &winding.Supply{Voltage: s.Voltage.m, Frequency: s.Frequency.m, Phases: s.Phases, Connection: winding.Connection(s.Connection)}
	}
	if r := j.Request.Remains; r != nil {
		q.Remains = &Remains{CopperMain: r.Copper.Main.m, CopperAuxiliary: r.Copper.Auxiliary.m, CopperTotal: r.Copper.Total.m}
		for _, w := range r.Wires {
			q.Remains.Wires = append(q.Remains.Wires, ScrapWire{Diameter: w.Diameter.m, Coating: w.Coating, Condition: w.Condition, Role: winding.Role(w.Role), Strands: w.Strands})
		}
		for _, c := range r.Coils {
			q.Remains.Coils = append(q.Remains.Coils, CoilCount{Role: winding.Role(c.Role), Turns: c.Turns.m})
		}
	}
	return q
}

type jentry struct {
	ID      string
	Request jwinding
	Truth   struct{ Slip string }
}

type jsize struct {
	ID, System, Size string
	Conductor        struct {
		D    json.Number `json:"diameter_mm"`
		DMin *float64    `json:"diameter_min_mm"`
		DMax *float64    `json:"diameter_max_mm"`
	}
	Covered []struct {
		Build string
		Inc   *float64 `json:"increase_min_mm"`
		OMin  *float64 `json:"overall_min_mm"`
		OMax  *float64 `json:"overall_max_mm"`
	}
}

// lines calls each for every line of a file, or of the same file with .gz behind its name.
func lines(t testing.TB, path string, each func(line []byte)) {
	t.Helper()
	var in io.Reader
	if f, err := os.Open(path); err == nil {
		defer f.Close()
		in = f
	} else {
		f, err := os.Open(path + ".gz")
		require.NoError(t, err)
		defer f.Close()
		in, err = gzip.NewReader(f)
		require.NoError(t, err)
	}
	sc := bufio.NewScanner(in)
	sc.Buffer(nil, 1<<22)
	for sc.Scan() {
		each(sc.Bytes())
	}
	require.NoError(t, sc.Err())
}

func orZero(p *float64) unit.Millimetre {
	if p == nil {
		return 0
	}
	return unit.Millimetre(*p)
}

// testWires is the wire table of the seeds.
var testWires = sync.OnceValue(func() *wire.Table {
	f, err := os.ReadFile(filepath.Join("..", "..", "seeds", "wires.jsonl"))
	if err != nil {
		panic(err)
	}
	var sizes []wire.Size
	for line := range bytes.Lines(f) {
		var l struct {
			Kind string
			Body jsize
		}
		if err := json.Unmarshal(line, &l); err != nil {
			panic(err)
		}
		if l.Kind != "wire" {
			continue
		}
		d, _ := l.Body.Conductor.D.Float64()
		s := wire.Size{ID: l.Body.ID, System: wire.System(l.Body.System), Size: l.Body.Size, Text: l.Body.Conductor.D.String(), Diameter: unit.Millimetre(d), DiameterMin: orZero(l.Body.Conductor.DMin), DiameterMax: orZero(l.Body.Conductor.DMax)}
		for _, c := range l.Body.Covered {
			if c.OMax != nil {
				s.Covers = append(s.Covers, wire.Cover{Build: wire.Build(c.Build), IncreaseMin: orZero(c.Inc), OverallMin: orZero(c.OMin), OverallMax: orZero(c.OMax)})
			}
		}
		sizes = append(sizes, s)
	}
	table, err := wire.NewTable(sizes)
	if err != nil {
		panic(err)
	}
	return table
})

// world is a catalogue with its questions.
type world struct {
	index   *Index
	queries []jquery
	entries []jentry
	records []jwinding
}

func loadWorld(t testing.TB, dir string) world {
	t.Helper()
	b := NewBuilder(testWires())
	var w world
	w.records = loadCatalogue(t, dir, b)
	w.index = b.Build()
	lines(t, filepath.Join(dir, "queries.jsonl"), func(line []byte) {
		var q jquery
		require.NoError(t, json.Unmarshal(line, &q))
		w.queries = append(w.queries, q)
	})
	lines(t, filepath.Join(dir, "entries.jsonl"), func(line []byte) {
		var e jentry
		require.NoError(t, json.Unmarshal(line, &e))
		w.entries = append(w.entries, e)
	})
	return w
}

// loadCatalogue adds a catalogue to a builder and returns its records.
func loadCatalogue(t testing.TB, dir string, b *Builder) (records []jwinding) {
	t.Helper()
	lines(t, filepath.Join(dir, "catalogue.jsonl"), func(line []byte) {
		var l struct {
			Kind string
			Body json.RawMessage
		}
		require.NoError(t, json.Unmarshal(line, &l))
		switch l.Kind {
		case "family":
			var f struct {
				ID, Application string
				Core            jcore
				Cores           []struct {
					ID    string
					Stack jm `json:"stack_length_mm"`
				}
			}
			require.NoError(t, json.Unmarshal(l.Body, &f))
			e := FamilyEntry{ID: f.ID, Application: f.Application, Core: f.Core.domain()}
			for _, c := range f.Cores {
				e.Cores = append(e.Cores, CoreEntry{ID: c.ID, StackLength: c.Stack.m})
			}
			b.AddFamily(e)
		case "winding":
			var r jwinding
			require.NoError(t, json.Unmarshal(l.Body, &r))
			b.AddRecord(r.domain())
			records = append(records, r)
		}
	})
	return records
}

// sampleWorld is the world of testdata, loaded once.
var sampleWorld = sync.OnceValue(func() *world {
	w := loadWorld(panicTB{}, filepath.Join("testdata", "worlds", "sample"))
	return &w
})

// panicTB serves helpers outside any test.
type panicTB struct{ testing.TB }

func (panicTB) Helper()                           {}
func (panicTB) Errorf(format string, args ...any) { panic(fmt.Sprintf(format, args...)) }
func (panicTB) FailNow()                          { panic("failed") }
