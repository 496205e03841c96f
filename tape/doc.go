// Package tape holds the physics between a magnetised tape and the voltage of a
// replay head: wavelength, the losses of spacing, gap, coating depth and
// azimuth, the delay that an azimuth error makes between tracks, the standard
// curves of recorded flux, reference fluxivities, and the rise that a narrow
// core shows on a tape recorded over its full width.
//
// All functions are pure. Lengths are metres, angles radians, speeds metres per
// second, times seconds; time constants of equalisation are the exception, in
// microseconds, because every standard and every label states them so.
//
// # Signs
//
// Functions named Loss return an attenuation: positive means that the level is
// lower. FringingGain and HeadContour return a gain: positive means that the
// level is higher. FluxDB and EqualisationError are levels: positive is more.
// Delay and angle are signed: a positive azimuth angle makes the track farther
// from track 1 play later.
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
// read.
//
// # Limits
//
// The laws hold for a sinusoidal magnetisation, a tape in contact or at constant
// distance, and a head long and deep against the wavelength. At the lowest
// frequencies (wavelength near the pole-face length, several millimetres)
// fringing and head contour are estimates: measure instead. Record losses and
// bias are not covered.
package tape
