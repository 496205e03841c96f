// Package machine holds recorder definitions: what a technician writes once
// per recorder type, from its circuit diagram, so that every recorder of the
// type can be measured, diagnosed and lined up.
//
// # What it holds
//
// A [Definition] names tape, speeds, track places and reference level; boards
// and connectors with the pins of both sides; stages with designator patterns;
// functions as paths through stages; test points with expected values; trims,
// controls, the teardown tree, and where replicas differ from the rule. One
// track is described; replica sets (track, group, and named ones such as strip
// or side) make the others. [Load] reads the YAML form, [Schema] gives its JSON
// Schema for editors, [Template] a commented starting file. Two invented
// recorders come with the program: see [Builtin].
//
// [ParseDraft] changes the text of an unfinished definition part by part and leaves
// its other lines, comments too, as they stand; [Sketch] reads what is there of it.
//
// # What it answers
//
//   - [Definition.Path]: which stages the signal of a function passes for one
//     track, in order, each as a stage instance with its designator.
//   - [Definition.TestPointPath] and [Definition.Expected]: what a test point
//     sees, and what it should read, in base units.
//   - [Definition.FaultModes]: how a stage fails, how often, what that does.
//   - [Definition.OpeningMinutes]: what it costs to get there and back.
//   - [Definition.CheckItems]: the control check sheet.
//   - [Definition.Lint]: what is legal and probably wrong.
//   - [Cautions]: what stands at the head of a job on this type.
//
// # Units
//
// The file speaks the bench's units (mm, cm/s, µs, nWb/m, mV, minutes), named in
// each field or beside each value. Accessors give SI ([Definition.Geometry],
// [Definition.Expected]) or unit.Minutes. Effects of faults are decibels relative
// to the same stage when good: level at the reference tone, treble at 10 kHz and
// bass at 63 Hz relative to that tone, noise as a rise.
//
// # Sources and assumptions
//
// The form of the fault effects is tape physics (spacing loss, first-order
// corners); the built-in priors, weights and minutes are [estimate] common
// practice, no source, and meant to be overwritten by a shop's own counts. A
// stated ± spread is read as about two standard deviations. A fault mode has the
// same effect in every function that passes its stage; so a bias stage that is
// dead counts as dead in record-play, where a real recorder would still record
// something weak and distorted.
//
// Cautions are reminders for people who know the work; local electrical codes
// and licensed practice come first.
//
// # Limits
//
// A file is at most 256 KiB with 1000 items in a list, 64 tracks, 100 functions
// and no anchors, aliases, tags or merge keys. Parallel paths (left and right at
// once) are written as two functions. Only tracks and groups map to each other;
// a plug shared by half of the tracks is described by its contacts per track.
package machine
