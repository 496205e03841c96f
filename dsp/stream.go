package dsp

// Stream is a sampled signal of one or more channels, read once from front to
// back. Full scale is ±1.0.
type Stream interface {
	// Channels is the number of channels, at least 1.
	Channels() int
	// SampleRate is in hertz.
	SampleRate() float64
	// Read fills dst[c][:n] for every channel c with the next n frames, n at
	// most len(dst[0]), and returns n. It returns io.EOF with n = 0 at the end.
	// dst must have Channels() slices of equal length above 0.
	Read(dst [][]float64) (n int, err error)
}
