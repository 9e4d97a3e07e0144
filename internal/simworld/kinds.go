package simworld

import (
	"statorbook/internal/stator"
)

// span is a closed range of a design figure.
type span struct{ low, high float64 }

// build is one pair of slots (per ring) and poles that a kind of machine is made with.
type build struct {
	slots, poles int
	weight       float64
}

// kind is one kind of machine: what its laminations and its windings look like. The figures are
// common practice from memory; the bands they must stay in are those of the tests.
type kind struct {
	key         string
	application string // as in catalog.Family
	words       string // for titles
	phases      int
	rotor       stator.RotorPosition
	twoRings    bool
	builds      []build
	gap         span    // mm, gap diameter of a 4-pole build; other pole counts scale by growth
	growth      float64 // gap diameter grows as (poles/4)^growth
	stack       span    // stack length / gap diameter
	gapT        float64 // T, average over the pole
	depth       float64 // slot depth / (gap diameter + 30 mm)
	density     float64 // A/mm² in the main winding
	plate       []float64
	plateIsIn   bool    // the plate gives input power, as fans do
	efficiency  float64 // at the middle of the plate powers
	cosPhi      float64
	slip        float64
	backEMF     float64 // kE
	auxTurns    span    // effective turns, auxiliary / main
	auxArea     span    // copper area, auxiliary / main
	alike       float64 // chance that both windings are alike
	capacitor   bool    // a run capacitor
	motorTypes  []string
	half        float64 // chance of half-coil (consequent) groups
	weight      float64 // share of a world's laminations
}

// The preferred plate powers in W: inputs of fans, outputs of other machines.
var (
	fanInputs    = []float64{18, 22, 26, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80, 85, 90, 100, 110, 125, 140, 160, 180, 200, 230}
	smallOutputs = []float64{6, 8, 10, 12, 15, 18, 20, 25, 30, 35, 40, 45, 50, 60, 65, 75, 80, 90, 100, 110, 120, 135, 150, 165, 180, 200, 220, 250, 300, 370, 450, 550, 650, 750, 900, 1100, 1300, 1500}
	threeOutputs = []float64{40, 60, 90, 120, 180, 250, 370, 550, 750, 1100, 1500, 2200, 3000}
)

// The motor types, as in catalog.Winding.
const (
	permanentSplit  = "permanent_split_capacitor"
	capacitorStart  = "capacitor_start"
	splitPhase      = "split_phase"
	threePhaseCage  = "three_phase_cage"
	factory         = "factory"
	rewound         = "previously_rewound"
	unknownOrigin   = "unknown"
	ceilingFanKey   = "ceiling_fan"
	washingKey      = "washing_machine"
	generalThreeKey = "three_phase"
)

