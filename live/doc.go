// Package live is a capture in progress: frames come in from whatever hears the
// tape (a sound server, a pipe, a browser page), go to a file at once, and are
// watched and measured while the tape still runs.
//
// # The file
//
// [Start] opens the file and [Session.Write] appends to it before anything else is
// done with the frames: float of 32 bits, bit for bit as they came, RF64 when the
// file passes 4 GiB. Each Write is one or more writes of the operating system, so that
// a program that is killed loses nothing that was acknowledged; a computer that
// loses power loses at most what its disk had not taken, [Config.SyncEvery] apart.
// Until [Session.Close] the header says that the length is unknown, which
// [headstack/capture.Open] reads; [Mend] fills it in. Close gives the file's SHA-256,
// whether the capture was any good or not.
//
// # Watching
//
// Every channel has a level (r.m.s. and peak over 100 ms), a count of clipped samples,
// a word when it is silent where others are not, and a watch for places where
// samples are missing or repeated. Such a place, and what a slip touches around it, is a
// [Void]: nothing in it is to be believed.
//
// # Recognising and measuring
//
// Beside the writing, [headstack/testtape.Find] goes over what is in the file now and then,
// and [headstack/measure.Follow] measures the tones of the sections that it found. Both
// are the code that measures a finished file: a figure of State is the one that the file
// will give, as far as it is there. The work is paced by itself: it takes at most a part
// of one processor, and when frames come faster than they can be followed, figures
// come later, never wrong.
//
// # Line-up
//
// A [Meter] gives the level of one tone ten times a second, for a person with a
// screwdriver in hand.
package live
