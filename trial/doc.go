// Package trial finds out how many minutes it takes to a verified correct fix when the
// advice of package diagnosis is followed, against rules of the trade, on recorders that
// do not exist.
//
// [Draw] makes a recorder with hidden faults out of a definition and its complaint: the
// check sheet of every function tried once. A technician then asks, does what a [Policy]
// says, pays for it in minutes and asks again, until the policy says that it is done, the
// recorder is put together, and every function that ever failed works. Only then is the
// truth looked at. [Trial.Run] does this for a series of recorders and several policies,
// all on the same recorders, and makes a [Report] with tables; [Trial.Story] tells one.
//
// # Policies
//
//   - [Advised]: the first action of the advice.
//   - [HalfSplit]: the reading on the failing path that divides the probability of the
//     suspects most evenly, whatever it costs; a repair when a suspect reaches a threshold
//     or no reading divides further.
//   - [AlongPath]: every test point of the failing path in signal order up to the first
//     bad one, then the stages between it and the last good one, most probable first; or a
//     suspect that reaches the threshold.
//   - [Clairvoyant]: opens, repairs and proves. A lower bound.
//
// Both rules of the trade reckon with the engine's posterior, take again what it doubts,
// and try the failing function after a repair, as often as the proof at the end will.
//
// # Rules for all
//
// Answers of the recorder depend on its seed and on what is asked for the n-th time, so
// policies that ask the same get the same. Openings, checks and readings cost what the
// definition says, a repair the minutes of its cause, of a good stage the mean of its
// causes; what is not in the definition is a constant here (common practice, no source).
// Where an opening repeats (cards on an extender), one is open at a time. Openings that
// part connectors are put back before anything is tried.
//
// The proof is made with the case closed, fastest functions first, and stops at the first
// that fails; then the policy goes on. A function must work once, or four times in a row
// when it was called intermittent or failed and worked with no work between. Who is not
// done after 60 actions or 600 minutes has given up. A fix is correct when every fault
// that shows is gone: every one that lies on the way of a function that failed at the
// intake and is by itself audible there. Faults that did not show at the intake are
// nobody's complaint.
//
// # Limits
//
// The recorder errs about as the engine believes it does: ear, meters, slips and cures
// have rates of the same sources. Only a sound function is found faulty less often than
// the engine believes: here another track must have been tried that is faulty. The second
// series, with priors that are wrong by up to a factor of 3, is the only one in which the
// engine is told wrong. Faults act by level, treble, bass and noise; there are no captures.
// Nobody breaks anything while working.
package trial
