// Package seeds holds the reference tables and the demo set as bundles, a source on every row, and
// nothing else. They are imported like any other bundle.
package seeds

import "embed"

// Files holds the bundles by name.
//
//go:embed *.jsonl
var Files embed.FS

// Names lists the bundles in the order of import: later ones name things of earlier ones.
func Names() []string { return []string{"wires.jsonl", "insulation.jsonl", "demo.jsonl"} }
