// Package openapi holds the contract of the HTTP interface. The sources are the YAML files in
// src/, one for each subject; openapi.json is made from them by this package's test and is what is
// served.
package openapi

import _ "embed" // for the document

// JSON is the OpenAPI 3.1 document.
//
//go:embed openapi.json
var JSON []byte
