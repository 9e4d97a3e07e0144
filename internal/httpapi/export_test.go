package httpapi

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What the tests with a database, which are a package of their own, use of the harness here.
type (
	// Host is a handler under test; every answer is held against the contract.
	Host = host
	// Answer is a response with its body read.
	Answer = answer
	// Hostile is a request that must be refused, and how.
	Hostile = hostile
)

// NewHost serves cfg.
func NewHost(t testing.TB, cfg Config) *Host { return newHost(t, cfg) }

// Refuse sends every row and asserts the exact problem.
func Refuse(t *testing.T, h *Host, rows []Hostile) { refuse(t, h, rows) }

// Get builds a hostile GET.
func Get(target string, status int, code, place string, headers ...string) Hostile {
	return get(target, status, code, place, headers...)
}

// Post builds a hostile POST.
func Post(target, body string, status int, code, place string, headers ...string) Hostile {
	return post(target, body, status, code, place, headers...)
}

// Refused builds a hostile request without a body.
func Refused(method, target string, status int) Hostile {
	return hostile{method: method, target: target, status: status}
}

// WrongMethods and StrangeQueries are the rows that every GET address shares.
func WrongMethods(target string, taken ...string) []Hostile { return wrongMethods(target, taken...) }

// StrangeQueries are the rows that every address shares.
func StrangeQueries(target string) []Hostile { return strangeQueries(target) }

// Route is an operation with its path parameters filled in.
type Route struct{ Method, Path, Template string }

// Routes lists every operation that needs no key, with the given values in the place of :id, by template.
func Routes(ids map[string]string) []Route {
	var all []Route
	for _, r := range (&server{}).routes() {
		if r.stores() {
			continue
		}
		path := strings.NewReplacer(":slug", "not-found", ":letter", "F", ":n", "1").Replace(r.path)
		for prefix, id := range ids {
			if strings.HasPrefix(path, prefix) {
				path = strings.Replace(path, ":id", id, 1)
			}
		}
		all = append(all, Route{r.method, path, r.path})
	}
	return all
}

// KeyedRoutes lists the operations that need a key, as templates.
func KeyedRoutes() []Route {
	var all []Route
	for _, r := range (&server{}).routes() {
		if r.stores() {
			all = append(all, Route{r.method, r.path, r.path})
		}
	}
	return all
}

// BodiesShown gives the JSON body that the contract shows for an operation.
func BodiesShown(t testing.TB) map[string]string {
	t.Helper()
	all := map[string]string{}
	for name, op := range operations(t, contractTree(t)) {
		body, ok := op.body["requestBody"].(map[string]any)
		if !ok {
			continue
		}
		shown, ok := body["content"].(map[string]any)["application/json"].(map[string]any)
		if !ok {
			continue // a bundle
		}
		text, err := encodeJSON(shown["example"])
		require.NoError(t, err)
		all[name] = string(text)
	}
	return all
}
