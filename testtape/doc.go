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
// Sections may follow each other without a gap, be of the same tone, and differ
// in level or in the track that carries them: an edge lies where a level steps
// by 1 dB or more on some track, else where the stated lengths put it. Tones
// that sound together with a section's own do not matter while they are farther
// than 7 % from it, or farther from the stated frequency than it is.
//
// Music may hold notes near a tape's tones. A capture counts as that of a tape
// only when two sections follow each other that are pure tones (nothing above
// 220 Hz within 12 dB) of 75 to 130 % of their stated lengths, or one is that
// lasts 9 s or is alone in the capture. What a capture keeps of a section that
// it cuts is found from about a second on; a shorter rest may be missed, as may
// silence of which less than half is left. Silence next to blank tape that sounds
// the same cannot be told from it but by its length.
//
// Steady stretches are not analysed frame by frame: where the energy of every
// channel holds and two spectra up to 0.7 s apart agree, those between are taken
// to be the same. Music, speech and flickering levels cost more time than tones. What
// is not analysed is not unpacked either: of samples that are no numbers, in a float
// capture, only those that were looked at are counted.
//
// The method is an explicit-duration alignment (a semi-Markov model solved by
// dynamic programming; Rabiner, "A tutorial on hidden Markov models", Proc.
// IEEE 77(2), 1989, section IV-D) over tone evidence from short spectra. The
// constants in it are plain choices, each with its reason beside it; they were
// checked by the synthetic captures of this package's tests, not fitted to
// recordings.
package testtape
