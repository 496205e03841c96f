// Package halfmade is for what is written beside its place and gets its name when it is whole:
// how the half-made is called, how a name is made to last, and what of it programs left that
// were killed.
package halfmade
