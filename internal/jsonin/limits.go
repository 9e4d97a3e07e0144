package jsonin

// Limits bound the work that one body may cause. A zero field takes the value of Single.
type Limits struct {
	Bytes    int // length of the text
	Depth    int // nesting of arrays and objects
	Tokens   int // values and member names together
	Problems int // problems reported before reading stops
}

// Limits of contract rule 2 and reliability row S7. A batch holds at most 1,000 items; its bound
// on tokens leaves 400 for each.
var (
	Single = Limits{Bytes: 64 << 10, Depth: 16, Tokens: 10_000, Problems: 50}
	Batch  = Limits{Bytes: 2 << 20, Depth: 16, Tokens: 400_000, Problems: 50}
	Line   = Limits{Bytes: 1 << 20, Depth: 16, Tokens: 50_000, Problems: 50}
)

// maxNumber is the most characters of a number (contract, first paragraph).
const maxNumber = 32

// defaultRunes bounds a text that has no bound of its own.
const defaultRunes = 200

// filled returns l with the zero fields taken from Single.
func (l Limits) filled() Limits {
	if l.Bytes <= 0 {
		l.Bytes = Single.Bytes
	}
	if l.Depth <= 0 {
		l.Depth = Single.Depth
	}
	if l.Tokens <= 0 {
		l.Tokens = Single.Tokens
	}
	if l.Problems <= 0 {
		l.Problems = Single.Problems
	}
	return l
}