// kinds is every kind of machine made here. Commutator motors are left out on purpose: their
// fields and armatures are not stators of the kind that is matched.
var kinds = []kind{
	{key: ceilingFanKey, application: "ceiling_fan", words: "two-ring ceiling fan", phases: 1, rotor: stator.RotorOutside, twoRings: true,
		builds: []build{{12, 12, 2}, {14, 14, 5}, {16, 16, 3}, {18, 18, 2}}, gap: span{96, 104}, growth: 0.18, stack: span{0.15, 0.26},
		gapT: 0.36, depth: 0.062, density: 4.1, plate: fanInputs, plateIsIn: true, efficiency: 0.35, cosPhi: 0.95, slip: 0.17, backEMF: 0.86,
		auxTurns: span{0.97, 1.25}, auxArea: span{0.7, 1.0}, alike: 0.55, capacitor: true, motorTypes: []string{permanentSplit}, half: 0.4, weight: 0.2},
	{key: "table_fan", application: "table_fan", words: "table fan", phases: 1, rotor: stator.RotorInside,
		builds: []build{{8, 4, 3}, {16, 4, 4}, {12, 4, 1}}, gap: span{38, 48}, stack: span{0.38, 0.75},
		gapT: 0.37, depth: 0.15, density: 4.4, plate: fanInputs, plateIsIn: true, efficiency: 0.3, cosPhi: 0.93, slip: 0.1, backEMF: 0.87,
		auxTurns: span{1.0, 1.5}, auxArea: span{0.5, 0.9}, alike: 0.1, capacitor: true, motorTypes: []string{permanentSplit}, weight: 0.1},
	{key: "exhaust_fan", application: "exhaust_fan", words: "exhaust fan", phases: 1, rotor: stator.RotorInside,
		builds: []build{{12, 4, 2}, {12, 6, 2}, {16, 8, 2}, {8, 4, 1}, {12, 2, 1}}, gap: span{44, 58}, growth: 0.25, stack: span{0.35, 0.6},
		gapT: 0.37, depth: 0.15, density: 4.4, plate: fanInputs, plateIsIn: true, efficiency: 0.35, cosPhi: 0.92, slip: 0.1, backEMF: 0.87,
		auxTurns: span{1.0, 1.5}, auxArea: span{0.5, 0.9}, alike: 0.1, capacitor: true, motorTypes: []string{permanentSplit}, weight: 0.08},
	{key: "blower", application: "blower", words: "blower", phases: 1, rotor: stator.RotorInside,
		builds: []build{{24, 2, 2}, {24, 4, 1}}, gap: span{50, 62}, growth: 0.1, stack: span{0.55, 1.0},
		gapT: 0.40, depth: 0.15, density: 5.4, plate: smallOutputs, efficiency: 0.5, cosPhi: 0.93, slip: 0.07, backEMF: 0.92,
		auxTurns: span{1.0, 1.5}, auxArea: span{0.45, 0.85}, capacitor: true, motorTypes: []string{permanentSplit}, weight: 0.06},
	{key: "pump", application: "pump", words: "pump", phases: 1, rotor: stator.RotorInside,
		builds: []build{{24, 2, 3}, {24, 4, 2}, {36, 4, 2}}, gap: span{60, 80}, growth: 0.18, stack: span{0.6, 1.15},
		gapT: 0.41, depth: 0.145, density: 5.4, plate: smallOutputs, efficiency: 0.6, cosPhi: 0.93, slip: 0.055, backEMF: 0.93,
		auxTurns: span{1.05, 1.5}, auxArea: span{0.45, 0.8}, capacitor: true, motorTypes: []string{permanentSplit, permanentSplit, capacitorStart}, weight: 0.14},
	{key: "grinder", application: "grinder", words: "wet grinder", phases: 1, rotor: stator.RotorInside,
		builds: []build{{24, 4, 3}, {36, 4, 1}}, gap: span{62, 74}, stack: span{0.5, 0.9},
		gapT: 0.40, depth: 0.145, density: 5.2, plate: smallOutputs, efficiency: 0.5, cosPhi: 0.92, slip: 0.06, backEMF: 0.92,
		auxTurns: span{1.05, 1.45}, auxArea: span{0.45, 0.8}, capacitor: true, motorTypes: []string{permanentSplit, permanentSplit, splitPhase}, weight: 0.06},
	{key: "air_cooler", application: "air_cooler", words: "air cooler", phases: 1, rotor: stator.RotorInside,
		builds: []build{{24, 4, 2}, {16, 4, 1}, {36, 6, 1}}, gap: span{52, 66}, growth: 0.35, stack: span{0.4, 0.75},
		gapT: 0.39, depth: 0.15, density: 5.2, plate: smallOutputs, efficiency: 0.45, cosPhi: 0.93, slip: 0.08, backEMF: 0.91,
		auxTurns: span{1.0, 1.45}, auxArea: span{0.5, 0.85}, capacitor: true, motorTypes: []string{permanentSplit}, weight: 0.05},
	{key: washingKey, application: "washing_machine", words: "washing machine", phases: 1, rotor: stator.RotorInside,
		builds: []build{{24, 4, 3}, {36, 6, 1}}, gap: span{62, 74}, growth: 0.3, stack: span{0.35, 0.7},
		gapT: 0.40, depth: 0.15, density: 4.8, plate: smallOutputs, efficiency: 0.5, cosPhi: 0.93, slip: 0.07, backEMF: 0.91,
		auxTurns: span{0.99, 1.01}, auxArea: span{1, 1}, alike: 1, capacitor: true, motorTypes: []string{permanentSplit}, weight: 0.05},
	{key: generalThreeKey, application: "general", words: "small three-phase motor", phases: 3, rotor: stator.RotorInside,
		builds: []build{{24, 2, 3}, {24, 4, 3}, {36, 2, 2}, {36, 4, 4}, {36, 6, 3}, {48, 4, 1}}, gap: span{62, 100}, growth: 0.2, stack: span{0.6, 1.25},
		gapT: 0.45, depth: 0.135, density: 5.5, plate: threeOutputs, efficiency: 0.72, cosPhi: 0.76, slip: 0.055, backEMF: 0.945,
		motorTypes: []string{threePhaseCage}, half: 0.5, weight: 0.26},
}

// kindOf returns the kind with that key; the keys are this package's own.
func kindOf(key string) *kind {
	for i := range kinds {
		if kinds[i].key == key {
			return &kinds[i]
		}
	}
	panic("simworld: no kind " + key)
}
