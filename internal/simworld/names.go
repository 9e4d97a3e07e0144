package simworld

import (
	"strings"

	"github.com/google/uuid"
)

// Fixed names of the demo set. The institute and its two persons are invented.
const (
	DemoInstitute = "demo-winding-school"
	DemoAuthor    = "demo-p1" // writes the records
	DemoVetter    = "demo-p2" // another person, who vets them
	Licence       = "CC0-1.0" // SPDX id of all data made here
)

// space is the name space of every id made here: version 5 of RFC 9562 over a name of ours.
var space = uuid.NewSHA1(uuid.NameSpaceOID, []byte("statorbook simworld"))

// id returns the UUID that belongs to the parts of a name; the same name gives the same UUID in
// every run and on every machine.
func id(parts ...string) string {
	return uuid.NewSHA1(space, []byte(strings.Join(parts, "/"))).String()
}
