// Package unit names the physical quantities of the bench, so that a frequency
// cannot be handed over as a length, and writes and reads them as a person
// does.
//
// Values are SI inside (hertz, metres, seconds, metres per second); the one
// exception the trade insists on is fluxivity, kept in nanowebers per metre.
// Mils, inches and inches per second exist only in files and on screens and are
// converted once at the edge.
package unit
