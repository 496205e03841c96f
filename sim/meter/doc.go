// Package meter is a bench meter that does not exist, for the demo and for tests. It
// speaks SCPI-1999 over TCP and reads what it is told that its leads touch, with the ways
// in which such a meter misleads: it chooses its range and shows what lies on the way, its
// converter follows slowly, it falls off with frequency, it responds to the average, its
// last place is unquiet, its answers come late, and it switches itself off. Nothing that
// reads instruments may lean on it.
//
// All that it shows depends only on its seed and on what it was asked after what touches,
// never on the clock: each READ? is one conversion. Only FETCh?, which shows the last one
// of a meter that converts by itself, goes by the time that has passed.
package meter
