package jsonin

import (
	"fmt"
	"strconv"
	"unicode/utf8"
)

// Kind is the JSON type of a value.
type Kind uint8

// The JSON types.
const (
	Null Kind = iota
	Bool
	Number
	String
	Array
	Object
)

// String names the type as the problems word it.
func (k Kind) String() string {
	return [...]string{"null", "boolean", "number", "string", "array", "object"}[k]
}

// node is one value, 28 bytes. Nodes stand in pre-order: the first child of node i is i+1, and
// next is the node after the whole subtree. Offsets are into tree.src; a string's leave its quotes out.
type node struct {
	kind               Kind
	start, end         int32
	nameStart, nameEnd int32 // of the member name, quotes left out
	next               int32
	items              int32 // children
}

// tree is a parsed body.
type tree struct {
	src   string
	nodes []node
}

// syntaxError is a fault that ends reading.
type syntaxError struct {
	code, detail, got string
	at                int
	path              []step // where the parser stood
}

// parser builds a tree. It keeps the path only for the report of a fault.
type parser struct {
	tree
	at   int
	lim  Limits
	path []step
	used int // tokens
}

// parse reads exactly one JSON value from src, or says what is wrong.
func parse(src string, lim Limits) (*tree, *syntaxError) {
	p := &parser{tree: tree{src: src}, lim: lim}
	p.nodes = make([]node, 0, min(len(src)/12+8, lim.Tokens))
	if len(src) >= 3 && src[:3] == "\xef\xbb\xbf" {
		return nil, p.fault(CodeSyntax, "the text starts with a byte order mark; send plain UTF-8 without it", "")
	}
	p.space()
	if p.at == len(src) {
		return nil, p.fault(CodeEmpty, "the body is empty; send one JSON object", "")
	}
	if err := p.value(0, 0, 0); err != nil {
		return nil, err
	}
	p.space()
	if p.at < len(src) {
		return nil, p.fault(CodeTrailing, "something follows the JSON value; send exactly one value", p.here())
	}
	return &p.tree, nil
}

func (p *parser) fault(code, detail, got string) *syntaxError {
	return &syntaxError{code: code, detail: detail, got: got, at: p.at, path: append([]step(nil), p.path...)}
}

// unexpected is the common fault: says what was expected at this place.
func (p *parser) unexpected(want string) *syntaxError {
	if p.at >= len(p.src) {
		return p.fault(CodeSyntax, "the text ends where "+want+" is expected; it may be cut short", "")
	}
	line, col := position(p.src, p.at)
	return p.fault(CodeSyntax, fmt.Sprintf("line %d, column %d: %s is expected here", line, col, want), p.here())
}

// here is a short excerpt from the place of the fault.
func (p *parser) here() string { return excerpt(p.src[p.at:min(len(p.src), p.at+48)]) }

// position gives the line and the column, in characters, both from 1.
func position(src string, at int) (line, col int) {
	line, start := 1, 0
	for i := 0; i < at; i++ {
		if src[i] == '\n' {
			line, start = line+1, i+1
		}
	}
	return line, utf8.RuneCountInString(src[start:at]) + 1
}

func (p *parser) space() {
	for p.at < len(p.src) {
		switch p.src[p.at] {
		case ' ', '\t', '\n', '\r':
			p.at++
		default:
			return
		}
	}
}

// token counts one value or name.
func (p *parser) token() *syntaxError {
	p.used++
	if p.used > p.lim.Tokens {
		return p.fault(CodeTooManyTokens, "more than "+strconv.Itoa(p.lim.Tokens)+" values and names in one body; send less at once", "")
	}
	return nil
}

// value reads one value; nameStart and nameEnd tell its member name.
func (p *parser) value(nameStart, nameEnd, depth int) *syntaxError {
	if err := p.token(); err != nil {
		return err
	}
	if p.at >= len(p.src) {
		return p.unexpected("a value")
	}
	me := len(p.nodes)
	p.nodes = append(p.nodes, node{start: int32(p.at), nameStart: int32(nameStart), nameEnd: int32(nameEnd)})
	var err *syntaxError
	switch c := p.src[p.at]; {
	case c == '{' || c == '[':
		err = p.container(me, c, depth+1)
	case c == '"':
		p.nodes[me].kind = String
		p.nodes[me].start++
		if err = p.str(); err == nil {
			p.nodes[me].end = int32(p.at - 1)
		}
	case c == '-' || c >= '0' && c <= '9':
		p.nodes[me].kind = Number
		err = p.number()
		p.nodes[me].end = int32(p.at)
	default:
		err = p.literal(me)
	}
	if err != nil {
		return err
	}
	p.nodes[me].next = int32(len(p.nodes))
	return nil
}

