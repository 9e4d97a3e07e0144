package diagram_test

import (
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"statorbook/internal/diagram"
	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden drawings")

func length(v float64, text string) unit.Measured {
	return unit.Measured{Given: true, Value: v, Text: text}
}

func yes() *bool { b := true; return &b }

// pump is a 24-slot, 4-pole single-phase stator with the layout that NIMI CITS Electrician Trade
// Theory vol. 2 p. 196 prints (main 1-6, 2-5; start 4-9); its dimensions are invented.
func pump() diagram.Input {
	return diagram.Input{
		Title: "demo pump 24/4", Status: "demo", MotorType: "permanent_split_capacitor",
		Core: stator.Core{
			Phases: 1, RotorPosition: stator.RotorInside, Slots: 24,
			GapDiameter: length(66, "66.0"), BackDiameter: length(112, "112.0"), StackLength: length(45, "45"),
			ToothWidth: length(4.1, "4.10"), SlotDepth: length(11.5, "11.5"), SlotOpening: length(2.2, "2.2"), BackIron: length(11.5, "11.5"),
			SlotArea: length(68, "68"), SlotAreaBasis: stator.AreaNet,
		},
		Scheme: winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{
			{Role: winding.Main, Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{6, 4}, Turns: []float64{153, 126}, Groups: 4, FirstSlot: 1, Alternate: yes()}},
			{Role: winding.Auxiliary, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Turns: []float64{180}, Groups: 4, FirstSlot: 4, Alternate: yes()}},
		}},
	}
}

// fan is a two-ring ceiling-fan stator, 14 slots in each ring.
func fan() diagram.Input {
	return diagram.Input{
		Title: "demo ceiling fan 14+14", Status: "demo", MotorType: "permanent_split_capacitor",
		Core: stator.Core{
			Phases: 1, RotorPosition: stator.RotorOutside, Slots: 14,
			GapDiameter: length(124, "124.00"), BackDiameter: length(28, "28.0"), StackLength: length(20, "20.0"),
			ToothWidth: length(12, "12.0"), SlotDepth: length(10, "10.0"), SlotOpening: length(2.8, "2.8"),
			SecondRing: &stator.Ring{Slots: 14, ToothWidth: length(8, "8.0"), SlotDepth: length(9, "9.0"), SlotOpening: length(2.5, "2.5"), TurnedSlots: length(0.5, "0.5")},
		},
		Scheme: winding.Scheme{Poles: 14, CoilSets: []winding.CoilSet{
			{Role: winding.Main, Ring: winding.RingGap, Pattern: &winding.Pattern{Kind: winding.Tooth, Throws: []int{2}, Turns: []float64{280}, Groups: 14, FirstSlot: 1, Alternate: yes()}},
			{Role: winding.Auxiliary, Ring: winding.RingBack, Pattern: &winding.Pattern{Kind: winding.Tooth, Throws: []int{2}, Turns: []float64{285}, Groups: 14, FirstSlot: 1, Alternate: yes()}},
		}},
	}
}

// threePhase is a 24-slot, 4-pole double-layer lap winding in star.
func threePhase() diagram.Input {
	in := pump()
	in.Title, in.MotorType, in.Connection = "demo three-phase 24/4", "three_phase_cage", winding.ConnStar
	in.Core.Phases = 3
	in.Scheme = winding.Scheme{Poles: 4}
	for _, role := range []winding.Role{winding.PhaseU, winding.PhaseV, winding.PhaseW} {
		in.Scheme.CoilSets = append(in.Scheme.CoilSets, winding.CoilSet{Role: role, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Turns: []float64{48}, Groups: 8}})
	}
	return in
}

func inputs() map[string]diagram.Input {
	return map[string]diagram.Input{"pump": pump(), "fan": fan(), "three-phase": threePhase()}
}

// texts collects what a reader sees as text.
func texts(t *testing.T, svg []byte) string {
	t.Helper()
	var all strings.Builder
	for d := xml.NewDecoder(strings.NewReader(string(svg))); ; {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return all.String()
		}
		require.NoError(t, err)
		if data, ok := tok.(xml.CharData); ok {
			all.Write(data)
			all.WriteByte('\n')
		}
	}
}

