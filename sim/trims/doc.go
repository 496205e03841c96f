// Package trims is a recorder that does not exist, at the level of figures: every trim of
// a definition stands somewhere, turning one moves what it would move on a bench, and the
// test tape or a recording of its own gives levels, responses and delays as a measurement
// would. It is there to try a line-up, by hand or by an automatic technician, and never
// for what measures or plans.
//
// [New] draws a recorder from a definition and a seed. [Recorder.Open] and
// [Recorder.Close] go through the definition's openings, [Recorder.Turn] turns a trim
// that can be reached, [Recorder.Play] plays the good test tape, [Recorder.Record] records
// and replays on a tape of one's own, [Recorder.Staircase] turns a bias trim in steps
// during one recording, [Recorder.Watch] does so where the replay is heard at once, and [Recorder.Gauge] reads what needs no tape. [Recorder.Count]
// says what all that cost; [Recorder.Truth] what is true, for tests.
//
// # Units and signs
//
// Turns of the screwdriver, clockwise positive. Levels in dB re reference level, response
// in dB re the tone of reference, speed in percent, delays in seconds (the farther track
// later: positive, as [headstack/tape.AzimuthDelay]), angles in arcminutes against the
// recorded gap, bias in dB re the current that is right for the machine's tape, where
// that tape and head are nominal.
//
// # The trims
//
// What a trim does from stop to stop is the range that the definition states, times a
// factor that is off by up to 25 % for the type of trim and by up to 5 % more among
// siblings. The law over the travel is straight, or one of a taper (slope up to 3 times
// greater at one end than at the other), over three quarters of a turn or over 15 turns;
// screws go straight, tuned cores have an extreme. One trim in four stands right at the
// beginning; the others are off by 1 to 6 dB as far as the range goes, azimuth by 2 to 20
// arcminutes, bias by 1 to 4 dB. A move against the last one loses 3 % of itself. A hand
// sets a screwdriver to 1 degree r.m.s.; the slot of a single turn is seen to 2 degrees.
// Head height, rack and erase azimuth stand right and are there to be left alone. All of
// that is invented within what is common practice, no source.
//
// # What moves what
//
//   - azimuth: treble of all tracks as [headstack/tape.AzimuthLoss], delays between all
//     tracks as [headstack/tape.AzimuthDelay]; a machine with a record head has the angle
//     between its own two heads on its own recordings, and one that records and plays
//     with one head has none;
//   - play level and play response: what is played from any tape;
//   - bias y dB past the right one, at wavelength λ: level and treble of what is recorded,
//     by c·(y-y0)² and s·√(10 kHz wavelength/λ)·10^(y/20), a hill whose peak comes at
//     less bias the shorter the wavelength and which falls steeper behind it for short
//     ones; s is such that the overbias at 10 kHz is as wanted (see [Overbias]). The form
//     is invented; that hill, order and slopes are so is textbook knowledge, from memory;
//   - record level: level of recordings, and their treble a little by saturation, the law
//     of package sim;
//   - oscillator frequency: bias of all tracks, 1.5 times in dB as it falls;
//   - speed: level of what is played, as flux per second; height of the tape and delays are
//     left alone;
//   - an open or propped case: level by up to 0.9 dB and treble by up to 2 dB more, per
//     track, azimuth by up to 6 arcminutes, again within 0.1 dB and 0.5 arcminute each
//     time the case is opened or closed. Recording with the case open adds half of the
//     treble. Propped is 0.8 of open.
//
// # Readings
//
// A level has an error of 0.1 dB r.m.s., a delay of 2 µs, speed of 0.02 %, a frequency of
// 0.05 kHz. The n-th answer to one question depends on the seed and n alone, so that two
// technicians who ask the same are told the same.
//
// # Left out
//
// Sound; noise, distortion and crosstalk as figures; drift and warming up; speed that
// depends on the case; tapes that differ; tension and contact bearing on treble; traps
// bearing on bias and bias on erasure; noise reduction between recording and replay; low
// frequencies that a full-width tape over-reads; azimuth that wanders while the tape
// runs; trims that are worn, break, or move when let go. An opening that repeats, as of
// cards on an extender, counts as one that opens all.
package trims
