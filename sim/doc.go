// Package sim makes captures and instrument readings of recorders whose faults
// are known, for the demo and for tests. Nothing that measures or diagnoses may
// lean on it.
//
// [Render] plays a test tape through a recorder described by a [Scenario] and
// writes the WAV that an audio interface would have taken, with the true values
// as a [Truth]. [RenderRecording] records a programme and replays it, with the true
// values as a [RecordingTruth]; [Recording.Play] gives the same as a stream. [Bench] answers what instruments would read at the test points of
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
// A [Track] may have a Response of its own in place of all that. [FieldScenario] builds
// one from package field, which integrates heads from their field and shares nothing
// with package tape, for captures that must test a fit which uses that. Its true level,
// response, delay and noise are kept as for any track, response still less the fringing
// of package tape, as measured ones are; what the faults were is not in the truth, for
// the fields of such a track stay empty: keep them with the seed. [Memory] renders
// without a file where hundreds of captures are measured.
//
// # Noise
//
// Noise is Gaussian. Its level is defined in the band from 20 Hz to 20 kHz (or to
// half the sampling rate, if lower) by the closed integral of its spectrum, so the
// true value of the measure noise is known and not estimated.
//
// # The model of a recording
//
// Every part of a programme is a sum of sines on each track, and stays one: what the
// recorder does to it is worked out on the sines, so the true values are exact. Two
// passes move the tape, each with its speed and flutter; what was written at position x
// is read at x, so the time τ of the programme that is heard at time t solves
//
//	P_record(τ) = P_replay(t)
//
// and sines are taken at τ. Off tape, while recording, P_replay(t) = P_record(t) less
// the distance of the heads.
//
// Below [TrebleHz] the tape has the law y = x + b·x² - a·x³, expanded exactly for up to
// three tones: a sine of peak A has the third harmonic a·A³/4, the fundamental
// A - 3a·A³/4 and the second harmonic b·A²/2, and two tones have all their products. a is
// chosen so that the third harmonic is 3 % at the stated level on tape. From TrebleHz on
// a tone saturates as A/(1 + (A/2S)²), which has its maximum S, in inverse proportion to
// frequency. Crosstalk adds the flux of one track to another before replay. The second
// pass over an erase part leaves what it says; a staircase follows a parabola in dB; a
// compander halves or doubles dB about 0 dB; a sliding band moves treble below -10 dB.
// Laws and numbers of the last three and of saturation are common practice or invented,
// no source.
//
// Not modelled: transients of compander and sliding band, their effect on noise, noise
// that rises with the signal, print-through, crosstalk while recording, products of
// more than three tones below TrebleHz, and any product above it.
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
// Without a Response of their own, tracks have the losses of package tape, the same
// laws that a fit would use: such a capture does not prove those laws. The tones of a test tape are pure; replay adds
// no distortion other than clipping. Contact loss is spacing, so phase does not
// change with it. Section edges are raised-cosine ramps. Drop-outs cut all
// frequencies alike.
package sim
