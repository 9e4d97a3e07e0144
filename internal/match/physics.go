package match

import "math"

// The reference design, common practice: what the iron of a small machine is asked to carry. What
// makers really do is learned from the catalogue as the residual; the reference only has to put
// cores of unlike proportions on one scale. Sources of the forms: package winding.
const (
	refToothIn, refToothOut = 1.5, 1.4 // T
	refYokeIn, refYokeOut   = 1.4, 1.3 // T
	refStacking             = 0.95
	emfConstant             = math.Sqrt2 * math.Pi // E = √2·π·f·N·kw·Φ
)

// site is a core on which a winding is predicted: lamination, stack, and how well both are known.
type site struct {
	v                       vec
	slots                   float64
	rotor                   uint8
	second                  bool
	stack                   float64 // mm
	rvTooth, rvYoke, rvArea float64 // relative variances
	rvStack                 float64
	lnD, lnL, lnQ, lnKt     float64 // centred logarithms for the features
	lnTooth                 float64 // ln of bt·0.95·B in T·mm
	lnYoke                  float64 // ln of 2·hy·0.95·B in T·mm
	lnSlotRoom              float64 // ln(slot area × slots), mm²
	lnGapLength             float64 // ln(π·D·L·1e-6), m²
}

// prepare computes what all designs on the site share.
func (s *site) prepare() {
	s.lnD, s.lnL, s.lnQ = math.Log(s.v[dGap]/70), math.Log(s.stack/40), math.Log(s.slots/24)
	s.lnKt = math.Log(s.v[dTooth] * s.slots / (math.Pi * s.v[dGap]) / 0.5)
	bt, by := refToothIn, refYokeIn
	if s.rotor == rotorOutside {
		bt, by = refToothOut, refYokeOut
	}
	s.lnTooth = math.Log(bt * s.v[dTooth] * refStacking)
	s.lnYoke = math.Log(2 * by * s.v[dYoke] * refStacking)
	s.lnSlotRoom = math.Log(s.v[dArea] * s.slots)
	s.lnGapLength = math.Log(math.Pi * s.v[dGap] * s.stack * 1e-6)
}

// reference gives ln of the average gap density that the reference design allows, ln(yoke limit /
// tooth limit), and how strongly the density follows the tooth (1) or the yoke (0).
func (s *site) reference(poles float64) (lnB, lnYT, toothShare float64) {
	tau := math.Pi * s.v[dGap] / poles
	half := math.Min(math.Pi*poles/(2*s.slots), math.Pi/2)
	t := s.lnTooth - math.Log(tau*math.Sin(half))
	y := s.lnYoke - math.Log(tau)
	lnYT = y - t
	// [(T)^-4 + (Y)^-4]^(-1/4) in logarithms.
	e := math.Exp(-4 * lnYT) // (Y/T)^-4
	return t - 0.25*math.Log1p(e), lnYT, 1 / (1 + e)
}

// nY is the number of features of the two winding regressions; the last is the power.
const nY = 15

// features fills the features of the winding regressions. lnPower is ln(W/200), 0 when not known.
func (s *site) features(poles, freq float64, phases int, lnYT, lnPower float64, x *[nY]float64) {
	fan, tri := 0.0, 0.0
	if s.rotor == rotorOutside {
		fan = 1
	}
	if phases == 3 {
		tri = 1
	}
	lnP := math.Log(poles / 4)
	*x = [nY]float64{1, fan, tri, s.lnQ, lnP, s.lnD, s.lnL, math.Log(freq / 50), s.lnKt, max(min(lnYT, 2), -2), fan * s.lnD, tri * lnP, tri * s.lnD, fan * s.lnL, lnPower}
}

// lnTurnsFactor is ln(N·kw) + ln B for a phase voltage: N·kw·B = V/(√2π·f·τ·L).
func (s *site) lnTurnsFactor(volts, freq, poles float64) float64 {
	return math.Log(volts/(emfConstant*freq)) - s.lnGapLength + math.Log(poles)
}
