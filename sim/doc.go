// Package sim makes captures and instrument readings of recorders whose faults
// are known, for the demo and for tests. Nothing that measures or diagnoses may
// lean on it.
//
// [Render] plays a test tape through a recorder described by a [Scenario] and
// writes the WAV that an audio interface would have taken, with the true values
// as a [Truth]. [Bench] answers what instruments would read at the test points of
// a machine definition, and how its functions behave, under given faults.
//
// # The model of a capture
//
// The tape is a line of position x, counted in seconds at the tape's nominal
// speed: p = x/v_tape. The recorder moves it by
//
//	p(t) = p0 + r·∫(1 + w(t)) dt,   r = (v_machine/v_tape)·(1 + speed error)
//
// with w the flutter, a sum of sines, integrated in closed form. A section of
// tone f lies between two positions; track m reads sin(2πf·(p - d_m)), where
// d_m = s_m·tan(azimuth)/v_tape and s_m is the distance of its centre from that of
// track 1. So tones, section times and delays all follow the actual speed, and the
// phase is exact at every sample: nothing accumulates.
//
// The certificate's level_db is flux through the stated equalisation. A recorder
// whose replay equalisation equals the tape's, with no loss, plays every section
// at reference level plus level_db. What a [Track] names moves it from there:
// spacing, gap, coating depth and azimuth at the recorded wavelength v_tape/f;
// fringing of a full-width tape that is not compensated for it; another
// equalisation and first-order corners at the replayed frequency r·f, with their
// phase. A replay gap is normally compensated by the recorder: GapUm is what is
// not.
//
// Electronics and crosstalk turn the phase of a tone, so a delay measured between two
// tracks whose electronics differ is not that of the azimuth alone, here as at a bench;
// the truth states both.
//
// # Noise
//
// Noise is Gaussian. Its level is defined in the band from 20 Hz to 20 kHz (or to
// half the sampling rate, if lower) by the closed integral of its spectrum, so the
// true value of the measure noise is known and not estimated.
//
// # Readings and checks
//
// A [Bench] sums the effects of its faults along the path that the definition gives to
// a test point or function. Parts spread and instruments err as its fields say; a
// reading may slip in one of the ways of [Slip]. [Bench.Replay] puts the same faults
// into a scenario. Ear thresholds, leakage and noise floor are common practice or
// invented, no source.
//
// # Limits
//
// The losses are those of package tape, the same laws that a fit would use: this
// simulator does not prove those laws. Tones are recorded pure; the recorder adds
// no distortion other than clipping. Contact loss is spacing, so phase does not
// change with it. Section edges are raised-cosine ramps. Drop-outs cut all
// frequencies alike.
package sim
