// Package simworld invents physically coherent laminations, windings, readings and slips from a
// seed: the demo set that the service ships, worlds for evaluation, catalogues for load. No figure
// comes from a real motor, maker or institute. The package is pure: the same seed and wire table
// give the same result, byte for byte, on the same kind of processor.
//
// A lamination is sized for the flux of one pole at the densities that a designer likes; slots are
// what is left. A winding is designed into it: the tightest part of the iron sets the flux, volts
// set the turns, the fullest slot sets the wire, a current density sets the plate. Mass and
// resistance follow from the length of the wire. Only then do people measure, with their errors.
//
// # How its worlds differ from the one that the matching method was tried on
//
// They were written from common practice without a look at that generator, and on purpose take
// other forms wherever a form is a matter of taste:
//
//   - Laminations start from the flux of a pole and end at the outer diameter, which is rounded to
//     0.5 or 5 mm; there the outer diameter came first. A near copy edits some dimensions and leaves
//     the others exactly as they were; there every dimension moved a little.
//   - Two-ring fans have teeth, slits and depths for both rings, and the slit legs limit the flux.
//   - Designers stop at a hard limit of the tightest part (teeth by the exact form), with habits of
//     maker, family and record that are cut at two standard deviations; there a smooth mean of both
//     limits with normal spread.
//   - Turns are shared by sine, evenly, or halfway; the wire follows from the fullest slot with its
//     enamel, not from an average fill; the plate follows from the wire by current density.
//   - The mean turn is 2L + 2·1.35·arc + 20 mm by makers, and close round a tooth for tooth coils.
//   - Reading errors come in three hands (normal, Student t with 6 degrees, Laplace), with a zero
//     error of the calliper that adds outside and takes off inside, burrs that make teeth read wide,
//     and steps from 0.01 to 0.5 mm; there normal errors times a factor. Who has no depth rod reads no
//     depth at all; there dimensions were missing one by one.
//   - times_seen is a Poisson count of a hidden popularity, and the bench draws by the popularity;
//     there by the count itself. One record in 25 is aluminium.
//   - The site's mains may have been renamed, or read with a meter; capacitors may have been replaced.
//
// It is the same in what the contract fixes: the four kinds of truth (70, 6, 9, 15 %), gross errors
// of 2 % a dimension, the codes of the slips. What it leaves out: tapped speeds, skew, unequal
// slots, shaded poles, mixed strands, commutator motors.
package simworld
