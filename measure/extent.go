package measure

import (
	"math"

	"headstack/dsp"
)

const (
	fullScale = 0.9999
	clipRun   = 3 // as many samples in a row at full scale are clipping
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
	if peak < fullScale { // nearly always: one look at a whole block
		e.run = 0
		return
	}
	for _, v := range x {
		if math.Abs(v) < fullScale {
			e.run = 0
			continue
		}
		if e.run++; e.run == clipRun {
			e.clipped += clipRun
		} else if e.run > clipRun {
			e.clipped++
		}
	}
}
