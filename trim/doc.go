// Package trim reckons how far to turn: from what was turned and read so far, the state
// of every quantity of a recorder that is lined up, how much each adjuster does, and the
// next turns with their intervals.
//
// # Turning
//
// A [Model] says which adjuster sets which quantity and which quantity moves which
// others: azimuth all treble ([tape.AzimuthLoss]) and delay ([tape.AzimuthDelay]), play
// level all that comes behind it, bias the level and treble of recording, record level
// its treble. [ForMachine] makes it of a definition. A [Bench] takes moves ([Bench.Turn])
// and readings ([Bench.Read]) in their order. [Bench.Next] says what to turn:
//
//	read, Next, turn the first, read what it moved, Next ... until all is Enough
//
// # Units
//
// Positions are in degrees or turns from the anticlockwise stop, clockwise positive.
// Quantities are in their own units: dB, %, arcminutes, mA, kHz. Spreads are standard
// deviations, intervals hold 95 %.
package trim
