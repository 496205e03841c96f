package measure

import (
	"math"
	"slices"
	"time"

	"headstack/dsp"
)

// Interface is the response of a capture interface from its outputs back to its
// inputs, measured through a loop of cable, to be taken off captures made with it.
type Interface struct {
	Name     string             `json:"name"`
	When     time.Time          `json:"when,omitzero"` // of the loop-back capture
	Channels []InterfaceChannel `json:"channels"`      // by input channel, from 1
	Warnings []string           `json:"warnings,omitempty"`
}

// InterfaceChannel is one input's gain against frequency.
type InterfaceChannel struct {
	Channel int     `json:"channel"`
	Points  []Point `json:"points"`            // X in Hz, rising; Y in dB re the gain at the programme's reference tone
	Refused string  `json:"refused,omitempty"` // why there is no curve
}

// GainDB returns the interface's gain at hz in dB re its gain at the reference tone,
// interpolated along log frequency between the measured points. ok is false more than a
// semitone outside them, and for a channel without a curve: an extrapolated correction
// would be a guess.
func (f *Interface) GainDB(channel int, hz float64) (gain dsp.Estimate, ok bool) {
	i := slices.IndexFunc(f.Channels, func(c InterfaceChannel) bool { return c.Channel == channel && c.Refused == "" })
	if i < 0 || !(hz > 0) {
		return dsp.Estimate{}, false
	}
	pts := f.Channels[i].Points
	edge := math.Pow(2, 1.0/12)
	if len(pts) == 0 || hz < pts[0].X/edge || hz > pts[len(pts)-1].X*edge {
		return dsp.Estimate{}, false
	}
	k, _ := slices.BinarySearchFunc(pts, hz, func(p Point, hz float64) int {
		if p.X < hz {
			return -1
		}
		return 1
	})
	if len(pts) == 1 {
		pts = append(pts, pts[0])
	}
	k = min(max(k, 1), len(pts)-1)
	a, b := pts[k-1], pts[k]
	part := 0.0
	if b.X > a.X { // below 0 or above 1 just outside the ends
		part = math.Log(hz/a.X) / math.Log(b.X/a.X)
	}
	half := math.Hypot((1-part)*(a.Hi-a.Lo)/2, part*(b.Hi-b.Lo)/2)
	// The points' intervals rest on many degrees of freedom.
	return dsp.Estimate{Value: (1-part)*a.Y + part*b.Y, SE: half / dsp.Student95(interfaceDof), Dof: interfaceDof}, true
}

const interfaceDof = 30
