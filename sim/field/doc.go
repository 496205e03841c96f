// Package field works out what a replay head gives from the field it would make
// itself, by numerical integration over gap, coating depth and track width. Package
// sim renders captures with it that test the fit of loss signatures, whose own model
// is package tape; this package imports nothing of the project and shares no formula
// or constant with that one.
//
// # The model
//
// By reciprocity the flux of a core is the recorded magnetisation weighed with the
// field that the core makes when driven by unit magnetomotive force:
//
//	R = ∫dz q(z)·exp(-ik(z - z1)·tan α) · (1/δ)·∫dy ∫dx Hx(x, y)·cos(kx)
//
// over x along the tape, y from the spacing d(z) through the coating's depth δ, and z
// across the track. Lengths are metres, angles radians, frequencies hertz, time
// constants microseconds, k = 2π/λ.
//
//   - Hx is the Karlqvist field of a gap with a straight rise of potential (O. Karlqvist,
//     Trans. Roy. Inst. Technol. Stockholm 86, 1954, from memory). It is integrated
//     over x out to some 14 half-waves and over y by Gauss-Legendre panels; neither
//     sin(X)/X nor exp(-kd) is put in.
//   - Magnetisation is even through the coating and lies along the tape.
//   - α tilts the gap line: every strip z is late by (z - z1)·tan α/v. The loss over
//     the width and the delay between tracks come out of the sum.
//   - d runs straight from one edge of the core to the other; beside the core it stays
//     what it is at the edge.
//   - q is 1 under the core and falls beside it as exp(-akζ), or as sinh(ak(b - ζ))/
//     sinh(akb) where a neighbour lies at distance b, a our own constant. The side is
//     integrated out to the neighbour or the end of the recording, with azimuth phase
//     and spacing like the rest.
//   - The core is shifted by a height against the recording: full width with its two
//     ends, or one track after another, all with the same tone.
//   - Where asked for ([Kind.Faced]) the pole face has ends, each a long gap of the
//     opposite sense, off which the tape stands.
//
// What is played is divided by what the design gap would play in contact, square and
// in place, for a machine is lined up flat and a certificate already holds the loss of
// its own coating: see [Player.Response]. Electronics ([Fault]) are first-order
// sections evaluated at the tone: corners, a lost treble part, the ratio of two replay
// chains (IEC 60094-1:1981 clause 15), gain, capacitive coupling of an open head, an
// expander left on.
//
// # How it differs from package tape
//
// Greatest differences over 40 Hz to 12.5 kHz (cassette, 9.525 cm/s, cores 0.38 mm) or
// 16 kHz (open reel, 38.1 cm/s, cores 0.99 mm), this model less package tape; a test
// keeps these figures true:
//
//   - Gap. Tape: ideal quarter-space poles by a conformal map, first null at λ = 1.137
//     gaps. Here: first null at λ = 1 gap, so a gap of g looks like one of 0.90·g
//     there. Against the design gap of 1.3 µm a gap of 1, 2, 3 µm differs by -0.04,
//     +0.14, +0.47 dB at 12.5 kHz; open reel, against 3 µm, 1 and 5 µm by -0.05, +0.09.
//   - Even spacing. Any field that obeys Laplace's equation above a flat head falls as
//     exp(-ky): the integral gives Wallace's 54.6 dB a wavelength, to 1e-6 dB. The
//     models agree because the law is right, not because it is shared.
//   - Spacing that differs across the core. Tape knows one spacing a track. From 0 to
//     1 µm across one core this plays 0.24 dB more at 12.5 kHz than the mean spacing
//     says (cassette), from 0 to 2 µm 0.96 dB (open reel 0.10).
//   - Azimuth. Tape: sinc of core width, delay of the centres. Equal on a recording of
//     the core's width. On a full-width tape, at 15 arcminutes, the sides lose 0.01 dB
//     more, and long waves gathered unevenly beside the outer cores move a delay by up
//     to 0.3 µs (cassette) and 1.3 µs (open reel) at 40 Hz, nothing above 300 Hz.
//   - Fringing. Tape: a boundary-value problem with square side walls, 0.770/k a side.
//     Here: 0.83/k (cassette) and 0.71/k (open reel). Cassette up to +0.34 dB (63 Hz),
//     +0.13 dB at 315 Hz; open reel +0.22 (40 Hz, outer tracks) to -0.09 dB (500 Hz).
//     Outer and inner tracks differ by up to 0.1 dB in this at 40 Hz, by at most
//     0.01 dB (cassette) and 0.06 dB (open reel) from 250 Hz on.
//   - Height, neighbouring recordings, ends of the pole face: tape has no spacing or
//     height across a core, and its head contour is a cosine with a stated amplitude;
//     here they are geometry.
//   - Electronics follow circuit theory in both, written twice.
//
// # Accuracy
//
// Halving all steps moves no response by more than 0.001 dB (test), and the integral
// over gap and depth agrees with its closed form to 0.002 dB down to λ = 6 µm. One
// response with spacing across the core takes about 0.2 ms, one that shares gap,
// spacing and tone with an earlier one of the same [Player] some microseconds.
//
// # Limits
//
// Not modelled: permeability of the tape, magnetisation across the tape's plane or
// uneven in depth, the third dimension of the field within a gap's length of a core's
// edge, shields between cores, crosstalk, saturation. Constants of [Kind] are
// plausible and invented. Below about 100 Hz fringing and pole ends are estimates, as
// everywhere. A gap that has opened against the pole faces' wear is taken as a longer
// straight gap.
package field
