package live

import (
	"math"
	"slices"

	"headstack/dsp"
	"headstack/measure"
)

const (
	mostClips = 100 // places that are kept

	deadDB   = 40  // below the loudest channel
	quietDB  = -70 // dBFS, nothing where a tone should be
	loudDB   = -50 // dBFS, a signal beside which another channel's silence is worth a word
	deadHold = 10  // windows

	zeroRun = 32   // frames that are exactly zero on every channel: no converter gives that
	zeroMax = 2.   // seconds; more is a source that was switched off
	few     = 8    // frames beside a gap in which the signal is looked for: one may be where a tone crosses zero
	edge    = 1e-3 // what the signal breaks off from, or comes back to, to be told from a fade
)

// watch looks at the level of every channel, at clipping and at gaps of zeros.
type watch struct {
	rate   float64
	window int // frames
	filled int // of the window
	at     int64
	ch     []watched

	zeros int64   // frames in a row that are zero on every channel
	last  float64 // largest magnitude of the few frames before them
	gap   Void    // that ended just now, if what comes is a signal
	after int     // frames left to say so
	found []Void
}

type watched struct {
	sumSq, peak float64 // of the window so far
	rms, top    float64 // of the last window, dBFS
	max         float64 // highest peak
	run         int     // samples in a row at full scale
	clipped     int64
	clips       []float64 // seconds
	dead        int       // windows
	quiet       int       // windows
}

func newWatch(rate, channels int) *watch {
	w := &watch{rate: float64(rate), window: int(windowSeconds * float64(rate)), ch: make([]watched, channels)}
	for c := range w.ch {
		w.ch[c].rms, w.ch[c].top = FloorDB, FloorDB
	}
	return w
}

// hear takes k frames and reports whether a window was completed.
func (w *watch) hear(planar [][]float64, k int) (whole bool) {
	w.lookForZeros(planar, k)
	for from := 0; from < k; {
		to := min(k, from+w.window-w.filled)
		for c := range w.ch {
			w.ch[c].hear(planar[c][from:to], w.at+int64(from), w.rate)
		}
		w.filled += to - from
		from = to
		if w.filled == w.window {
			w.filled, whole = 0, true
			w.close()
		}
	}
	w.at += int64(k)
	return whole
}

func (c *watched) hear(x []float64, at int64, rate float64) {
	sumSq, peak := dsp.Extent(x)
	c.sumSq += sumSq
	c.peak = max(c.peak, peak)
	if peak < measure.FullScale {
		c.run = 0
		return
	}
	for i, v := range x {
		if math.Abs(v) < measure.FullScale {
			c.run = 0
			continue
		}
		if c.run++; c.run == measure.ClipRun {
			c.clipped += measure.ClipRun
			if len(c.clips) < mostClips {
				c.clips = append(slices.Clip(c.clips), float64(at+int64(i-measure.ClipRun+1))/rate)
			}
		} else if c.run > measure.ClipRun {
			c.clipped++
		}
	}
}

// close ends the window of every channel.
func (w *watch) close() {
	loudest := float64(FloorDB)
	for i := range w.ch {
		c := &w.ch[i]
		c.rms = decibels(math.Sqrt(2 * c.sumSq / float64(w.window)))
		c.top, c.max = decibels(c.peak), max(c.max, c.peak)
		c.sumSq, c.peak = 0, 0
		loudest = max(loudest, c.rms)
	}
	for i := range w.ch {
		c := &w.ch[i]
		c.dead, c.quiet = c.dead+1, c.quiet+1
		if loudest < loudDB || c.rms > loudest-deadDB {
			c.dead = 0
		}
		if c.rms > quietDB {
			c.quiet = 0
		}
	}
}

func decibels(x float64) float64 { return max(FloorDB, 20*math.Log10(x)) }

// channels is what State says of them. toneRuns: a tone of the tape runs.
func (w *watch) channels(tracks []int, toneRuns bool) []Channel {
	out := make([]Channel, len(w.ch))
	for i := range w.ch {
		c := &w.ch[i]
		out[i] = Channel{Channel: i + 1, Track: tracks[i], RMSDBFS: c.rms, PeakDBFS: c.top, MaxPeakDBFS: decibels(c.max),
			Clipped: c.clipped, ClippedAtS: c.clips, Silent: c.dead >= deadHold || toneRuns && c.quiet >= deadHold}
	}
	return out
}

// lookForZeros finds gaps that a source filled with zeros.
func (w *watch) lookForZeros(planar [][]float64, k int) {
	one := planar[0]
	for i := range k {
		if one[i] != 0 && w.zeros == 0 && w.after <= 0 {
			continue
		}
		most := 0.
		for c := range planar {
			most = max(most, math.Abs(planar[c][i]))
		}
		if most == 0 {
			if w.zeros == 0 && w.at+int64(i) > 0 {
				w.last = w.before(planar, i)
			}
			w.zeros++
			continue
		}
		if at := w.at + int64(i); w.zeros >= zeroRun && float64(w.zeros) < zeroMax*w.rate && w.last > edge {
			w.after = few
			w.gap = Void{FromS: max(0, float64(at-w.zeros)/w.rate-voidGuard), ToS: float64(at)/w.rate + voidGuard,
				Frames: w.zeros, Reason: "every channel is exactly zero, as where a source lost what it should have heard"}
		}
		if w.after--; w.after >= 0 && most > edge {
			w.found, w.after = append(w.found, w.gap), 0
		}
		w.zeros = 0
	}
	if k > 0 {
		w.last = w.tail(planar, k)
	}
}

// before is the largest magnitude in the few frames before frame i.
func (w *watch) before(planar [][]float64, i int) float64 {
	if i == 0 {
		return w.last
	}
	return w.tail(planar, i)
}

// tail is the largest magnitude in the last few of k frames; while zeros run on, what was before.
func (w *watch) tail(planar [][]float64, k int) float64 {
	if w.zeros > 0 {
		return w.last
	}
	most := 0.
	for _, x := range planar {
		for _, v := range x[max(0, k-few):k] {
			most = max(most, math.Abs(v))
		}
	}
	return most
}

// gaps gives what lookForZeros found since the last call.
func (w *watch) gaps() []Void {
	f := w.found
	w.found = nil
	return f
}
