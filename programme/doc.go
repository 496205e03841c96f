// Package programme holds record programmes: what is recorded through a machine so
// that its replay can be measured, and recognised, track by track.
//
// A programme is a list of parts. In each part every track carries a sum of steady
// sines, or nothing. What a part is for is its [Kind]. A machine that records few
// tracks at once takes a programme in rounds: each round is the whole programme for
// the tracks of that round, recorded at a place of its own on the tape, and on replay
// the rounds are merged.
//
// [New] makes the standard programme, [Load] reads one from YAML ([Schema] serves
// editors) and [Programme.Encode] writes it. [Programme.Signal] is the sound of a round,
// [Programme.ErasePass] the second pass over its erase part, [Programme.Instructions]
// what the person does. [Programme.Locate] finds the parts in a replay.
//
// # Units and levels
//
// Frequencies are in hertz at the speed of recording, times in seconds, phases in
// degrees of a sine, levels in dB re reference level: what the machine's own meter
// calls 0 at the reference tone. Of the fluxivity behind it a programme knows nothing.
// In the written file 0 dB is ReferenceDBFS, a full-scale sine being 0 dBFS.
//
// # The standard programme
//
// In order: start mark 355 Hz; reference at 0 dB, 1 kHz from 19 cm/s on, else 315 Hz;
// 125, 63 and, on fast tape, 40 Hz at -10 dB; 6.3, 10, 12.5 and 16 kHz at -20 dB as far
// as a wave of 3.5 µm allows; identity; the reference tone from -10 to +10 dB in steps
// of 2 dB; first mark 1780 Hz; comb of third-octaves at -20 dB or below; two tones of 1
// and 1.27 kHz; 10 kHz from -20 to +6 dB; each track by itself with 1 kHz at 0 dB and 10
// kHz; second and third mark 710 Hz and 2.24 kHz; silence; 1 and 10 kHz from -10 to -50
// dB in steps of 10 dB; if asked for, the staircase of 10 kHz (6.3 kHz below 9 cm/s) at
// -20 dB, and of the reference tone beside it and once more at 0 dB if these are asked
// for too; 3150 Hz at -10 dB for 30 s; end mark 3.55 kHz; 1 kHz at +4 dB, half of which is
// recorded over with silence. For 8 tracks at 38 cm/s that takes 247 s, with the
// staircase 279 s.
//
// Names of what is measured (third harmonic, maximum output level, crosstalk, erasure
// through a band filter, signal to noise) follow IEC 60094-3; 3150 Hz is the tone of IEC
// 60386; third-octaves are those of ISO 266 within 4 %. That treble is recorded 20 dB
// down because it saturates, that two levels 10 dB apart must read 10 dB apart or noise
// reduction was left on, that erasure is tried with a tone at or above reference level,
// and that bias is found from a row of trim positions are common practice, no source;
// so are all levels and lengths.
//
// The wave form of the identity part and how it tells polarity are at [IdentityHz] and
// [IdentityPhase].
//
// # Finding
//
// [Programme.Locate] looks for the tones that stand by themselves with
// [testtape.Find], keeps those that agree with a recording that runs through, and
// places the parts between them by a line from edge to edge. Where the channels of
// other rounds are 20 dB louder than all of this one's, it takes what it hears for
// crosstalk. It assumes that replay
// speed is within 6 % of that of recording and drifts by less than 0.5 %, and that the
// recording was not interrupted. Parts of seeded replays with drop-outs, hum, noise 60 dB
// down, a dead and a dull track were placed within 0.06 s, none lost in 100 (see the
// package's tests); 0.1 s is what it promises.
//
// # Limits
//
// Steady sines only: a compander's time constants show on the edges of the steps, which
// a measure must leave out. The gaps of a staircase are 0.2 s long, wide enough to be
// heard by the person who turns the trim; the moment of turning is the person's. The
// second pass begins when a person punches in, within a second or so.
package programme
