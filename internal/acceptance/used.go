package acceptance

import (
	"slices"

	"statorbook/internal/errs"
)

// usedAlways are the fields that label a reading of any test.
var usedAlways = []string{"role", "pair", "winding_c"}

// used are the other fields of a reading that a test judges, or that its sheet keeps (see Step.Record).
var used = map[string][]string{
	TestRotorFree:      {"ok"},
	TestResistance:     {"ohms"},
	TestBalance:        {"ohms"},
	TestPoleResistance: {"ohms"},
	TestMainAuxiliary:  {"ohms"},
	TestPoleDrop:       {"volts"},
	TestPolarity:       {"count", "ok"},
	TestGrowler:        {"count"},
	TestSurge:          {"ok", "volts"},
	TestEarth:          {"ohms", "amps"},
	TestInsulation:     {"megohm", "volts", "seconds"},
	TestWithstand:      {"volts", "seconds", "ok"},
	TestCapacitor:      {"uf"},
	TestNoLoad:         {"amps", "volts", "watts", "seconds"},
	TestDirection:      {"ok"},
	TestRise:           {"ohms", "cold_ohm", "cold_c", "coolant_end_c", "amps", "volts", "watts", "seconds"},
	TestPerformance:    {"ok", "seconds", "amps", "volts", "watts"},
}

// unused refuses figures that the test does not use: nobody would judge them.
func (j *judge) unused() {
	r := &j.r
	allowed := append(slices.Clone(usedAlways), used[r.Test]...)
	for _, f := range []struct {
		name  string
		given bool
	}{
		{"ohms", len(r.Ohms) > 0}, {"megohm", r.Megohm.Given}, {"volts", len(r.Volts) > 0}, {"amps", len(r.Amps) > 0}, {"watts", r.Watts.Given},
		{"seconds", r.Seconds.Given}, {"uf", r.UF.Given}, {"count", r.Count != nil}, {"ok", r.OK != nil},
		{"cold_ohm", r.ColdOhm.Given}, {"cold_c", r.ColdC.Given}, {"coolant_end_c", r.CoolantEndC.Given},
	} {
		if f.given && !slices.Contains(allowed, f.name) {
			j.fields = append(j.fields, errs.Field{Pointer: j.at + "/" + f.name, Code: "NOT_USED", Detail: f.name + " is no figure of this test; give it with the test that it belongs to", Allowed: allowed})
		}
	}
}
