package simworld

import "math"

// constants are the figures of the world that a perturbed world shifts. All are common practice
// from memory or choices of ours; none was taken from a real motor or from another world.
type constants struct {
	// laminations
	CopyShare   float64 // chance that a lamination is a near copy of an earlier one
	CopyGap     float64 // mm, how far a copy's gap diameter moves
	CopyEdit    float64 // relative size of an edit of a copied dimension
	CopyEdits   float64 // chance that any one dimension is edited
	ToothT      float64 // T, what teeth are sized for
	ToothSpread float64 // log sd
	IronT       float64 // T, what back iron is sized for
	IronSpread  float64
	GapSpread   float64 // of the average gap density
	DepthSpread float64
	Opening     float64 // mm
	Liner       float64 // mm, slot liner
	StackGrowth float64 // ratio between neighbouring stacks of a family
	CoresMean   float64 // cores of a family
	RecordsMean float64 // records of a core
	Aluminium   float64 // chance that a record is aluminium
	OtherPoles  float64 // chance that a record uses other poles than its lamination was made for
	SnapBack    float64 // chance that the outer diameter is a multiple of 5 mm
	// designers
	LimitTooth  float64 // T, at which a designer stops
	LimitIron   float64
	MakerB      float64 // log sd of the flux that a maker goes to
	FamilyB     float64
	RecordB     float64
	Fill        float64 // enamelled square fill of the fullest slot
	FillSpread  float64
	EndFactor   float64 // overhang / arc of the coil
	EndSpread   float64
	EndStraight float64 // mm, straight runs of both ends of a turn together
	MaxBare     float64 // mm, thickest single wire that is wound by hand
	Density     float64 // factor on the current density
	Popularity  float64 // log sd of times_seen
	// recorders
	MassScatter float64 // log sd
	OhmScatter  float64
	DrawnShare  float64 // chance that a record's dimensions are those of the drawing
	RecordGross float64 // chance of a gross error in one dimension of a record
	RecordMiss  float64 // scale of the chances that a record lacks a dimension
	// technicians with a stator on the bench
	Caliper    float64 // scale of all reading errors
	Bias       float64 // mm, one error common to all readings of a session
	Burr       float64 // mm, teeth read wide
	Gross      float64 // chance of a gross error in one reading
	Miscount   float64 // chance that slots are miscounted
	Miss       float64 // scale of the chances that a dimension is not read
	PlateLost  float64 // chance that the plate is gone
	PlateError float64 // chance that one figure of the plate is misread
	Scrap      float64 // chance of a piece of wire
	Burnt      float64 // relative loss of diameter of burnt copper
	Copper     float64 // chance that copper was weighed
	Told       float64 // chance that the supply on site is told
}

// usual returns the constants of an unperturbed world.
func usual() constants {
	return constants{
		CopyShare: 0.35, CopyGap: 0.3, CopyEdit: 0.035, CopyEdits: 0.45,
		ToothT: 1.5, ToothSpread: 0.055, IronT: 1.3, IronSpread: 0.07, GapSpread: 0.06, DepthSpread: 0.1,
		Opening: 2.2, Liner: 0.22, StackGrowth: 1.22, CoresMean: 2.6, RecordsMean: 2.3, Aluminium: 0.04, OtherPoles: 0.08, SnapBack: 0.4,
		LimitTooth: 1.5, LimitIron: 1.34, MakerB: 0.035, FamilyB: 0.03, RecordB: 0.035,
		Fill: 0.66, FillSpread: 0.045, EndFactor: 1.35, EndSpread: 0.03, EndStraight: 20, MaxBare: 0.8, Density: 1, Popularity: 1.0,
		MassScatter: 0.015, OhmScatter: 0.012, DrawnShare: 0.5, RecordGross: 0.003, RecordMiss: 1,
		Caliper: 1, Bias: 0.04, Burr: 0.04, Gross: 0.02, Miscount: 0.015, Miss: 1,
		PlateLost: 0.35, PlateError: 0.02, Scrap: 0.55, Burnt: 0.02, Copper: 0.35, Told: 0.4,
	}
}

// shifts lists each constant with how far a perturbed world may move it: the log sd of a factor.
// Chances are kept below 1.
func (c *constants) shifts() []struct {
	at   *float64
	size float64
} {
	type shift = struct {
		at   *float64
		size float64
	}
	return []shift{
		{&c.CopyShare, 0.25}, {&c.CopyGap, 0.3}, {&c.CopyEdit, 0.3}, {&c.CopyEdits, 0.2},
		{&c.ToothT, 0.03}, {&c.ToothSpread, 0.25}, {&c.IronT, 0.03}, {&c.IronSpread, 0.25}, {&c.GapSpread, 0.25}, {&c.DepthSpread, 0.25},
		{&c.Opening, 0.08}, {&c.Liner, 0.15}, {&c.StackGrowth, 0.03}, {&c.CoresMean, 0.15}, {&c.RecordsMean, 0.15}, {&c.Aluminium, 0.3}, {&c.OtherPoles, 0.3}, {&c.SnapBack, 0.25},
		{&c.LimitTooth, 0.03}, {&c.LimitIron, 0.03}, {&c.MakerB, 0.25}, {&c.FamilyB, 0.25}, {&c.RecordB, 0.25},
		{&c.Fill, 0.03}, {&c.FillSpread, 0.2}, {&c.EndFactor, 0.05}, {&c.EndSpread, 0.25}, {&c.EndStraight, 0.15}, {&c.MaxBare, 0.1}, {&c.Density, 0.05}, {&c.Popularity, 0.15},
		{&c.MassScatter, 0.25}, {&c.OhmScatter, 0.25}, {&c.DrawnShare, 0.2}, {&c.RecordGross, 0.4}, {&c.RecordMiss, 0.2},
		{&c.Caliper, 0.2}, {&c.Bias, 0.3}, {&c.Burr, 0.3}, {&c.Gross, 0.3}, {&c.Miscount, 0.3}, {&c.Miss, 0.2},
		{&c.PlateLost, 0.2}, {&c.PlateError, 0.3}, {&c.Scrap, 0.2}, {&c.Burnt, 0.25}, {&c.Copper, 0.2}, {&c.Told, 0.2},
	}
}

// perturbed returns the usual constants, shifted by dice of their own when perturb is not 0.
func perturbed(perturb uint64) constants {
	c := usual()
	if perturb == 0 {
		return c
	}
	d := newDice(perturb, "constants", 0)
	for _, s := range c.shifts() {
		*s.at *= d.firm(s.size)
	}
	for _, p := range []*float64{&c.CopyShare, &c.CopyEdits, &c.SnapBack, &c.DrawnShare, &c.PlateLost, &c.Scrap, &c.Copper, &c.Told} {
		*p = math.Min(*p, 0.9)
	}
	return c
}
