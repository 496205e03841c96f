// Package lining finds out whether a line-up by packages lineup, trim and bias ends with
// everything in tolerance, and what it takes, on the recorders of sim/trims, which do not
// exist.
//
// [Planned] is an automatic technician who does what the packages say; [Plain] the
// procedure of the trade, one trim at a time. Both end with the case closed. Only then
// [Judge] looks at the truth, with limits of its own. [Trial.Run] does this for a series of
// recorders of one type, the same ones for every [Policy], and makes a [Report].
//
// # The planned technician
//
// Order, targets, passes and what is done come from lineup, how far to turn and what the
// open case adds from trim, bias from bias. What they leave to a person is done so (a technician's judgement):
//
//   - Ranges of the definition are amended by how many turns a trim is seen to take.
//   - Every figure is read closed as found and open before anything is turned but tension
//     and brakes, which come before the good tape. The treble that azimuth takes is added
//     back before closed and open are compared. Where own recordings must be rewound, what
//     the case adds to them is taken from replay, and the proof shows the rest.
//   - Of siblings none of which was turned yet only one is turned before the next look, so
//     that the others learn from it, on one track where that goes. A turn that ends inside
//     with 90 % is not looked at before the proof.
//   - Only figures that have a trim of their own are aimed at.
//   - What is known of own recordings is begun anew when bias was set.
//   - Bias: with three heads up through the peak, watching, and back to where package bias
//     says, in one visit; with one head a staircase. Where bias is set for a flat response
//     one staircase serves the siblings too: how far treble is off tells how far bias is.
//   - Test points: by nominal sensitivity, then by what two readings showed, siblings
//     included; tuned cores by a parabola whose sharpness siblings share.
//   - With the case closed what is out, or nearer its limit than the reading is sure of, is
//     turned again by what it is off, and read closed again; from the fourth closing on only
//     what reads out.
//
// # The plain procedure
//
// The classic order with the case open, each trim turned as far as its range says until
// the reading is inside the tolerance, and a second time round where a later trim moved an
// earlier one. It knows nothing of the case and ends with it closed. Looking while turning
// is [Looking]: each look a pass, whole rows of tracks between looks, or watching.
//
// # Limits
//
// What sim/trims leaves out, this does. Nobody errs: no wrong trim, no track mistaken, no
// drop-out; the scatter of readings is known. Readings without figures in sim/trims (flutter,
// erasure, noise, distortion, crosstalk, noise reduction) are entered as good. The test
// tapes are at the recorder's own references, so that targets are near 0 and the arithmetic
// of lineup's targets is not tried here.
package lining
