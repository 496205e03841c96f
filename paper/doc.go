// Package paper writes documents for a printer: PDF at true size, with its letters in it.
//
// All lengths are millimetres from the upper left corner of the sheet, y downwards; sizes
// of letters are points (1/72 inch). A [Document] is a sheet after the other with things at
// places; a [Flow] on top of it sets text, tables and drawings one below the other and
// begins a new sheet where the last is full.
//
// The same calls give the same bytes: the date of the file is passed in, nothing is taken
// from the clock or from chance.
//
// # Letters
//
// DejaVu Sans and its bold face are in the package, cut down to the letters of Latin, Greek
// and Cyrillic, the signs of figures and the marks that the pages use; what a file uses of
// them is embedded in it. A letter that is not in them is written as U+FFFD, the replacement
// character, and [Document.Missing] names it: nothing is left out without a trace. font/LICENSE
// allows embedding and cutting down.
//
// # True size
//
// A printer may scale to its margins. [Document.Ruler] draws a line of 100 mm to lay a ruler
// on. Nothing is drawn nearer than [Margin] to the edge of the sheet by a Flow or by package
// handout: most printers leave 4 to 5 mm blank (common practice, no source).
package paper
