package httpapi

import (
	"net/http"
	"strings"
	"testing"

	"statorbook/internal/bundle"

	"github.com/stretchr/testify/require"
)

// Handler gives the handler of a host, for tests that serve it over a connection.
func Handler(h *Host) http.Handler { return h.handler }

// PageRoutes lists the templates of the addresses for people.
func PageRoutes() []string {
	paths := []string{"/"}
	for _, r := range (&server{}).pageRoutes() {
		paths = append(paths, r.path)
	}
	return paths
}

// InputsOfForms lists the parameters of every form, by its address.
func InputsOfForms() map[string][]string {
	return map[string][]string{"/find": paramsFind, "/wires": paramsWirePage, "/wires/replace": paramsReplace, "/wires/scrap": paramsScrap, "/data-sheet": paramsSheets}
}

// Percent writes a probability as pages do.
func Percent(p float64) string { return strings.ReplaceAll(percent(p), "<", "&lt;") }

// People puts labels in the place of names, as pages do.
func People(t testing.TB, message string) string {
	p, err := loadPages()
	require.NoError(t, err)
	return p.texts.people(sentence(message))
}

// SheetQuestions gives label and hint of each question of the data sheet.
func SheetQuestions(t testing.TB) (label, hint map[string]string) {
	p, err := loadPages()
	require.NoError(t, err)
	label, hint = map[string]string{}, map[string]string{}
	for _, in := range sheetInputs {
		label[in.Name], hint[in.Name] = p.texts.label(in.Name), p.texts.hint(in.Name)
	}
	return label, hint
}

// TypedNumber reads a number as people type it.
func TypedNumber(s string) (string, bool) { return typedNumber(s) }

// Turns writes a number of turns as pages do.
func Turns(v float64) string { return turns(v) }

// TurnSpread writes a range of turns as pages do.
func TurnSpread(low, high float64) string {
	return turnSpread(bundle.Range{P05: low, P95: high})
}
