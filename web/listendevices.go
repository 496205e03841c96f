package web

import "context"

// Devices are the inputs of the machine that the bench runs on.
type Devices interface {
	// List names them as they are now. The error says why there are none, with what to do.
	List(ctx context.Context) ([]Device, error)
	// Listen hands the frames of a device to take, all channels of a frame after the other,
	// until ctx ends, and returns nil then. missed says that frames never came, 0
	// for an unknown number. Any other end is an error.
	Listen(ctx context.Context, id string, rate, channels int, take func(frames []float32) error, missed func(frames int64, why string)) error
}

// Device is an input.
type Device struct {
	ID       string `json:"id"`
	Name     string `json:"name"`
	Channels int    `json:"channels"`
	Rate     int    `json:"sample_rate"` // hertz, at which it runs by itself
}
