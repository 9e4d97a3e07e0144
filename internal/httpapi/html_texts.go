package httpapi

import (
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/match"
	"statorbook/internal/stator"
	"statorbook/internal/web"
	"statorbook/internal/wire"
)

// texts is the catalogue of what pages say by themselves, by key. A text may hold the verbs of fmt.
type texts map[string]string

func readTexts(language string) (texts, error) {
	body, err := web.Files.ReadFile("texts/" + language + ".json")
	if err != nil {
		return nil, err
	}
	var t texts
	if err := json.Unmarshal(body, &t); err != nil {
		return nil, fmt.Errorf("texts/%s.json: %w", language, err)
	}
	return t, nil
}

// say gives the text of key with args put in. A missing key fails the page: tests render every page.
func (t texts) say(key string, args ...any) (string, error) {
	text, found := t[key]
	if !found {
		return "", fmt.Errorf("the text catalogue lacks %q", key)
	}
	if len(args) > 0 {
		text = fmt.Sprintf(text, args...)
	}
	return text, nil
}

// prose is say for a text that holds inline markup of its own. The catalogue is part of the program;
// what is put in is escaped.
func (t texts) prose(key string, args ...any) (template.HTML, error) {
	for i, a := range args {
		args[i] = template.HTMLEscapeString(fmt.Sprint(a))
	}
	text, err := t.say(key, args...)
	return template.HTML(text), err
}

// name gives the text of prefix.word, and the word itself where the catalogue has none.
func (t texts) name(prefix, word string) string {
	if text, found := t[prefix+"."+word]; found {
		return text
	}
	return strings.ReplaceAll(word, "_", " ")
}

// rowNumber is the place of a row in a dotted name.
var rowNumber = regexp.MustCompile(`\.([0-9]+)\.`)

// rowBracket is the same in a name as readings and findings write it.
var rowBracket = regexp.MustCompile(`\[([0-9]+)\]`)

// label names a field. Rows of a list share their labels, a list inside a row may have one for each
// place; fields of the core need not say so.
func (t texts) label(field string) string {
	if m := bracketed.FindStringSubmatch(field); m != nil { // as findings write the place in a list
		n, _ := strconv.Atoi(m[2])
		return fmt.Sprintf(t["row.scheme.coil_sets"], n+1) + ": " + lowerFirst(t.label("scheme.coil_sets"+m[3]))
	}
	field = rowBracket.ReplaceAllString(field, ".$1")
	if m := rowNumber.FindStringIndex(field); m != nil {
		if text, found := t["field."+field[:m[0]]+"."+field[m[1]:]]; found {
			return text
		}
	}
	return t.name("field", withoutCore(rowNumber.ReplaceAllString(field, ".")))
}

// named is label for a field outside its form: a row of a list says which it is, and the plate that it is the plate.
func (t texts) named(field string) string {
	field = rowBracket.ReplaceAllString(field, ".$1")
	if m := rowNumber.FindStringSubmatchIndex(field); m != nil && t["row."+field[:m[0]]] != "" {
		n, _ := strconv.Atoi(field[m[2]:m[3]])
		return fmt.Sprintf(t["row."+field[:m[0]]], n+1) + ": " + lowerFirst(t.label(field))
	}
	if strings.HasPrefix(field, "nameplate.") {
		return fmt.Sprintf(t["field.plate"], lowerFirst(t.label(field)))
	}
	return t.label(field)
}

// withoutCore takes off a name that it is of the core.
func withoutCore(field string) string {
	for _, prefix := range []string{"core.", "core_as_measured.", "measurements."} {
		field = strings.TrimPrefix(field, prefix)
	}
	return field
}

// bracketed is the name of a coil set, or of something in it, as findings and assumptions write it.
var bracketed = regexp.MustCompile(`^(scheme\.)?coil_sets\[([0-9]+)\]((?:\.[a-z_]+)?)(?:\[[0-9]+\])?`)

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// fieldName finds the names of the contract in a sentence.
var fieldName = regexp.MustCompile(`\b[A-Za-z][a-z0-9]*(?:[._][a-z0-9]+)+(?:\[[0-9]+\](?:\.[a-z_]+)?)?`)

// people puts the labels of fields into a sentence of the domain in the place of their names.
func (t texts) people(sentence string) string {
	at := 0
	return fieldName.ReplaceAllStringFunc(sentence, func(name string) string {
		first := at == 0 && strings.HasPrefix(sentence, name)
		at++
		label, found := t["field."+withoutCore(strings.ToLower(name))]
		if bracketed.MatchString(strings.ToLower(name)) {
			label, found = t.label(strings.ToLower(name)), true
		} else if !found {
			label, found = t["choice."+name]
		}
		switch {
		case !found:
			return name
		case first:
			return label
		}
		return lowerFirst(label)
	})
}

// choice names an answer to choose: by the question where it means something else there.
func (t texts) choice(field, word string) string {
	if text, found := t["choice."+field[strings.LastIndexByte(field, '.')+1:]+"."+word]; found {
		return text
	}
	return t.name("choice", word)
}

