// Package web holds the files of the bench pages: templates, style, script, drawings and the text
// catalogue, embedded. It has no logic; internal/httpapi fills the templates.
//
// A page is one file in templates/ that defines "main"; what pages share is in layout.html and
// parts.html. Every word that a page shows by itself stands in texts/en.json, so that a translation
// is one more file of that folder; words of the trade's own answers (cautions, findings, test
// methods) come from the packages that give the JSON answers theirs. The two pages under
// /docs are prose around tested commands: docs.html and reference.html hold their own words.
package web

import "embed"

// Files holds templates/, assets/ and texts/.
//
//go:embed templates assets texts
var Files embed.FS
