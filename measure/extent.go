package measure

import (
	"math"

	"headstack/dsp"
)

const (
	// FullScale is the magnitude from which a sample counts as at full scale, of 1.
	FullScale = 0.9999
	// ClipRun is how many samples in a row at full scale are clipping.
	ClipRun = 3
)

// extent keeps the power of what goes by and counts the samples that were clipped.
type extent struct {
	n       int64
	sumSq   float64
	run     int // consecutive samples at full scale
	clipped int
}

func (e *extent) feed(x []float64) {
	sumSq, peak := dsp.Extent(x)
	e.n += int64(len(x))
	e.sumSq += sumSq
	if peak < FullScale { // nearly always: one look at a whole block
		e.run = 0
		return
	}
	for _, v := range x {
		if math.Abs(v) < FullScale {
			e.run = 0
			continue
		}
		if e.run++; e.run == ClipRun {
			e.clipped += ClipRun
		} else if e.run > ClipRun {
			e.clipped++
		}
	}
}
