package bundle

import (
	"statorbook/internal/errs"
)

// Finding is the JSON shape of errs.Finding.
type Finding struct {
	Code       string    `json:"code" in:"required,runes=60"`
	Severity   string    `json:"severity" in:"required,enum=error|warning|note"`
	Fields     []string  `json:"fields" in:"maxitems=50,runes=100"`
	Found      *float64  `json:"found,omitempty"`
	Expected   *Expected `json:"expected,omitempty"`
	Message    string    `json:"message" in:"runes=1000"`
	LikelySlip *Slip     `json:"likely_slip,omitempty"`
	Odds       *float64  `json:"odds,omitempty"`
}

// Expected is what a check would have accepted, in the unit of the finding's first field.
type Expected struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Slip is a likely slip of the pen.
type Slip struct {
	Code      string `json:"code" in:"runes=60"`
	Field     string `json:"field" in:"runes=100"`
	Corrected string `json:"corrected" in:"runes=200"`
}

// FindingOf gives the JSON shape of a finding.
func FindingOf(f errs.Finding) Finding {
	return Finding{
		Code: f.Code, Severity: string(f.Severity), Fields: filled(f.Fields), Found: f.Found, Expected: (*Expected)(f.Expected),
		Message: f.Message, LikelySlip: (*Slip)(f.LikelySlip), Odds: f.Odds,
	}
}

// ToDomain gives the finding as the domain has it.
func (f Finding) ToDomain() errs.Finding {
	return errs.Finding{
		Code: f.Code, Severity: errs.Severity(f.Severity), Fields: f.Fields, Found: f.Found, Expected: (*errs.Expected)(f.Expected),
		Message: f.Message, LikelySlip: (*errs.Slip)(f.LikelySlip), Odds: f.Odds,
	}
}

// FindingsOf gives the JSON shape of a list of findings; nil becomes empty.
func FindingsOf(list []errs.Finding) []Finding { return filled(convert(list, FindingOf)) }

// FindingsToDomain converts a list of findings; nil stays nil.
func FindingsToDomain(list []Finding) []errs.Finding { return convert(list, Finding.ToDomain) }

// Range is the JSON shape of unit.Range: the 5, 50 and 95 % points of a figure.
type Range struct {
	P05 float64 `json:"p05"`
	P50 float64 `json:"p50"`
	P95 float64 `json:"p95"`
}
