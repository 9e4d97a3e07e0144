// Package simworld invents physically coherent laminations, windings, readings and slips from a
// seed: the demo set that the service ships, worlds for evaluation, catalogues for load. No figure
// comes from a real motor, maker or institute. The package is pure: the same seed and wire table
// give the same result, byte for byte, on the same kind of processor.
//
// A lamination is sized for the flux of one pole at the densities that a designer likes; slots are
// what is left. A winding is designed into it: the tightest part of the iron sets the flux, volts
// set the turns, the fullest slot sets the wire, a current density sets the plate. Mass and
// resistance follow from the length of the wire. Only then do people measure, with their errors.
package simworld
