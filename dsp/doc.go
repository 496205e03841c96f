// Package dsp holds the signal processing of the bench: transforms, windows,
// a decimating demodulator, Welch's power spectrum, and the statistics of a
// mean or a slope whose errors are correlated in time. It knows signals and
// nothing of tape.
//
// # Units
//
// Samples are dimensionless with full scale ±1. Frequencies are in hertz where
// the name says Hz, else in cycles per sample. Phases are in radians, powers
// are mean squares, power densities mean squares per hertz.
//
// # Streaming
//
// [Demodulator] and [Welch] take samples as they come and keep a few filter
// lengths of them, so a capture of any length passes through a fixed amount of
// memory.
//
// # Sources
//
//   - Transform: T. G. Stockham, autosort form of the fast Fourier transform, as
//     given by C. Van Loan, Computational Frameworks for the Fast Fourier
//     Transform, 1992, section 1.7.
//   - Windows and filter length: J. F. Kaiser, Nonrecursive digital filter design
//     using the I0-sinh window function, IEEE ISCAS 1974; F. J. Harris, Proc.
//     IEEE 66(1), 1978.
//   - Power spectrum: P. D. Welch, IEEE Trans. Audio Electroacoust. 15(2), 1967.
//   - Variance of a mean under correlated errors from equally weighted cosine
//     transforms: U. K. Müller, J. Econometrics 141, 2007; E. Lazarus, D. J.
//     Lewis, J. H. Stock, Econometrica 89(5), 2021. Likelihood of a spectrum's
//     shape: P. Whittle, Bull. Int. Stat. Inst. 39, 1962. Power-law spectra of
//     phase: IEEE Std 1139 (definitions of frequency stability).
//   - Estimation of frequency and phase in noise and its bound: D. C. Rife,
//     R. R. Boorstyn, IEEE Trans. Inf. Theory 20(5), 1974.
//
// # Limits
//
// Transforms are for powers of two. Filters are linear phase; there is no
// minimum-phase design. Intervals are for smooth error spectra (white to
// random walk) once discrete lines have been fitted and removed.
package dsp
