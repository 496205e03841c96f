package programme

import "math"

// MaxTracks is the largest number of tracks of a programme: the identity tones of
// more would lie too near one another to be told apart under flutter.
const MaxTracks = 32

// Levels and phases of the identity part. The second harmonic stands in such a phase
// to its fundamental that the tall peaks of the waveform point up:
//
//	y(t) = A·(sin θ - b·cos 2θ),  θ = 2πft,  b = -10 dB
//
// has its highest peak A·(1 + b) at θ = 90° and its deepest valley shallower. The
// angle φ₂ - 2φ₁ between the two does not change with delay, and changes by 180° when
// the track is reversed: that is how polarity is told, see [IdentityPhase].
const (
	identityDB       = -10.0 // fundamental, re reference level
	identitySecondDB = -20.0 // its second harmonic
	secondPhaseDeg   = -90.0
)

// IdentityPhase is the angle φ₂ - 2φ₁ in degrees, -180 to 180, between the phase of
// the second harmonic and twice that of the fundamental of an identity tone, both as
// sines. It is -90° for a track of right polarity and +90° for a reversed one; tape
// and electronics turn it by some tens of degrees.
func IdentityPhase(fundamentalDeg, secondDeg float64) float64 {
	d := math.Remainder(secondDeg-2*fundamentalDeg, 360)
	if d == -180 {
		return 180
	}
	return d
}

// Reversed tells polarity from [IdentityPhase]: the sign decides. sure is false
// within 30° of where it could be either.
func Reversed(identityPhaseDeg float64) (reversed, sure bool) {
	off := math.Abs(math.Remainder(identityPhaseDeg-90, 360)) // from reversed
	return off < 90, math.Abs(off-90) > 30
}

// IdentityHz is the tone that tells a track, from 1, in a programme of so many
// tracks; 0 when there is no such track or more than [MaxTracks].
//
// The tones lie between 300 Hz and 3 kHz on a lattice
//
//	f = d·(3m + 1)
//
// with whole numbers m of which no three are in arithmetic progression (those whose
// ternary digits are all 0 or 1, counted from m₀). Sums and second harmonics are then
// 2 modulo 3 in units of d, differences and third harmonics 0, 2f₁+f₂ 0, and
// 2f₁ - f₂, which is 1, hits a third tone only in a progression: every harmonic and
// every product of two tones up to the third order is at least d from every tone,
// and any two tones are 3d apart. d is 64 Hz for up to 8 tracks, 21 Hz for up to 16,
// 7 Hz for up to 32. A common speed error scales all alike.
func IdentityHz(track, tracks int) float64 {
	if track < 1 || track > tracks || tracks > MaxTracks {
		return 0
	}
	d, first := 7.0, 14
	switch {
	case tracks <= 8:
		d, first = 64, 2
	case tracks <= 16:
		d, first = 21, 5
	}
	m, place := first, 1
	for k := track - 1; k > 0; k >>= 1 { // binary digits of k read as ternary
		m += k & 1 * place
		place *= 3
	}
	return d * float64(3*m+1)
}

// identityTones are what each track carries in the identity part.
func identityTones(tracks int) [][]Sine {
	each := make([][]Sine, tracks)
	for i := range each {
		hz := IdentityHz(i+1, tracks)
		each[i] = []Sine{{Hz: hz, LevelDB: identityDB}, {Hz: 2 * hz, LevelDB: identitySecondDB, PhaseDeg: secondPhaseDeg}}
	}
	return each
}
