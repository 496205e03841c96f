// Package testtape reads the description of a calibration tape and finds the
// tape's sections in a capture of its replay.
//
// # The description
//
// A calibration tape carries sections: tones of stated frequency and level, one
// after the other, and stretches of silence. Its certificate is typed once into
// a YAML file ([Load], [New], [Schema]); two tapes of invented names are built
// in ([Builtin]) for the demo and as examples. Units are in the field names:
// cm/s, nWb/m, Hz, µs, s, and dB relative to the tape's own reference
// fluxivity.
//
// # Finding
//
// [Find] reads a capture once, front to back, in bounded memory, and says where
// each section begins and ends in seconds of the capture, how far the speed is
// off, and of each section that it did not find, why. It assumes that the
// sections come in the tape's order, that replay speed is within ±6 % of
// nominal and drifts by less than about 0.5 %, and that at least 35 % of a
// section is there unless the capture itself cuts it. It does not judge levels:
// that is for measure.
//
// The method is an explicit-duration alignment (a semi-Markov model solved by
// dynamic programming; Rabiner, "A tutorial on hidden Markov models", Proc.
// IEEE 77(2), 1989, section IV-D) over tone evidence from short spectra. The
// constants in it are plain choices, each with its reason beside it; they were
// checked by the synthetic captures of this package's tests, not fitted to
// recordings.
package testtape
