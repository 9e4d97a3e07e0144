package winding

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// Power in W of the machines that this service is for, both ends inclusive: small motors (our own bound).
const ServicePowerLow, ServicePowerHigh = 5, 3000

// Hertz and volts likewise: public and site supplies.
const (
	ServiceFrequencyLow, ServiceFrequencyHigh = 45, 65
	serviceVoltLow, serviceVoltHigh           = 12, 690
)

// supplyApart is the share by which the voltage on site may lie from that on the plate: what the public supply varies
// (IEC 60038, from memory).
const supplyApart = 0.10

// SupplyDiffers tells whether a motor for plate volts may not be connected to site volts without a second thought.
// Both are above 0.
func SupplyDiffers(site, plate float64) bool { return math.Abs(site/plate-1) > supplyApart }

// beyondKnown is what a finding of this package says of a figure outside.
const beyondKnown = "this service knows: iron loss, speed, insulation and bearings ask for their own judgement"

// OutsideService names the figures of nameplate and supply, either nil if not told, that lie outside 5 W to 3 kW, 12 to
// 690 V and 45 to 65 Hz; then ends the sentence "… is outside the range that". What is not given, or no figure above 0,
// is passed over.
func OutsideService(n *Nameplate, s *Supply, then string) []errs.Finding {
	var out []errs.Finding
	check := func(field, in string, m unit.Measured, low, high float64) {
		if v := m.Value; m.Given && v > 0 && !math.IsInf(v, 0) && (v < low || v > high) {
			out = append(out, errs.Finding{Code: "outside_service_range", Severity: errs.SeverityWarning, Fields: []string{field}, Found: &v, Expected: &errs.Expected{Value: math.Min(math.Max(v, low), high), Low: low, High: high},
				Message: fmt.Sprintf("%s of %g %s is outside the %g to %g %s that %s", field, v, in, low, high, in, then)})
		}
	}
	if n != nil {
		check("nameplate.power_w", "W", n.Power, ServicePowerLow, ServicePowerHigh)
		check("nameplate.voltage_v", "V", n.Voltage, serviceVoltLow, serviceVoltHigh)
		check("nameplate.frequency_hz", "Hz", n.Frequency, ServiceFrequencyLow, ServiceFrequencyHigh)
	}
	if s != nil {
		check("supply.voltage_v", "V", s.Voltage, serviceVoltLow, serviceVoltHigh)
		check("supply.frequency_hz", "Hz", s.Frequency, ServiceFrequencyLow, ServiceFrequencyHigh)
	}
	return out
}
