package winding

import (
	"math"

	"statorbook/internal/unit"
)

// SynchronousSpeed is 120·f/P in 1/min. No poles give 0.
func SynchronousSpeed(f unit.Hertz, poles int) unit.RevolutionPerMinute {
	if poles <= 0 {
		return 0
	}
	return unit.RevolutionPerMinute(120 * float64(f) / float64(poles))
}

// Slip is (ns - n)/ns as a fraction; above the synchronous speed it is negative.
func Slip(synchronous, speed unit.RevolutionPerMinute) float64 {
	return float64((synchronous - speed) / synchronous)
}

// SpeedAtSlip is ns·(1 - s).
func SpeedAtSlip(synchronous unit.RevolutionPerMinute, slip float64) unit.RevolutionPerMinute {
	return synchronous * unit.RevolutionPerMinute(1-slip)
}

// PolesFromSpeed is the largest even number of poles whose synchronous speed is not below a
// nameplate speed: 2·floor(60·f/n). A fan with 10 to 25 % slip can fool it: count the coil groups
// instead. 0 when the speed is above that of two poles, or not positive.
func PolesFromSpeed(f unit.Hertz, speed unit.RevolutionPerMinute) int {
	if !(speed > 0) || !(f > 0) {
		return 0
	}
	p := 2 * math.Floor(60*float64(f)/float64(speed)*(1+1e-9))
	if p > MaxPoles {
		return 0
	}
	return int(p)
}

// PolesFromBackIron is a rough guess from back iron and gap diameter, to the nearest even number:
// 0.18·π·D/h, off by a third either way (derived from usual densities). 0 without both.
func PolesFromBackIron(gap, iron unit.Millimetre) int {
	if gap <= 0 || iron <= 0 {
		return 0
	}
	return max(2, 2*nearest(0.09*math.Pi*float64(gap)/float64(iron)))
}

// SlotsFor is slots of a winding: slots per pole per phase × phases × poles.
func SlotsFor(perPolePerPhase float64, phases, poles int) float64 {
	return perPolePerPhase * float64(phases*poles)
}

// PitchFactor is cos(h·α/2) of a coil that is short by α electrical degrees, for harmonic h. It
// keeps its sign, as printed tables do.
func PitchFactor(shortDeg float64, harmonic int) float64 {
	return math.Cos(float64(harmonic) * shortDeg / 2 * math.Pi / 180)
}

// DistributionFactor is sin(h·q·β/2)/(q·sin(h·β/2)) of q coils that stand β electrical degrees apart, for
// harmonic h; q need not be 60° wide. It keeps its sign; coils that all add up give ±1.
func DistributionFactor(q int, betaDeg float64, harmonic int) float64 {
	half := float64(harmonic) * betaDeg / 2 * math.Pi / 180
	if math.Abs(math.Sin(half)) < 1e-12 {
		return math.Cos(float64(q)*half) / math.Cos(half)
	}
	return math.Sin(float64(q)*half) / (float64(q) * math.Sin(half))
}

// SineTurns shares turns among concentric coils of the given spans so that they follow a sine:
// shares in the order of the spans, sum 1. Nil when the spans enclose nothing.
func SineTurns(spans []int, slots, poles int) []float64 {
	out := make([]float64, len(spans))
	sum := 0.0
	for i, y := range spans {
		out[i] = math.Abs(math.Sin(math.Pi / 2 * float64(y*poles) / float64(slots)))
		sum += out[i]
	}
	if sum <= 0 {
		return nil
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}
