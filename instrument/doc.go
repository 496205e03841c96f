// Package instrument asks bench meters and scopes for what they read, over a network
// socket or a serial line, and says when a reading stands.
//
// # What is spoken
//
// Commands are those of SCPI-1999 (volume 2, Command Reference: MEASure, CONFigure, READ,
// FETCh, SYSTem:ERRor) and the common commands of IEEE 488.2-1992 (chapter 10: *IDN?). An
// [Answer] is read as IEEE 488.2 chapter 8 has response messages: numbers as NR1, NR2 and
// NR3, binary, octal and hexadecimal ones, words, quoted strings, blocks of definite and
// indefinite length. Over-range and not-a-number are the values 9.9E37 and 9.91E37 (SCPI-1999
// volume 1, 7.2.1). Beyond the standards, which send no unit back, a unit after the number is
// understood too, and the usual words for an over-range, because hand meters send both
// (common practice, no source). Clauses are cited from memory.
//
// A line and a block have a limit, and each wait has one. After a late answer the line is
// opened anew: what comes late must not pass for the answer to the next question.
//
// # When a reading stands
//
// A meter that chooses its range by itself shows wrong values on the way: the old range's
// figures with the new range's unit, an over-range, a value with hardly a digit on a range
// that is too high, an average that still follows. [Settler] takes a value only after the
// last ones have agreed for long enough; it is a machine without clock or line, so its errors
// are counted by synthesis: see [Settler] for how often it is wrong.
//
// What it cannot know: a lead that makes no contact reads steadily too. That a reading
// surprises is for the diagnosis to say.
package instrument
