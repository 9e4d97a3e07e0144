package simworld

import "statorbook/internal/winding"

// weightedSupply is a supply with how common it is.
type weightedSupply struct {
	supply
	weight float64
}

// The supplies that machines are made for: the nominal voltages of IEC 60038 and older neighbours
// of them; the weights are ours.
var (
	singleSupplies = []weightedSupply{
		{supply{230, 50, winding.ConnSingle}, 0.55}, {supply{220, 50, winding.ConnSingle}, 0.14}, {supply{240, 50, winding.ConnSingle}, 0.13},
		{supply{220, 60, winding.ConnSingle}, 0.06}, {supply{115, 60, winding.ConnSingle}, 0.07}, {supply{127, 60, winding.ConnSingle}, 0.03}, {supply{110, 50, winding.ConnSingle}, 0.02},
	}
	threeSupplies = []weightedSupply{
		{supply{400, 50, winding.ConnStar}, 0.44}, {supply{415, 50, winding.ConnStar}, 0.17}, {supply{380, 50, winding.ConnStar}, 0.1},
		{supply{400, 50, winding.ConnDelta}, 0.1}, {supply{230, 50, winding.ConnDelta}, 0.08}, {supply{440, 60, winding.ConnStar}, 0.06}, {supply{220, 60, winding.ConnDelta}, 0.05},
	}
)

// drawSupply draws what a machine of a kind is made for.
func drawSupply(d dice, k *kind) supply {
	list := singleSupplies
	if k.phases == 3 {
		list = threeSupplies
	}
	weights := make([]float64, len(list))
	for i := range list {
		weights[i] = list[i].weight
	}
	return list[d.index(weights...)].supply
}
