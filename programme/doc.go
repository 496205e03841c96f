// Package programme holds record programmes: what is recorded through a machine so
// that its replay can be measured, and recognised, track by track.
//
// A programme is a list of parts. In each part every track carries a sum of steady
// sines, or nothing. What a part is for is its [Kind]. A machine that records few
// tracks at once takes a programme in rounds: each round is the whole programme for
// the tracks of that round, and on replay the rounds are merged.
package programme
