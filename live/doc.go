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
// The search hears blocks of about a second, and rests three times as long as a round of
// searching and measuring took: a figure of a section that runs is one to three seconds behind
// the tape.
//
// # Line-up
//
// A [Meter] gives the level of one tone ten times a second, for a person with a screwdriver
// in hand. Each reading is over 0.12 s that end with the newest frame (longer below 67 Hz), so it
// stands for what was 60 ms ago; the reckoning itself takes about a millisecond. From a block that
// comes in to its reading in the hands of who waits, a test holds 150 ms; 15 ms were
// seen on a computer with fourteen tasks waiting for each processor.
//
// # Limits
//
// A slip in noise, in silence, in several tones at once, or by whole periods of the only tone,
// shows in no signal; the count of frames against the clock (Config.Clocked) finds it from 20 ms
// up, three seconds later. A note that is struck again may be taken for a slip: the watch is for test
// tapes. Noise, flutter, distortion and what else needs the whole section are measured when the file
// is complete, by headstack/measure. A record programme is not followed while it runs, only watched.
package live
