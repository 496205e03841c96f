// Package tape holds the physics between a magnetised tape and the voltage of a
// replay head: wavelength, the losses of spacing, gap, coating depth and
// azimuth, the delay that an azimuth error makes between tracks, the standard
// curves of recorded flux, reference fluxivities, and the rise that a narrow
// core shows on a tape recorded over its full width. Beside them stands what the
// electronics behind the head do to the same signal when a part of them fails or
// is set wrongly, so that the two can be told apart.
//
//   - A wrong equalisation or tape type: [MismatchDB], [EqualisationDelay], over
//     the [Standards] of a speed.
//   - A lost treble part: [TreblePartLoss], [ShelfLoss].
//   - A dried coupling capacitor: [DriedCorner], [LowCornerLoss], [SeriesLoss].
//   - Capacitance where there should be none: [HighCornerLoss], [HeadLoading].
//   - An open or shorted head lead: [OpenLeadLoss], [OpenLeadNoise],
//     [ShortedLeadLoss].
//
// All functions are pure. Lengths are metres, angles radians, speeds metres per
// second, times seconds, circuit values ohms, farads and henries; time constants of
// equalisation are the exception, in microseconds, because every standard and
// every label states them so. What is outside a law's range gives NaN.
//
// # Signs
//
// Functions named Loss return an attenuation: positive means that the level is
// lower. FringingGain, HeadContour, HeadLoading and OpenLeadNoise return a gain:
// positive means that the level is higher. FluxDB, EqualisationError and MismatchDB
// are levels: positive is more. Delay and angle are signed: positive is later, and
// a positive azimuth angle makes the track farther from track 1 play later. Losses
// and gains in decibels add along the chain, and so do phase delays.
//
// # Sources
//
// Spacing and thickness: R. L. Wallace, "The Reproduction of Magnetically
// Recorded Signals", BSTJ 30(4), 1951. Gap: the ideal head, two infinitely
// permeable quarter-space poles (the problem of W. K. Westmijze, 1953), solved
// here by conformal mapping; the sinc with an effective gap of 1.11 gaps is
// J. M. Eargle, Electroacoustical Reference Data, 1994, chapter 167. Azimuth:
// J. G. McKnight, "Azimuth in a Magnetic Tape Recorder". Equalisation: IEC
// 60094-1:1981 clause 15 and IASA TC-04 clause 5.4.10. Fringing: a head block of
// constant magnetic potential with square side walls, solved as a boundary-value
// problem; the matter is that of D. F. Eldridge and A. Baaba (1961), A. van Herk
// (1977) and J. G. McKnight (JAES 26(4), 1978), whose worked numbers could not be
// read. Corners, couplings and head circuits: circuit theory, checked against the
// weightings of IEC 61672-1:2013 (chains of such corners) and against nodal
// equations solved elsewhere. Thermal noise: H. Nyquist, Physical Review 32, 1928.
//
// # Limits
//
// The laws hold for a sinusoidal magnetisation, a tape in contact or at constant
// distance, and a head long and deep against the wavelength. At the lowest
// frequencies (wavelength near the pole-face length, several millimetres)
// fringing and head contour are estimates: measure instead. Record losses and
// bias are not covered, nor is what a wrong tape type does while recording.
//
// The corners are of first order and linear; a real amplifier has several, and
// feedback moves them. The winding is a resistance and an inductance without the
// losses of the core, so that the resonance of a real head is lower and flatter. The
// stray capacitance across a break, the resistance left in a short and how much a
// capacitor has dried are not known beforehand: such functions show the shape and
// the order of size, not a figure to expect. Track widths, tolerance masks and other
// matters of a machine are in its definition, not here.
package tape
