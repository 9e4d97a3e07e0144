package bundle

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// csvTriggers start a formula in a spreadsheet (OWASP ASVS 5.0, 1.2.10), the wide forms included.
const csvTriggers = "=+-@\t\r\n\x00＝＋－＠"

// escapeCell puts an apostrophe before a text that a spreadsheet would run as a formula, and before one
// that already looks escaped, so that unescapeCell gives back exactly what was there.
func escapeCell(s string) string {
	if startsFormula(s) {
		return "'" + s
	}
	return s
}

// unescapeCell undoes escapeCell.
func unescapeCell(s string) string {
	if strings.HasPrefix(s, "'") && startsFormula(s) {
		return s[1:]
	}
	return s
}

func startsFormula(s string) bool {
	rest := strings.TrimLeft(s, "'")
	for _, r := range rest {
		return strings.ContainsRune(csvTriggers, r)
	}
	return false
}

// numberGrammar is the grammar of RFC 8259 section 6.
var numberGrammar = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?$`)

// readNumber takes a number as it stands in a cell.
func readNumber(s string) (json.Number, *CSVProblem) {
	s = strings.TrimSpace(s)
	switch {
	case numberGrammar.MatchString(s):
		return json.Number(s), nil
	case numberGrammar.MatchString(strings.Replace(s, ",", ".", 1)):
		return "", &CSVProblem{Code: CodeCSVNumber, Detail: "write the number with a decimal point and without thousands marks", Got: s}
	}
	return "", &CSVProblem{Code: CodeCSVNumber, Detail: "a plain number is needed here, such as 4.50, without unit", Got: s}
}

// readCell turns the text of a cell into the JSON value of its member.
func readCell(kind csvKind, s string) (any, *CSVProblem) {
	switch kind {
	case csvNumber, csvMeasured:
		return orProblem(readNumber(s))
	case csvBool:
		return readBool(s)
	case csvNumbers:
		return readNumbers(s)
	case csvCoils:
		return readCoils(s)
	case csvWords:
		return readWords(s)
	}
	return s, nil
}

// orProblem keeps an empty value out of the way of a problem.
func orProblem[T any](v T, p *CSVProblem) (any, *CSVProblem) {
	if p != nil {
		return nil, p
	}
	return v, nil
}

func readBool(s string) (any, *CSVProblem) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "yes", "true":
		return true, nil
	case "no", "false":
		return false, nil
	}
	return nil, &CSVProblem{Code: CodeCSVCell, Detail: "write yes or no", Got: s}
}

func readNumbers(s string) (any, *CSVProblem) {
	list := []any{}
	for _, part := range strings.Fields(s) {
		n, p := readNumber(part)
		if p != nil {
			p.Detail = "numbers parted by spaces are needed here: " + p.Detail
			return nil, p
		}
		list = append(list, n)
	}
	return list, nil
}

var csvCoil = regexp.MustCompile(`^([0-9]+)-([0-9]+):(.+)$`)

func readCoils(s string) (any, *CSVProblem) {
	list := []any{}
	for _, part := range strings.Fields(s) {
		m := csvCoil.FindStringSubmatch(part)
		if m == nil || !numberGrammar.MatchString(m[1]) || !numberGrammar.MatchString(m[2]) || !numberGrammar.MatchString(m[3]) {
			return nil, &CSVProblem{Code: CodeCSVCell, Detail: "write each coil as in-out:turns, such as 1-8:33, parted by spaces", Got: part}
		}
		list = append(list, map[string]any{"in": json.Number(m[1]), "out": json.Number(m[2]), "turns": json.Number(m[3])})
	}
	return list, nil
}

// wordEscapes keeps the marks of a list of words out of its names.
var wordEscapes = strings.NewReplacer("%", "%25", ";", "%3B", "=", "%3D", " ", "%20")
var wordUnescapes = strings.NewReplacer("%25", "%", "%3B", ";", "%3D", "=", "%20", " ")

func readWords(s string) (any, *CSVProblem) {
	words := map[string]any{}
	for part := range strings.SplitSeq(s, ";") {
		name, word, ok := strings.Cut(strings.TrimSpace(part), "=")
		name = wordUnescapes.Replace(name)
		if _, twice := words[name]; !ok || twice {
			return nil, &CSVProblem{Code: CodeCSVCell, Detail: "write each as name=word, each name once, parted by semicolons", Got: part}
		}
		words[name] = strings.TrimSpace(word)
	}
	return words, nil
}

// writeCell gives the text of a member's JSON value.
func writeCell(kind csvKind, v any) (string, error) {
	switch v := v.(type) {
	case string:
		if strings.Contains(v, "\r") { // RFC 4180 keeps it for the end of a line; no text that was read holds one
			return "", errors.New("csv: a cell cannot hold a carriage return")
		}
		return v, nil
	case json.Number:
		return v.String(), nil
	case bool:
		if v {
			return "yes", nil
		}
		return "no", nil
	case []any:
		parts := make([]string, len(v))
		for i, item := range v {
			parts[i] = fmt.Sprint(item)
			if kind == csvCoils {
				coil := item.(map[string]any)
				parts[i] = fmt.Sprintf("%v-%v:%v", coil["in"], coil["out"], coil["turns"])
			}
		}
		return strings.Join(parts, " "), nil
	case map[string]any:
		parts := make([]string, 0, len(v))
		for name, word := range v {
			parts = append(parts, wordEscapes.Replace(name)+"="+fmt.Sprint(word))
		}
		slices.Sort(parts)
		return strings.Join(parts, "; "), nil
	}
	return "", fmt.Errorf("a %T has no cell", v)
}

// pathOf joins JSON names to an RFC 6901 pointer; none of ours needs an escape.
func pathOf(parts ...any) string {
	var b strings.Builder
	for _, p := range parts {
		switch p := p.(type) {
		case string:
			b.WriteString("/" + p)
		case int:
			b.WriteString("/" + strconv.Itoa(p))
		case []string:
			for _, name := range p {
				b.WriteString("/" + name)
			}
		}
	}
	return b.String()
}
