// Package jsonin is the one strict reader of JSON that comes from outside: request bodies, bundle
// lines, seeds. It first builds a small bounded tree, then maps it onto tagged structs and gathers
// everything that is wrong with one body, each with an RFC 6901 pointer, a stable code and a remedy.
//
// It refuses what encoding/json lets through (tried on Go 1.26): unknown, duplicate and wrong-case
// names, a second value, 1e-400 read as 0, invalid UTF-8 turned into U+FFFD, NUL, control and
// bidirectional characters. JSON null means absent.
//
// # Struct tags
//
// The member name is the first part of the `json` tag. The `in` tag holds options, parted by commas:
//
//	required        absent or null is a problem (REQUIRED)
//	min=, max=      inclusive bounds of a number; outside is OUT_OF_RANGE, the one problem that is
//	                "understood but impossible" and not a fault of form
//	enum=a|b|c      the allowed words, or the allowed numbers of an int
//	runes=          most characters of a text, default 200
//	lines           the text may hold line feeds
//	minitems=, maxitems=   bounds on an array or a map; too many is TOO_MANY_ITEMS
//	format=         uuid, slug, id (uuid or slug), sha256
//	unit=           for types that read themselves (Value): the unit of the field
package jsonin
