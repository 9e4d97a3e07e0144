// Package match says which catalogued stator a measured core is, how sure that is, and what
// winding to try. It is a Bayesian model over four hypotheses: this record; a known core with
// another winding; a known lamination with another stack; not in the catalogue.
//
// # From a catalogue to an index
//
// A [Builder] takes families and records in and out (builder.go, packrecord.go). Build puts them in order
// (order.go), pools the dimensions of each lamination over its records (pool.go), learns how laminations are
// proportioned and fills what nobody measured (chain.go, place.go), and learns the rest of the model
// (model.go names its parts and their files). An [Index] never changes; it keeps laminations, cores and
// records in columns, each sorted by the one before: a lamination has a run of cores, a core a run of records.
//
// # From a query to an answer
//
// [Index.Match] tells the steps in order:
//
//   - checkGeometry refuses what no stator can be, however one figure is read (impossible.go).
//   - prepare turns the figures into readings, with what else may have been meant by each (query.go, reading.go).
//   - weigh gives every hypothesis its posterior weight: a coarse scan of all laminations (scan.go), the exact
//     likelihood of the survivors' dimensions, and that of nameplate and remains for their records
//     (hypotheses.go, designlike.go, remains.go, scrap.go). Where the winding is not catalogued, a context is one
//     core on which it is predicted (context.go, newcontexts.go, newlam.go, stackof.go): each gets normals of turns
//     and wire, its parts, weighed by the same nameplate and remains (evidence.go, evidence_remains.go).
//   - spread turns records and parts into points, cover chooses up to three boxes that hold the most of them, and
//     propose makes a winding of each (points.go, cover.go, propose.go, template.go, figures.go).
//   - The rest tells what was probably misread, what disagrees, what lies outside the catalogue, and what to
//     measure next (answer.go, remainslips.go, disagree_plate.go, next.go).
//
// [Index.CheckRecord] judges a record sheet by explanation (sheet.go and its neighbours).
//
// # Conventions
//
// Lengths are in mm, areas in mm², masses in g. Turns, wire and the figures of a plate are compared as natural
// logarithms: n is ln of the turns in series, a is ln of the conductor area of one turn, both of the main
// winding or of phase u. A field sd is a standard deviation, v a variance, rv or rel one relative to the value.
// The likelihood of a figure is a density where it scatters and a chance where it is one of a series, always of
// the figure as typed, so that hypotheses which explain the same figures can be compared. A figure that the
// query does not tell changes nothing; one that a record does not tell is as likely as it usually is.
package match
