package winding

import (
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// Densities by which the reference density of a core is set: teeth and back iron in T for an inside
// rotor, and for an outside one, whose long thin paths are worked a little lower (common practice, no source).
const (
	refToothInside  = 1.5
	refToothOutside = 1.4
	refIronInside   = 1.4
	refIronOutside  = 1.3
)

// ReferenceDensity is the average gap density in T that a designer would give a core: the tooth
// limit T and the back-iron limit Y joined as (T^-4 + Y^-4)^(-1/4), the tooth term by the exact form. With one
// of the two unknown the other stands alone. ok is false without gap diameter, poles and slots, or with neither limit.
func ReferenceDensity(core stator.Core, poles int) (density unit.Tesla, ok bool) {
	tau, ok := stator.PolePitch(core, poles)
	if !ok {
		return 0, false
	}
	tooth, iron := refToothInside, refIronInside
	if core.RotorPosition == stator.RotorOutside {
		tooth, iron = refToothOutside, refIronOutside
	}
	inverse := 0.0
	if core.ToothWidth.Given && core.ToothWidth.Value > 0 && core.Slots > 0 {
		share := math.Sin(math.Pi * float64(poles) / (2 * float64(core.Slots)))
		if share > 0 {
			inverse += math.Pow(tooth*core.ToothWidth.Value*DefaultStacking/(float64(tau)*share), -4)
		}
	}
	if hy, known := stator.BackIronOf(core); known {
		inverse += math.Pow(2*iron*float64(hy.Value)*DefaultStacking/float64(tau), -4)
	}
	if inverse <= 0 {
		return 0, false
	}
	return unit.Tesla(math.Pow(inverse, -0.25)), true
}
