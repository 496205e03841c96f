// Package measure turns captures of a test tape into figures: level, frequency
// response, speed error, inter-track delay, azimuth and noise, each with its 95 %
// interval, its reference, its method and its warnings, or the reason why there
// is no figure.
//
// # How it works
//
// Each capture is read twice: [headstack/testtape.Find] says where the sections
// lie, then one streaming pass measures them all. In a tone section every channel
// is demodulated around the tone expected there, and of the complex amplitude only
// short means (about 8 ms) of power, phase and frequency are kept; in a silent
// section Welch's power spectrum. Memory is a few megabytes per minute and track,
// whatever the sample rate. All statistics run on the kept means.
//
// # Definitions
//
//   - level: r.m.s. of the tone as dBFS, a full-scale sine being 0 dBFS (AES17).
//     Noise inside the band is estimated from the envelope and taken off.
//   - response: level less the level of the tape's reference section on the same
//     track, less the difference of the two stated levels. Where the tape is
//     recorded over its full width and not compensated, the fringing gain of
//     [headstack/tape.FringingGain] is taken off both. 0 dB is a perfect machine.
//   - speed_error: frequency of the tone over its nominal frequency, less 1, in
//     percent. Flutter is fitted as sinusoids and removed, so that a slow wow cut
//     off by the section's ends does not lean on the figure.
//   - delay: phase of the higher-numbered track behind the lower-numbered one over
//     2π times the actual frequency, in microseconds; whole periods are told by
//     climbing from the low tones. Positive: track_b is later.
//   - azimuth: the angle whose tangent is delay × actual speed / distance of the
//     two track centres, in arcminutes, from all tones of a pair; the highest tones
//     weigh most. azimuth_line is the one line through all tracks.
//   - noise: r.m.s. from 20 Hz to 20 kHz, unweighted, over the same track's r.m.s.
//     in the reference section.
//
// # Intervals
//
// A tone in white noise would let the variance be computed from the residual. Tape
// flickers, drifts and flutters, so the residual's own spectrum near zero frequency
// gives it: see [headstack/dsp.LeastSquares]. Intervals state random errors of this
// capture. They do not state the errors of the tape's certificate, of the interface's
// clock (about 50 parts in a million where unchecked) or of its response.
//
// # Sources
//
// AES17 (level convention); P. D. Welch, IEEE Trans. Audio Electroacoust. 15(2),
// 1967 (spectrum); D. C. Rife, R. R. Boorstyn, IEEE Trans. Inf. Theory 20(5), 1974
// (frequency and phase of a tone in noise); E. Lazarus, D. J. Lewis, J. H. Stock,
// Econometrica 89(5), 2021 (means under correlated errors); J. Hartung, G. Knapp,
// Statistics in Medicine 20, 2001 (combining sections); J. G. McKnight, JAES 26(4),
// 1978 (fringing).
//
// # Limits
//
// The capture interface's own response is not removed. Delay tells a reversed
// polarity from an azimuth error only where the tape holds a tone low enough. Weighted
// noise, flutter and distortion figures are not given here.
package measure
