package measure

import (
	"fmt"
	"math"
	"strconv"
)

// Trace is a measured course of one quantity over another: what a plot draws and
// its table lists. Measures give at most some hundred points each.
type Trace struct {
	// Name says what is traced: speed, speed_spectrum, drift, level_time,
	// distortion_steps, staircase, ...
	Name    string  `json:"name"`
	Track   int     `json:"track,omitempty"`   // from 1; 0 for all tracks together
	TrackB  int     `json:"track_b,omitempty"` // the second of a pair
	Section string  `json:"section"`
	ToneHz  float64 `json:"tone_hz,omitempty"`
	X       Axis    `json:"x"`
	Y       Axis    `json:"y"`
	Points  []Point `json:"points"`
	// Extremes says that the points' Lo and Hi are extremes, not an interval.
	Extremes bool `json:"extremes,omitempty"`
	// Marks name places of the course, such as the once-round lines of a spectrum.
	Marks      []Mark     `json:"marks,omitempty"`
	Reference  string     `json:"reference"` // what 0 is
	Method     string     `json:"method"`
	Warnings   []string   `json:"warnings,omitempty"`
	Conditions Conditions `json:"conditions"`
}

// Axis is one direction of a trace.
type Axis struct {
	Label string `json:"label"`
	Unit  string `json:"unit"`
	Log   bool   `json:"log,omitempty"` // drawn on a logarithmic scale
}

// Point is one point of a trace; Lo and Hi are its 95 % interval, equal to Y where
// the measure gives none. Of a trace with Extremes they are the least and the most of
// what the point sums up.
type Point struct {
	X  float64 `json:"x"`
	Y  float64 `json:"y"`
	Lo float64 `json:"lo"`
	Hi float64 `json:"hi"`
}

// MarshalJSON writes seven significant digits: a course of hundreds of points is to be
// drawn, and is kept with every capture.
func (p Point) MarshalJSON() ([]byte, error) {
	b := make([]byte, 0, 64)
	for i, v := range [4]float64{p.X, p.Y, p.Lo, p.Hi} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("point of a trace is not finite: %+v", p)
		}
		b = append(b, [4]string{`{"x":`, `,"y":`, `,"lo":`, `,"hi":`}[i]...)
		b = strconv.AppendFloat(b, v, 'g', 7, 64)
	}
	return append(b, '}'), nil
}

// Mark is a named place of a trace.
type Mark struct {
	X     float64 `json:"x"`
	Y     float64 `json:"y"`
	Label string  `json:"label"`
}

// Rotation is a part of the transport that turns, and how often at the nominal
// speed. LowHz and HighHz differ where the turning changes through the tape, as that
// of the reels does.
type Rotation struct {
	Name   string
	LowHz  float64
	HighHz float64
}