// rowName names a row of equal questions by its first.
func (t texts) rowName(in input) string {
	m := rowNumber.FindStringSubmatchIndex(in.Name)
	n, _ := strconv.Atoi(in.Name[m[2]:m[3]])
	return fmt.Sprintf(t["row."+in.Name[:m[0]]], n+1)
}

// hint says how a figure is got: in the catalogue's words, else as the trade measures it. Of a list of equal rows the
// first says it for all.
func (t texts) hint(field string) string {
	if m := rowNumber.FindStringSubmatch(field); m != nil && m[1] != "0" {
		return ""
	}
	name := rowNumber.ReplaceAllString(field, ".")
	if text, found := t["hint."+withoutCore(name)]; found {
		return text
	}
	if how := match.HowToMeasure(withoutCore(name)); how != "" || strings.HasPrefix(name, "nameplate.") || strings.HasPrefix(name, "supply.") {
		return sentence(how)
	}
	return sentence(sheetHow[name])
}

// unit is how people write the unit of an input that has one; that of a length is chosen beside it.
func (t texts) unit(in input) string {
	if in.Kind != askNumber {
		return ""
	}
	return strings.TrimSpace(t.unitAfter(in.Name))
}

// wire names a wire as a bench does: strands, system, size, build, and what is not copper.
func (t texts) wire(w bundle.Wire) string {
	var parts []string
	if w.Strands > 1 {
		parts = append(parts, fmt.Sprintf(t["wire.strands"], w.Strands))
	}
	parts = append(parts, t.name("system", w.System))
	if w.Size != "" {
		parts = append(parts, w.Size)
	} else if w.Diameter.Given {
		parts = append(parts, w.Diameter.Digits()+" mm")
	}
	if w.Build != "" {
		parts = append(parts, t.choice("build", w.Build))
	}
	if w.Conductor != string(wire.Copper) {
		parts = append(parts, t.name("choice", w.Conductor))
	}
	return strings.Join(parts, " ")
}

// wireID names a listed size by its id.
func (t texts) wireID(id string) string {
	system, size, _ := strings.Cut(id, "-")
	return t.name("system", system) + " " + strings.ReplaceAll(size, "-", "/")
}

// usualRange is what the domain holds to be usual for a dimension, nil without one.
func usualRange(field string) *stator.Range {
	if r, ok := stator.UsualRange(field); ok {
		return &r
	}
	return nil
}

// functions are what templates may call.
func (p *pages) functions() template.FuncMap {
	t := p.texts
	return template.FuncMap{
		"t": t.say, "prose": t.prose, "label": t.label, "named": t.named, "unitafter": t.unitAfter, "hint": t.hint, "unit": t.unit, "rowname": t.rowName, "wire": t.wire, "wireid": t.wireID, "band": t.band, "people": t.people, "under": t.under, "choice": t.choice,
		"letter":     func(field string) string { return t["letter."+field] },
		"word":       func(kind string, word any) string { return t.name(kind, fmt.Sprint(word)) },
		"likely":     func(v float64) string { return t["likely."+likelihood(v)] },
		"tells":      func(bits float64) string { return t["tells."+telling(bits)] },
		"asset":      func(name string) string { return "/assets/" + name + "?v=" + p.assets[name].tag },
		"navigation": func() []navEntry { return navigation },
		"corefields": coreFields, "recordfacts": t.recordFacts, "usual": usualRange,
		"num": num, "turns": turns, "turnspread": turnSpread, "rounded": rounded, "pct": percent, "spread": spread, "dict": dict, "starts": startsWithOne,
		"lines":   func(s string) string { return strings.ReplaceAll(s, ",", "\n") },
		"hundred": func(p float64) string { return strconv.FormatFloat(100*p, 'f', 1, 64) },
		"ceil":    math.Ceil,
		"add":     func(a, b float64) float64 { return math.Round(100*(a+b)) / 100 },
		"negate":  func(v float64) float64 { return -v },
		"clip":    func(v float64) float64 { return math.Max(-25, math.Min(25, math.Round(100*v)/100)) },
		"signed":  signed, "apart": apart,
		"atleast": listed, "below": unlisted, "probable": probable,
	}
}

// startsWithOne tells whether a name begins with one of the words of a list.
func startsWithOne(name, list string) bool {
	return list == "" || slices.ContainsFunc(strings.Fields(list), func(p string) bool { return strings.HasPrefix(name, p) })
}

// dict makes a map of its arguments, name and value by turns, for templates that take more than one thing.
func dict(pairs ...any) (map[string]any, error) {
	if len(pairs)%2 != 0 {
		return nil, fmt.Errorf("dict needs name and value by turns")
	}
	m := make(map[string]any, len(pairs)/2)
	for i := 0; i < len(pairs); i += 2 {
		m[fmt.Sprint(pairs[i])] = pairs[i+1]
	}
	return m, nil
}
