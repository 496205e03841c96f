// Package trim reckons how far to turn: from what was turned and read so far, the state
// of every quantity of a recorder that is lined up, how much each adjuster does, and the
// next turns with their intervals; how far off an open case sets a target ([Case]); where
// a trap is at its least ([Extremum]); and the sign for a large display while a hand turns
// ([Live]).
//
// # Turning
//
// A [Model] says which adjuster sets which quantity and which quantity moves which
// others: azimuth all treble ([tape.AzimuthLoss]) and delay ([tape.AzimuthDelay]), play
// level all that comes behind it, bias the level and treble of recording, record level
// its treble. [ForMachine] makes it of a definition. A [Bench] takes moves ([Bench.Turn])
// and readings ([Bench.Read]) in their order. [Bench.Next] says what to turn:
//
//	read; Next; turn the first; read what it moved; Next; ... until all is Enough
//
// gives fewest turns. Where a reading costs a pass of the tape, all turns that Next names
// are made before the next reading: they are reckoned together.
//
// # Units
//
// Positions are in degrees or turns from the anticlockwise stop, clockwise positive; an
// hour of a clock face is 30°, 12 in the middle ([Clock]). Quantities are in their own
// units: dB, %, arcminutes, mA, kHz. Spreads (SD) are standard deviations, intervals hold
// 95 %.
//
// # How it is estimated
//
// Unknown are the base of each quantity, the logarithm of each sensitivity, parted into
// what is common to siblings and what is a trim's own, the gains of one quantity on
// another where they are not exact, the place in its travel of a divider, and what each
// move did otherwise than entered: the hand, and the backlash on reversal. All have normal
// priors. The most probable values given all readings so far are found anew after each
// reading (Gauss and Newton's steps, damped after Marquardt), the covariance from the
// curvature there. Intervals follow the line of unknowns that moves a figure most out to
// 1.96 standard deviations, so they are lopsided where sensitivities are.
//
// A direction that a definition leaves open (sign 0 of a screw) is tried both ways and
// the likelier kept. A move is held against its other ways, before its readings count:
// without effect, a sibling's, the other way round; a reading 3.5 standard deviations off
// is set aside until a second one agrees ([Doubt]).
//
// Dips and peaks have two sides and are summed over a grid. The open case is a normal
// model over machines, props and closings, with its two spreads summed over.
//
// # Sources
//
//   - D. W. Marquardt, SIAM J. Appl. Math. 11(2), 1963 (damped steps).
//   - A. M. Hasofer, N. C. Lind, J. Eng. Mech. Div. ASCE 100(1), 1974 (the most probable
//     point on the way to a limit), from memory.
//   - H. A. P. Blom, Y. Bar-Shalom, IEEE Trans. Autom. Control 33(8), 1988 (interacting
//     models of a moving thing), from memory.
//   - Azimuth: [tape.AzimuthLoss] and [tape.AzimuthDelay]. Share of a treble trim at
//     other tones: derivative of the one time constant of IEC 60094-1.
//
// Travels, spreads, backlash, gains of bias on level and treble, how open cases differ:
// common practice or estimates, no source; each constant says so.
//
// # Limits
//
// Readings of one pass are taken for independent. A definition's range is all that is
// known of a trim before it is turned; where its law is not said it is taken for even in
// the range's unit. Traps and the record level that they move are not fitted together, and
// an [Extremum] does not know its stops. Speed does not move response here. Tracks share
// how well closing repeats, not which way one closing came to sit. After one reading that
// moved nothing a wrong trim is not told from a dead one unless siblings are read too.
package trim
