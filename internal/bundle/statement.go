package bundle

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// Statement says what happened to one revision of a record and who answers for it. Its Text is
// what institutes sign as a note and what a log keeps, so its form never changes: a new form gets a
// new first line. It holds no name and no free text, because what is signed cannot be erased.
type Statement struct {
	Act      string // publication|supersession|withdrawal|erratum
	Kind     Kind   // family or winding
	Record   string // UUID
	Revision int
	SHA256   string // content hash, 64 hexadecimal digits

	Institute string // slug
	Author    string // pseudonym inside the institute
	Vetter    string // pseudonym of another person inside the institute
	Reason    string // reason code of a withdrawal or erratum, lower_snake; "" if none
}

// statementHead is the first line of a statement.
const statementHead = "statorbook statement v1"

var (
	acts       = []string{"publication", "supersession", "withdrawal", "erratum"}
	reasonCode = regexp.MustCompile(`^[a-z][a-z0-9_]{0,39}$`)
)

// Text is the signed text: a first line, then one `name value` line for each figure in fixed order,
// each ended by a line feed. There is no empty line in it, as a note requires. Only a statement that
// passes Validate may be signed.
func (s Statement) Text() string {
	var b strings.Builder
	b.WriteString(statementHead + "\n")
	for _, line := range [...]struct{ name, value string }{
		{"act", s.Act},
		{"kind", string(s.Kind)},
		{"record", s.Record},
		{"revision", strconv.Itoa(s.Revision)},
		{"sha256", s.SHA256},
		{"institute", s.Institute},
		{"author", s.Author},
		{"vetter", s.Vetter},
		{"reason", s.Reason},
	} {
		if line.value != "" {
			b.WriteString(line.name + " " + line.value + "\n")
		}
	}
	return b.String()
}

// ParseStatement reads a Text. It takes exactly what Text writes, byte for byte, so that one
// statement has one text.
func ParseStatement(text string) (Statement, error) {
	lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	if lines[0] != statementHead {
		return Statement{}, badStatement("the first line is not " + statementHead)
	}
	given := map[string]string{}
	for _, line := range lines[1:] {
		name, value, _ := strings.Cut(line, " ")
		given[name] = value
	}
	revision, err := strconv.Atoi(given["revision"])
	if err != nil {
		return Statement{}, badStatement("the revision is not a number")
	}
	s := Statement{
		Act: given["act"], Kind: Kind(given["kind"]), Record: given["record"], Revision: revision, SHA256: given["sha256"],
		Institute: given["institute"], Author: given["author"], Vetter: given["vetter"], Reason: given["reason"],
	}
	if err := s.Validate(); err != nil {
		return Statement{}, err
	}
	if s.Text() != text {
		return Statement{}, badStatement("the text is not in its one form")
	}
	return s, nil
}

// StatementOf reads what a signed note says, without a look at its signatures: for notes that were held
// against known keys before they were stored.
func StatementOf(signed []byte) (Statement, error) {
	text, ok := noteText(string(signed))
	if !ok {
		return Statement{}, badStatement("no empty line parts text and signatures")
	}
	return ParseStatement(text)
}

// Validate reports what keeps s from being a statement. Author and vetter must be two persons.
func (s Statement) Validate() error {
	act := false
	for _, a := range acts {
		act = act || a == s.Act
	}
	switch {
	case !act:
		return badStatement("the act is none of " + strings.Join(acts, ", "))
	case s.Kind != KindFamily && s.Kind != KindWinding:
		return badStatement("only families and windings have statements")
	case !jsonin.IsUUID(s.Record):
		return badStatement("the record is not a UUID")
	case s.Revision < 1 || s.Revision > 1e9:
		return badStatement("the revision must be from 1 to 1000000000")
	case !isHexHash(s.SHA256):
		return badStatement("the content hash is not 64 hexadecimal digits")
	case !jsonin.IsSlug(s.Institute) || !jsonin.IsSlug(s.Author) || !jsonin.IsSlug(s.Vetter):
		return badStatement("institute, author and vetter must be slugs")
	case s.Author == s.Vetter:
		return badStatement("the vetter must be another person than the author")
	case s.Reason != "" && !reasonCode.MatchString(s.Reason):
		return badStatement("the reason must be a lower_snake code")
	case s.Reason == "" && (s.Act == "withdrawal" || s.Act == "erratum"):
		return badStatement("a " + s.Act + " needs a reason code")
	}
	return nil
}

func badStatement(why string) error {
	return errs.New(errs.KindSyntax, fmt.Sprintf("This is not a statement: %s.", why))
}

func isHexHash(s string) bool {
	if len(s) != 64 {
		return false
	}
	for _, c := range []byte(s) {
		if !(c >= '0' && c <= '9' || c >= 'a' && c <= 'f') {
			return false
		}
	}
	return true
}
