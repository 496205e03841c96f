// Package logbook is what the program notes of its own running: when it started and
// stopped, what it refused, what went wrong inside. A person looks here when something
// failed, and `headstack doctor` shows the last of it.
//
// # What is in it, and what never is
// A line is one JSON object. Its keys are those of a short list, so that nothing typed gets
// in by a new call: a key that is not on the list is left out and counted. Of an error the
// kinds are noted, not the words, which often hold what was typed; of a path only what lies
// inside the bench's folder; of who called, four figures that tell two callers of one run
// apart and mean nothing afterwards.
//
// # When it cannot be written
// The bench goes on. What could not be noted is counted, said once to a person, and the
// count stands in the next line that could be written. Nothing is held open between lines:
// two programs on the same bench write by turns, and a line of a few hundred bytes is
// appended in one piece.
package logbook
