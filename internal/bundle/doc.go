// Package bundle is the exchange file: the JSON shapes of the records, how they are read strictly
// and written, their content hash, and the statements about them. The body of a bundle line is what
// GET answers, so the shapes live here once and httpapi uses them too. Seeds are bundles as well.
//
// Every shape has ToDomain, and a From function beside it. A shape that was read without error
// holds only values inside the bounds of its tags; catalog.Bounds lists the same bounds, and a test
// holds the two together.
package bundle
