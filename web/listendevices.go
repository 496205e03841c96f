package web

import "context"

// Devices are the inputs of the machine that the bench runs on.
type Devices interface {
	// List names them as they are now. The error says why there are none, with what to do.
	List(ctx context.Context) ([]Device, error)
	// Listen gives the sound of a device to a sink until ctx ends, and returns nil then. Any
	// other end is an error, that of the sink too.
	Listen(ctx context.Context, id string, rate, channels int, to Sink) error
}

// Sink takes the sound of a device, as [headstack/live.Session] does.
type Sink interface {
	Write(frames []float32) error    // all channels of one frame after the other
	Missed(frames int64, why string) // that never came, just before the next Write; 0: not known how many
	Warn(sentence string)            // about the capture as a whole
}

// Device is an input.
type Device struct {
	ID       string `json:"id"`
	Name     string `json:"name"`
	Channels int    `json:"channels"`
	Rate     int    `json:"sample_rate"` // hertz, at which it runs by itself
}
