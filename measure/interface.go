package measure

import "time"

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
	Points  []Point `json:"points"`            // X in Hz, Y in dB re the gain at the programme's reference tone
	Refused string  `json:"refused,omitempty"` // why there is no curve
}
