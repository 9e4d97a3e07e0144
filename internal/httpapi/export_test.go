package httpapi

import "testing"

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

// WrongMethods and StrangeQueries are the rows that every GET address shares.
func WrongMethods(target string) []Hostile { return wrongMethods(target) }

// StrangeQueries are the rows that every address shares.
func StrangeQueries(target string) []Hostile { return strangeQueries(target) }
