package errs

// Severity of a Finding. An error makes a record unusable, a warning asks for a second look, a note informs.
type Severity string

// The severities.
const (
	SeverityError   Severity = "error"
	SeverityWarning Severity = "warning"
	SeverityNote    Severity = "note"
)

// Expected is what a check would have accepted: the best value and the band, in the unit of the first field named.
type Expected struct {
	Value, Low, High float64
}

// Slip is a likely slip of the pen: its code, the field that holds it, and the corrected value as text.
type Slip struct {
	Code, Field, Corrected string
}

// Finding is one thing that a check noticed about data that it understood. Unlike a Field of an
// Error it refuses nothing.
type Finding struct {
	Code       string // lower_snake, stable
	Severity   Severity
	Fields     []string // dotted names, most telling first
	Found      *float64 // the figure found, in the unit of the first field
	Expected   *Expected
	Message    string // one sentence with the figures
	LikelySlip *Slip
	Odds       *float64 // ln odds of the slip against the sheet as it stands
}
