package live

import "time"

// MeterConfig says what a [Meter] shows.
type MeterConfig struct {
	Channel int     // from 1
	Against int     // a second channel whose delay re Channel is shown; 0: none
	ToneHz  float64 // of the tone as it is played, to about 3 %
}

// Reading is one update of a meter. Half widths are of 95 % intervals.
type Reading struct {
	AtS       float64 `json:"at_s"` // middle of the window, seconds from the first frame
	WindowS   float64 `json:"window_s"`
	LevelDBFS float64 `json:"level_dbfs"` // r.m.s. of the tone; 0: a sine of full scale
	LevelHalf float64 `json:"level_half_db"`
	ToneHz    float64 `json:"tone_hz"` // as found
	// DelayUs is how much later Against is than Channel, within half a period of the
	// tone; HasDelay is false without a second channel or without tone on it.
	HasDelay  bool    `json:"has_delay,omitempty"`
	DelayUs   float64 `json:"delay_us,omitempty"`
	DelayHalf float64 `json:"delay_half_us,omitempty"`
	// Refused says why there is no figure: no tone, clipped, a slip in the window.
	Refused string `json:"refused,omitempty"`
	// Processing is the time from the call of Write that brought the last frame to this
	// reading.
	Processing time.Duration `json:"processing_ns"`
}

// A Meter gives readings of one tone ten times a second. Take them from C; one who
// does not take them in time gets the newest.
type Meter struct {
	C <-chan Reading // closed by Close, and at the end of the session

	s    *Session
	cfg  MeterConfig
	c    chan Reading
	dead bool
}
