// Package dsp holds the signal processing of the bench: transforms, windows,
// a decimating demodulator, Welch's power spectrum, the published weightings and
// quasi-peak detectors for noise and for speed fluctuation, and the statistics
// of a mean or a slope whose errors are correlated in time. It knows signals
// and nothing of tape.
//
// # Units
//
// Samples are dimensionless with full scale ±1. Frequencies are in hertz where
// the name says Hz, else in cycles per sample. Phases are in radians, powers
// are mean squares, power densities mean squares per hertz.
//
// # Streaming
//
// [Demodulator], [Bank], [Decimator] and [Welch] take samples as they come and
// keep a few filter lengths of them, so a capture of any length passes through a
// fixed amount of memory, provided that outputs are drained. How a stream is cut
// into pieces changes no bit of the outputs. So do [Filter], [Detector468] and [DetectorFlutter], which give as many
// samples as they take.
//
// # Weightings and detectors
//
// Noise by IEC 61672-1 is [NewFilterA] and a mean square; by ITU-R BS.468-4 it
// is [NewFilter468] and [Detector468]. Wow and flutter by IEC 60386 is a speed
// deviation through [NewFilterFlutter] and then [DetectorFlutter]; by AES6-2008
// it is the same weighted deviation through [TwoSigma], after Settle seconds.
// [WeightingA], [Weighting468] and [WeightingFlutter] are the curves themselves.
// Each says which of its figures were read and which are from memory: the
// curves of A and 468 were read, the flutter curve, its pulses and the burst
// tables of 468 were not and are to be read before a report calls them limits.
//
// # Speed
//
// Inner products, filters and the steps of transforms are in assembler for
// processors with AVX2 and FMA, found out at run time, and in Go for all others;
// the two differ by rounding, so figures may differ in their last bits between
// kinds of machine. Filters before a decimation stop only what would fold onto
// the band that is kept. Plans, windows and designs are shared between channels.
//
// # Sources
//
//   - Transform: T. G. Stockham, autosort form of the fast Fourier transform, as
//     given by C. Van Loan, Computational Frameworks for the Fast Fourier
//     Transform, 1992, section 1.7.
//   - Windows and filter length: J. F. Kaiser, Nonrecursive digital filter design
//     using the I0-sinh window function, IEEE ISCAS 1974; F. J. Harris, Proc.
//     IEEE 66(1), 1978.
//   - Filters before a decimation: E. B. Hogenauer, IEEE Trans. Acoust. Speech
//     Signal Process. 29(2), 1981, with the zeros spread.
//   - Power spectrum: P. D. Welch, IEEE Trans. Audio Electroacoust. 15(2), 1967.
//   - Variance of a mean under correlated errors from equally weighted cosine
//     transforms: U. K. Müller, J. Econometrics 141, 2007; E. Lazarus, D. J.
//     Lewis, J. H. Stock, Econometrica 89(5), 2021. Likelihood of a spectrum's
//     shape: P. Whittle, Bull. Int. Stat. Inst. 39, 1962. Power-law spectra of
//     phase: IEEE Std 1139 (definitions of frequency stability).
//   - Estimation of frequency and phase in noise and its bound: D. C. Rife,
//     R. R. Boorstyn, IEEE Trans. Inf. Theory 20(5), 1974.
//   - Weightings and detectors: IEC 61672-1:2013, Annex E; Recommendation ITU-R
//     BS.468-4, Table 1 to 3; IEC 60386:1972 with Amendment 1:1988; AES6-2008.
//
// # Limits
//
// Transforms are for powers of two. Band-limiting filters are linear phase; the
// weightings imitate the magnitude of their networks and not the phase, and at
// 44.1 and 48 kHz leave the curve above 20 kHz by up to 2 dB. Intervals are for smooth error spectra (white to
// random walk) once discrete lines have been fitted and removed.
package dsp
