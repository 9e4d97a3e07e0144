package winding

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// The machines that the rules of this package are for, in W, V and Hz, both ends inclusive: small motors on public and
// site supplies (our own bound). Beyond them they are answered with a finding.
const (
	servicePowerLow, servicePowerHigh         = 5, 3000
	serviceVoltLow, serviceVoltHigh           = 12, 690
	serviceFrequencyLow, serviceFrequencyHigh = 45, 65
)

// supplyApart is the share by which the voltage on site may lie from that on the plate: what the public supply varies
// (IEC 60038, from memory).
const supplyApart = 0.10

// SupplyDiffers tells whether a motor for plate volts may not be connected to site volts without a second thought.
// Both are above 0.
func SupplyDiffers(site, plate float64) bool { return math.Abs(site/plate-1) > supplyApart }

// outsideService names the figures of nameplate and supply that are beyond the machines known here.
func outsideService(n *Nameplate, s *Supply) []errs.Finding {
	var out []errs.Finding
	check := func(field string, m unit.Measured, low, high float64) {
		if v := m.Value; m.Given && (v < low || v > high) {
			out = append(out, errs.Finding{Code: "outside_service_range", Severity: errs.SeverityWarning, Fields: []string{field}, Found: &v, Expected: &errs.Expected{Value: math.Min(math.Max(v, low), high), Low: low, High: high},
				Message: fmt.Sprintf("%s of %g is outside the %g to %g that this service knows: iron loss, speed, insulation and bearings ask for their own judgement", field, v, low, high)})
		}
	}
	if n != nil {
		check("nameplate.power_w", n.Power, servicePowerLow, servicePowerHigh)
		check("nameplate.voltage_v", n.Voltage, serviceVoltLow, serviceVoltHigh)
		check("nameplate.frequency_hz", n.Frequency, serviceFrequencyLow, serviceFrequencyHigh)
	}
	if s != nil {
		check("supply.voltage_v", s.Voltage, serviceVoltLow, serviceVoltHigh)
		check("supply.frequency_hz", s.Frequency, serviceFrequencyLow, serviceFrequencyHigh)
	}
	return out
}
