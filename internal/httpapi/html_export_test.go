package httpapi

import (
	"net/http"
	"strings"
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
	return map[string][]string{"/find": paramsFind, "/wires": paramsWirePage, "/wires/replace": paramsReplace, "/wires/scrap": paramsScrap}
}

// Percent writes a probability as pages do.
func Percent(p float64) string { return strings.ReplaceAll(percent(p), "<", "&lt;") }

// Num writes a figure as pages do.
func Num(v float64) string { return num(v) }
