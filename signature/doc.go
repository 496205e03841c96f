// Package signature tells mechanical from electrical trouble by tape physics: the shape
// of a loss against frequency, over the tracks of a head and in time names its cause.
//
// [Explain] fits the report of captures of a test tape (or of a record programme) with
// the causes that physics and electronics allow and says which the figures demand, with
// probability, numbers and a sentence, which they leave open, and what would tell.
// [Compare] does the same with the difference of two captures: what pressing, cleaning,
// warming or closing the case changed. [Likelihoods] gives a diagnosis the weight of
// every cause on every track.
//
// # What is fitted
//
// Per track: the level of every tone in dB, its delay re the other tracks in µs, the noise
// re full scale, the flicker of all frequencies and of the treble (logarithms), and
// whether tones are missing. Fringing of a full-width tape is taken off. All causes add in
// these units:
//
//	gain            a constant
//	spacing         54.6 dB per wavelength (Wallace 1951); a ramp counts the slope over each core
//	azimuth         delays s·tan(α)/v of the tracks, and the loss over the core's width
//	gap             the ideal head's loss, less that of the design gap
//	height          the part of an edge core beyond the tape, and what it gathers beside itself
//	equalisation    the difference of two standard curves
//	low, high corner  first order, level and delay
//	head open       next to no signal that rises 6 dB per octave and leads by a quarter period; hiss
//	unsteady        flicker of the treble (contact) or of everything (joint)
//
// The laws are those of package tape. A compander left on is found by the level steps of
// the report; its doubling is taken off before the rest is fitted.
//
// # The model
//
// A sound machine differs from the ideal by amounts with stated spreads (spread.go):
// between tracks by gain 0.2 dB, contact 0.015 µm, gap scatter 0.15 µm, 0.05 dB in each
// figure; in common by the unknown tone errors of the tape (0.17 dB, as evenly within
// ±0.3 dB), the capture's level and, at long waves, pole-face bumps and fringing. All
// are normal; the common part is integrated in closed form (white.go). The spreads of
// tones, figures, delays and gaps are then learned from what the best hypothesis leaves.
//
// A hypothesis is a set of up to five causes, each on its tracks: one track, all alike,
// all unevenly, a ramp from any track to an edge, odd, even, halves and the definition's
// groups. Sizes have log-normal priors; parameters are found by Gauss-Newton and
// integrated by Laplace's method. Sets grow from the twelve best of each size by the
// suspects that promise most (search.go). Prior chances of causes are estimates of how
// many untouched machines show each: common practice, no source. A tone that is wrong on
// all tracks, and a figure that fits nothing, are hypotheses too, so that they are set
// aside instead of bending the rest.
//
// A finding's probability is the sum over the hypotheses that hold it. Its numbers are
// mixed over them, with the tracks' own sound differences as unknowns: a gain is that
// track's level re the mean of the tracks without a finding, as they are.
//
// # Figures
//
// Accuracy, confusion matrix and calibration on simulated captures are in
// doc/LOSS-SIGNATURES.md. The simulator there (sim/field) integrates heads from their
// field and shares no law and no constant with this fit.
//
// # Limits
//
// A level that all tracks share is not judged: a capture interface has no absolute zero.
// On a tape recorded per track or on the machine's own recording, head height shows as a
// loss that all tracks share, and is not found. The chances and spreads hold for machines
// as they come to a bench; a machine whose every trim was turned shows as many findings of
// gain. Losses of recording (bias, record equalisation) in the machine's own recordings
// are fitted as if they were losses of replay.
//
// # Sources
//
// Laws: see package tape. Laplace's method and hypothesis comparison: D. J. C. MacKay,
// Information Theory, Inference, and Learning Algorithms, 2003, chapters 27 and 28.
// Woodbury's identity, Gauss-Newton with damping: textbook.
package signature
