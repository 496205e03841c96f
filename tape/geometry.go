package tape

import "headstack/unit"

// Geometry places the tracks of a head across the tape. Positions are measured
// from track 1's outer tape edge.
type Geometry struct {
	TapeWidth unit.Metre
	Tracks    []TrackPlace // index 0 is track 1
}

// TrackPlace is one core's centre and width.
type TrackPlace struct {
	Centre, Width unit.Metre
}
