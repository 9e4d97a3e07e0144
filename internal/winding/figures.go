package winding

// Fill is the share of a slot area that is used, in the three definitions of the trade: copper =
// conductors × πd²/4, circle = conductors × πDo²/4, square = conductors × Do², each over the slot
// area. Do is the overall diameter with enamel; 0 in Circle and Square when it is not known.
type Fill struct {
	Copper, Circle, Square float64
}

// ToothDensity is the peak flux density of one kind of tooth, in tesla.
type ToothDensity struct {
	Ring RingName
	Part string // tooth|slit_leg
	T    float64
}

// Densities holds the peak flux densities in tesla; 0 or empty where the core does not tell.
type Densities struct {
	Gap      float64
	Teeth    []ToothDensity
	BackIron float64
}
