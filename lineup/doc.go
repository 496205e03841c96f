// Package lineup puts the line-up of a recorder in order: which step comes when and
// why, what each must read for the tape at hand, which tracks are recorded or heard
// together, and what proves the job.
//
//   - [New] makes the [Order] of a definition: gates first, geometry before
//     electronics, replay before record, the closing proof last. Every trim of the
//     definition is set at one step of it, for each replica.
//   - [Order.Status] says from a log of [Event]s which steps are done, due, stale,
//     blocked or not needed, and why; [Stale] what a turned trim makes stale.
//   - [Order.Target] is what a step should read, with its arithmetic line by line;
//     [Judge] holds a reading against it.
//   - [RecordRounds] and [HearRounds] share the tracks over as few recordings and passes
//     as can be; [Solve] makes levels and delays of passes over two paths and takes the
//     error between these off; [Order.TapePasses] counts what the good test tape must give.
//   - [Order.Proof] is the closing proof, with the case closed, and what still keeps the
//     job from being done; [NewSoak] plans the hours after it.
//   - [Order.Sheet] is all of it as pages of rows, for paper.
//
// # Units and signs
//
// Levels are in dB, and each target says what 0 dB is. A target by instrument is what a
// meter shows of level against level; one by capture is what package measure gives,
// stated levels and the fringing of responses taken off. Azimuth is in arcminutes,
// positive when higher tracks are later; speeds are in cm/s in names and fields as
// labels print them; volts, hertz and newtons are base units. Intervals are 95 %.
// The doubts of a target's terms are taken as independent.
//
// # Sources and assumptions
//
// The order is that of the trade (common practice, no source) except in two places
// where physics says otherwise: the oscillator's frequency is set before what is tuned
// to it, and an encoder that stands before the record level in the path is set before
// it. Tolerances are the definition's, else common practice, no source, or the minimum
// requirements of DIN 45500 part 4 where that is said. Fluxivities and their
// conventions, equalisation and fringing are those of package tape and its sources.
// Customary overbias is from a handbook for 38.1 cm/s, else from memory; it belongs to
// the tape that is recorded on.
//
// A step whose reading lies inside its tolerance is done though the limit may lie within
// the doubt; only the closing proof insists. Cautions stand at the step where work can
// hurt; local electrical codes and licensed practice come first.
//
// # Limits
//
// What moves what is known by kind of step, not by circuit: a trim that moves more than
// its kind does is not followed. Speed trims are taken to leave levels alone (1 % of
// speed is 0.09 dB). What an instrument shows at a lowest tone of a full-width tape is an
// estimate, and its interval wide.
package lineup