func TestGolden(t *testing.T) {
	t.Parallel()
	for name, in := range inputs() {
		for _, view := range diagram.Views() {
			svg, err := diagram.SVG(view, in)
			require.NoError(t, err, "%s %s", name, view)
			again, err := diagram.SVG(view, in)
			require.NoError(t, err)
			require.Equal(t, string(svg), string(again), "the same input must give the same bytes")
			file := filepath.Join("testdata", name+"-"+string(view)+".svg")
			if *update {
				require.NoError(t, os.MkdirAll("testdata", 0o755))
				require.NoError(t, os.WriteFile(file, svg, 0o644))
			}
			want, err := os.ReadFile(file)
			require.NoError(t, err)
			require.Equal(t, string(want), string(svg), file)
		}
	}
}

func TestDrawingsTellWhatTheyShow(t *testing.T) {
	t.Parallel()
	cases := []struct {
		in   diagram.Input
		view diagram.View
		want []string
	}{
		{pump(), diagram.ViewCore, []string{"gap diameter: 66.0 mm", "tooth width: 4.10 mm", "slot area, net: 68 mm2", "status: demo"}},
		{fan(), diagram.ViewCore, []string{"second ring behind: 14 slots", "rotor outside"}},
		// The coil list of NIMI CITS Electrician Trade Theory vol. 2 p. 196: main 1-6, 2-5, every other group reversed.
		{pump(), diagram.ViewSlots, []string{"1>6 x 153, 2>5 x 126, 12>7 x 153, 11>8 x 126", "4>9 x 180, 15>10 x 180"}},
		{fan(), diagram.ViewSlots, []string{"main (solid line), 14 coils", "auxiliary (dashed line, second ring), 14 coils"}},
		{pump(), diagram.ViewConnection, []string{"finish (slot 5) to finish (slot 12)", "start (slot 8) to start (slot 13)", "capacitor between R1 and S1"}},
		{threePhase(), diagram.ViewConnection, []string{"U2, V2 and W2 joined", "phase W (dash-and-dot line): 4 groups"}},
	}
	for _, c := range cases {
		svg, err := diagram.SVG(c.view, c.in)
		require.NoError(t, err)
		got := strings.ReplaceAll(texts(t, svg), "\n  ", " ")
		for _, want := range c.want {
			require.Contains(t, got, want, "%s %s", c.in.Title, c.view)
		}
		require.Contains(t, string(svg), "<title id=\"title\">", "screen readers need a title")
	}
}

func TestTextNeverBecomesMarkup(t *testing.T) {
	t.Parallel()
	in := pump()
	in.Title = `</title><script>alert(1)</script>"'&`
	for _, view := range diagram.Views() {
		svg, err := diagram.SVG(view, in)
		require.NoError(t, err)
		require.NotContains(t, string(svg), "<script")
		require.Contains(t, texts(t, svg), in.Title)
	}
}

func TestEveryNumberIsFiniteAndInside(t *testing.T) {
	t.Parallel()
	for _, in := range inputs() {
		for _, view := range diagram.Views() {
			svg, err := diagram.SVG(view, in)
			require.NoError(t, err)
			require.NotContains(t, string(svg), "NaN")
			require.NotContains(t, string(svg), "Inf")
			require.NotContains(t, string(svg), "href", "no external part")
		}
	}
}

func TestTooLittleIsRefusedByField(t *testing.T) {
	t.Parallel()
	empty := diagram.Input{Title: "demo", Status: "demo"}
	for view, field := range map[diagram.View]string{diagram.ViewCore: "/core/gap_diameter_mm", diagram.ViewSlots: "/core/slots", diagram.ViewConnection: "/core/slots"} {
		_, err := diagram.SVG(view, empty)
		require.Equal(t, errs.KindImpossible, errs.KindOf(err))
		var e *errs.Error
		require.ErrorAs(t, err, &e)
		require.Equal(t, field, e.Fields[0].Pointer)
	}
	_, err := diagram.SVG("map", pump())
	require.Equal(t, errs.KindSyntax, errs.KindOf(err))
}

func TestPartialCoresAreDrawn(t *testing.T) {
	t.Parallel()
	in := pump()
	in.Core.ToothWidth, in.Core.SlotDepth, in.Core.BackDiameter = unit.Measured{}, unit.Measured{}, unit.Measured{}
	svg, err := diagram.SVG(diagram.ViewCore, in)
	require.NoError(t, err)
	require.Contains(t, texts(t, svg), "24 slots at the gap")
	require.NotContains(t, texts(t, svg), "tooth width")
}
