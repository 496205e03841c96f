// Package measure turns captures into figures: of a test tape, or of a record
// programme that the machine under test recorded and replayed. Each figure has its 95 %
// interval, its reference, its method and its warnings, or the reason why there is no
// figure. [Headings] lists them all.
//
// # How it works
//
// Each capture is read twice: [headstack/testtape.Find] or
// [headstack/programme.Programme.Locate] says where the sections lie, then one
// streaming pass hears them all, channels side by side. A family of measures (family.go)
// says for each section what it must hear there, and keeps of it only what has a low
// rate: short means (about 8 ms) of a tone's power, phase and frequency, the speed at
// 1 to 2 kHz, block powers of spectra. Memory is a few megabytes per minute and track,
// whatever the sample rate. All statistics run on what was kept.
//
// # Definitions: level, response, delay
//
//   - level: r.m.s. of the tone as dBFS, a full-scale sine being 0 dBFS (AES17).
//     Noise inside the band is estimated from the envelope and taken off.
//   - response: level less the level of the reference section on the same
//     track, less the difference of the two stated levels. Where the tape is
//     recorded over its full width and not compensated, the fringing gain of
//     [headstack/tape.FringingGain] is taken off both. 0 dB is a perfect machine. In a
//     comb the reference is the comb's own tone at the reference frequency.
//   - delay: phase of the higher-numbered track behind the lower-numbered one over
//     2π times the actual frequency, in microseconds; whole periods are told by
//     climbing from the low tones. Positive: track_b is later.
//   - azimuth: the angle whose tangent is delay × actual speed / distance of the
//     two track centres, in arcminutes, from all tones of a pair; the highest tones
//     weigh most. azimuth_line is the one line through all tracks.
//   - identity, polarity: which track's identity tone is on a channel, and whether
//     its second harmonic stands upright (1) or upside down (-1).
//
// # Definitions: speed
//
//   - speed_error: frequency of the tone over its nominal frequency, less 1, in
//     percent. Flutter is fitted as sinusoids and removed, so that a slow wow cut
//     off by the section's ends does not lean on the figure.
//   - wow_flutter_2sigma, wow_flutter_quasi_peak, wow_flutter_rms: of the deviation of
//     the speed, weighted, in percent zero to peak or r.m.s. (AES6-2008, IEC 60386).
//   - flutter_unweighted_rms from 0.2 to 200 Hz, wow_rms to 6 Hz, flutter_rms from
//     6 Hz; flutter_track_rms is what a track has beside the speed common to all.
//   - drift: slope of the mean speed, %/min. flutter_line: one line of the spectrum,
//     zero to peak, named after what turns so.
//
// # Definitions: noise and unsteadiness
//
//   - noise: r.m.s. from 20 Hz to 20 kHz, unweighted; noise_a: A-weighted (IEC
//     61672-1); noise_468: weighting and quasi-peak detector of ITU-R BS.468-4; hum: a
//     fundamental found between 45 and 65 Hz with its harmonics, hum_line each of them.
//     All re the same track at 0 dB of the tape or programme; noise_floor: noise re full
//     scale, which a track without signal has too.
//   - flicker: r.m.s. in dB of the level about its own slow mean; flicker_all_band and
//     flicker_treble part it by flicker² = all² + (treble·f/10 kHz)², the second by the
//     law of spacing loss. flicker_coherence: correlation of the courses of two tracks.
//   - dropouts: falls of 6 dB or more for 20 ms or longer, a minute (common practice,
//     no source); the interval is that of a Poisson count.
//
// # Definitions: distortion
//
//   - thd, harmonic_2, harmonic_3: r.m.s. of harmonics 2 to 5, and single harmonics, in
//     percent of the fundamental, each turned back by its multiple of the fundamental's
//     measured phase and averaged, so that flutter does not smear it; noise taken off in
//     power. Where none stands out the interval reaches 0.
//   - mol_3pct, sol: replayed level re the reference section where the third harmonic is
//     3 %; the largest replayed level of the treble steps.
//   - intermodulation, intermodulation_2: products 2f1 - f2 and 2f2 - f1, and f2 - f1,
//     over the sum of both tones; where f2 ≥ 4·f1, products f2 ± 2f1 and f2 ± f1 over f2
//     (IEC 60268-3, from memory).
//   - noise_reduction_left_on: measured over stated level differences, dB/dB; 1 is none.
//     treble_follows_level: change of treble over the middle tone from the highest to
//     the lowest level, dB; 0 is none.
//
// # Definitions: between tracks
//
//   - crosstalk: what of track is heard in track_b, by synchronous detection, re
//     track_b's own replay of the same tone where it was recorded, else re the tone on
//     track. overdub_bleed: the same in a capture taken while recording.
//   - erase_depth: what is left of a tone after it was recorded over, re the tone
//     before, band-passed; negative.
//
// # Intervals
//
// A tone in white noise would let the variance be computed from the residual. Tape
// flickers, drifts and flutters, so the residual's own spectrum near zero frequency
// gives it: see [headstack/dsp.LeastSquares]. Tests hold that the intervals cover the
// truth in 92 to 98 % of 500 runs. Intervals state random errors of this capture. They
// do not state the errors of the tape's certificate or of the interface's clock (about
// 50 parts in a million where unchecked). The interface's response is taken off where
// a loop-back is given ([Loopback]).
//
// # Sources
//
// AES17 (level convention); AES6-2008, IEC 60386 (flutter); ITU-R BS.468-4, IEC 61672-1
// (noise); IEC 60268-3, IEC 60094-3 (distortion, erasure, from memory); P. D. Welch,
// IEEE Trans. Audio Electroacoust. 15(2), 1967 (spectrum); D. C. Rife, R. R. Boorstyn,
// IEEE Trans. Inf. Theory 20(5), 1974 (frequency and phase of a tone in noise); S. O.
// Rice, BSTJ 23, 1944 (length of a vector in noise); E. Lazarus, D. J. Lewis, J. H.
// Stock, Econometrica 89(5), 2021 (means under correlated errors); J. Hartung, G. Knapp,
// Statistics in Medicine 20, 2001 (combining sections); M. Steffen, Astron. Astrophys.
// 239, 1990, M. Ayer et al., Ann. Math. Stat. 26, 1955 (monotone fits); J. G. McKnight,
// JAES 26(4), 1978 (fringing).
//
// # Limits
//
// Delay tells a reversed polarity from an azimuth error only where the tape holds a tone
// low enough; a programme's identity part tells it outright. The interface's own
// distortion, noise and crosstalk are not taken off. Record and replay flutter of one
// machine add or cancel with the start: see [RepeatedStarts].
package measure
