package jsonin

// The codes of the problems that this package finds. They are part of the interface: append only.
const (
	CodeSyntax        = "SYNTAX"              // not JSON
	CodeEmpty         = "EMPTY_BODY"          // nothing but white space
	CodeTrailing      = "TRAILING_DATA"       // something after the value
	CodeTooLarge      = "BODY_TOO_LARGE"      // over the byte limit
	CodeTooDeep       = "TOO_DEEP"            // nested too deep
	CodeTooManyTokens = "TOO_MANY_TOKENS"     // more values and names than the limit
	CodeUTF8          = "INVALID_UTF8"        // bad UTF-8 or half a surrogate pair
	CodeCharacter     = "FORBIDDEN_CHARACTER" // NUL, control or bidirectional character
	CodeDuplicate     = "DUPLICATE_NAME"      // a name twice in one object
	CodeUnknown       = "UNKNOWN_NAME"        // a name that the shape does not have
	CodeWrongCase     = "WRONG_CASE_NAME"     // a known name in other letter case
	CodeType          = "WRONG_TYPE"          // another JSON type than the shape says
	CodeRequired      = "REQUIRED"            // absent or null
	CodeNumberLength  = "NUMBER_TOO_LONG"     // more than 32 characters
	CodeOverflow      = "NUMBER_OVERFLOW"     // not finite as a 64-bit float
	CodeUnderflow     = "NUMBER_UNDERFLOW"    // not zero, but zero as a 64-bit float
	CodeInteger       = "NOT_AN_INTEGER"      // a whole number is needed
	CodeValue         = "VALUE_NOT_ALLOWED"   // not one of the listed words
	CodeTextLength    = "TEXT_TOO_LONG"       // more characters than the field takes
	CodeTooManyItems  = "TOO_MANY_ITEMS"      // more items than the field takes
	CodeTooFewItems   = "TOO_FEW_ITEMS"       // fewer items than the field needs
	CodeFormat        = "INVALID_FORMAT"      // a text of another form than the field takes
	CodeRange         = "OUT_OF_RANGE"        // understood, but outside the documented range
	CodeUnit          = "UNIT_NOT_ALLOWED"    // a unit outside the closed list of the field
	CodeConflict      = "CONFLICTING_NAMES"   // two names that exclude each other
)

// Bounds is an allowed range, both ends inclusive; nil is an open end.
type Bounds struct {
	Min *float64 `json:"min,omitempty"`
	Max *float64 `json:"max,omitempty"`
}

// AtMost is the range without a lower end.
func AtMost(n int) Bounds { return Bounds{Max: float(n)} }

// AtLeast is the range without an upper end.
func AtLeast(n int) Bounds { return Bounds{Min: float(n)} }

func float(n int) *float64 {
	f := float64(n)
	return &f
}