func (p *parser) literal(me int) *syntaxError {
	for _, l := range [...]struct {
		word string
		kind Kind
	}{{"true", Bool}, {"false", Bool}, {"null", Null}} {
		if len(p.src)-p.at >= len(l.word) && p.src[p.at:p.at+len(l.word)] == l.word {
			p.at += len(l.word)
			p.nodes[me].kind, p.nodes[me].end = l.kind, int32(p.at)
			return nil
		}
	}
	return p.unexpected("a value (object, array, string in double quotes, number, true, false or null; NaN and Infinity are not JSON)")
}

// container reads an object or an array, after its opening bracket was seen.
func (p *parser) container(me int, open byte, depth int) *syntaxError {
	if depth > p.lim.Depth {
		return p.fault(CodeTooDeep, "nested deeper than "+strconv.Itoa(p.lim.Depth)+" levels", "")
	}
	kind, end, close := Object, "a comma or }", byte('}')
	if open == '[' {
		kind, end, close = Array, "a comma or ]", ']'
	}
	p.nodes[me].kind = kind
	p.at++
	p.space()
	if p.at < len(p.src) && p.src[p.at] == close {
		p.at++
		p.nodes[me].end = int32(p.at)
		return nil
	}
	for i := 0; ; i++ {
		if err := p.item(kind, i, depth); err != nil {
			return err
		}
		p.nodes[me].items++
		p.space()
		if p.at >= len(p.src) || p.src[p.at] != ',' && p.src[p.at] != close {
			return p.unexpected(end)
		}
		p.at++
		if p.src[p.at-1] == close {
			p.nodes[me].end = int32(p.at)
			return nil
		}
		p.space()
	}
}

// item reads one member or element.
func (p *parser) item(kind Kind, i, depth int) *syntaxError {
	nameStart, nameEnd := 0, 0
	if kind == Object {
		if err := p.token(); err != nil {
			return err
		}
		if p.at >= len(p.src) || p.src[p.at] != '"' {
			return p.unexpected("a member name in double quotes")
		}
		nameStart = p.at + 1
		if err := p.str(); err != nil {
			return err
		}
		nameEnd = p.at - 1
		p.space()
		if p.at >= len(p.src) || p.src[p.at] != ':' {
			return p.unexpected("a colon")
		}
		p.at++
		p.space()
		p.path = append(p.path, step{raw: p.src[nameStart:nameEnd], index: -1})
	} else {
		p.path = append(p.path, step{index: i})
	}
	if err := p.value(nameStart, nameEnd, depth); err != nil {
		return err
	}
	p.path = p.path[:len(p.path)-1]
	return nil
}

// str passes over a string whose opening quote is next. Escapes are checked here, characters when
// the text is taken.
func (p *parser) str() *syntaxError {
	p.at++
	for p.at < len(p.src) {
		switch c := p.src[p.at]; {
		case c == '"':
			p.at++
			return nil
		case c == '\\':
			if !p.escape() {
				return p.unexpected(`a valid escape (\" \\ \/ \b \f \n \r \t \uXXXX)`)
			}
		case c < 0x20:
			line, col := position(p.src, p.at)
			return p.fault(CodeSyntax, fmt.Sprintf("line %d, column %d: a control character inside a string must be written as an escape", line, col), p.here())
		default:
			p.at++
		}
	}
	return p.unexpected("the closing quote of a string")
}

func (p *parser) escape() bool {
	rest := p.src[p.at:]
	if len(rest) < 2 {
		return false
	}
	switch rest[1] {
	case '"', '\\', '/', 'b', 'f', 'n', 'r', 't':
		p.at += 2
		return true
	case 'u':
		if len(rest) < 6 {
			return false
		}
		for _, c := range []byte(rest[2:6]) {
			if !(c >= '0' && c <= '9' || c >= 'a' && c <= 'f' || c >= 'A' && c <= 'F') {
				return false
			}
		}
		p.at += 6
		return true
	}
	return false
}

// number passes over a number by the grammar of RFC 8259 section 6.
func (p *parser) number() *syntaxError {
	if p.src[p.at] == '-' {
		p.at++
	}
	switch {
	case p.at < len(p.src) && p.src[p.at] == '0':
		p.at++
		if p.at < len(p.src) && p.src[p.at] >= '0' && p.src[p.at] <= '9' {
			return p.unexpected("a number without leading zeros")
		}
	case !p.digits():
		return p.unexpected("a digit")
	}
	if p.at < len(p.src) && p.src[p.at] == '.' {
		p.at++
		if !p.digits() {
			return p.unexpected("a digit after the decimal point")
		}
	}
	if p.at < len(p.src) && (p.src[p.at] == 'e' || p.src[p.at] == 'E') {
		p.at++
		if p.at < len(p.src) && (p.src[p.at] == '+' || p.src[p.at] == '-') {
			p.at++
		}
		if !p.digits() {
			return p.unexpected("a digit of the exponent")
		}
	}
	return nil
}

func (p *parser) digits() bool {
	from := p.at
	for p.at < len(p.src) && p.src[p.at] >= '0' && p.src[p.at] <= '9' {
		p.at++
	}
	return p.at > from
}
