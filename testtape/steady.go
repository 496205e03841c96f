package testtape

import (
	"math"

	"headstack/dsp"
)

// Most of a tape is steady: tone or hiss that goes on. A spectrum costs much more
// than a glance at the energy, and unpacking the samples costs as much as either, so
// each ear glances at every hop and unpacks and analyses only the last frame of each
// block, and between two analysed frames only where they disagree or the energy moves,
// halving the stretch until it does not. An edge is so still between two neighbouring
// frames that were both analysed. What lies between frames that agree is filled in from
// them.
const (
	// energyStep is the ratio of frame energies that counts as a change, 1.5 dB. A
	// low tone's energy moves by half a decibel, as a frame holds no whole number
	// of cycles; noise by less.
	energyStep = 1.41
	// levelStep is a change of level, in half decibels, and toneStep one of a tone:
	// half of a step of 2 dB between sections of the same tone must show.
	levelStep, toneStep = 2, 1
	// clearSNR is a line that noise hardly makes, in half decibels: 14 dB stands
	// 11.5 dB above the mean of noise, which one bin in a million reaches.
	clearSNR = 28
	// noiseHops is how far frames without a clear tone may lie apart: what is lost
	// in noise is told by many independent looks.
	noiseHops = 4
)

// lookCount looks of lookLength samples each tell a hop's energy. At one every 3 ms none
// of what a tape holds hides between them, and of noise they tell it within 6 %.
const lookCount, lookLength = 16, 32

// spots is where in a hop of so many samples the looks begin: one in each sixteenth,
// spread by the golden ratio, as looks evenly spaced would beat with some tones.
func spots(hop int) []int {
	at := make([]int, lookCount)
	cell := hop / lookCount
	for j := range at {
		_, part := math.Modf(float64(j) * (math.Sqrt(5) - 1) / 2)
		at[j] = j*cell + int(part*float64(cell-lookLength))
	}
	return at
}

// listen hears the first hops frames of block b. What follows its samples is silence.
func (e *ear) listen(hops int, b dsp.Packed) error {
	e.block = b
	for h := 1; h <= hops; h++ {
		e.have[h] = false
		e.energy[h] = e.glance(h)
	}
	first := 0
	if !e.begun {
		e.begun, first = true, 1
		e.analyse(first)
	}
	if hops > first {
		e.analyse(hops)
		e.settle(first, hops)
	}
	return e.err
}

// give hands over what was heard in the frames of the block, and makes its end what
// comes before the next one.
func (e *ear) give(heard []sound) {
	hops, hop := len(heard), e.f.hop<<e.f.halvings
	copy(e.raw[:hop], e.raw[hops*hop:(hops+1)*hop])
	e.have[0] = true
	e.energy[0] = e.energy[hops]
	e.notFinite = 0
	for i := range heard {
		heard[i], e.heard[i+1] = e.heard[i+1], heard[i]
	}
	if hops > 0 { // the last of them is needed on both sides
		last, kept := &heard[hops-1], &e.heard[0]
		lines := append(kept.lines[:0], last.lines...)
		*kept = *last
		kept.lines = lines
	}
}

// glance is about the energy of hop h, a sum of squares.
func (e *ear) glance(h int) float64 {
	sum := 0.
	for _, at := range e.looks {
		at += (h - 1) * e.f.hop << e.f.halvings
		x := e.glanced[:max(0, min(lookLength, e.block.Frames()-at))]
		if len(x) > 0 {
			e.fail(e.block.Unpack(e.channel, at, x))
			sum += sumSquares(x)
		}
	}
	if sum-sum == 0 {
		return sum
	}
	// A sample that is no number. Without it:
	e.unpack(h)
	sum = 0
	for _, at := range e.looks {
		at += h * e.f.hop << e.f.halvings
		sum += sumSquares(e.raw[at : at+lookLength])
	}
	return sum
}

// unpack sees to it that raw holds hop h of the block. Samples that are not numbers
// are taken as silence.
func (e *ear) unpack(h int) {
	if e.have[h] {
		return
	}
	e.have[h] = true
	hop := e.f.hop << e.f.halvings
	x := e.raw[h*hop : (h+1)*hop]
	n := max(0, min(hop, e.block.Frames()-(h-1)*hop))
	if n > 0 {
		e.fail(e.block.Unpack(e.channel, (h-1)*hop, x[:n]))
	}
	clear(x[n:])
	if v, _ := dsp.Extent(x); v-v == 0 {
		return
	}
	for i, v := range x {
		if v-v != 0 { // NaN or infinite
			x[i] = 0
			e.notFinite++
		}
	}
}

func (e *ear) fail(err error) {
	if e.err == nil {
		e.err = err
	}
}

// sumSquares of x, of a length divisible by four.
func sumSquares(x []float64) float64 {
	var a, b, c, d float64 // sums that need not wait for each other
	for ; len(x) >= 4; x = x[4:] {
		a += x[0] * x[0]
		b += x[1] * x[1]
		c += x[2] * x[2]
		d += x[3] * x[3]
	}
	return a + b + c + d
}

// settle sees to the frames between two analysed ones.
func (e *ear) settle(from, to int) {
	if to-from < 2 {
		return
	}
	if e.even(from, to) {
		same, clear := agree(&e.heard[from], &e.heard[to])
		if same && (clear || to-from <= noiseHops) {
			e.fill(from, to)
			return
		}
	}
	middle := (from + to) / 2
	e.analyse(middle)
	e.settle(from, middle)
	e.settle(middle, to)
}

// even reports whether the energy of frames from to to stays the same.
func (e *ear) even(from, to int) bool {
	low, high := math.Inf(1), 0.
	for i := max(1, from); i <= to; i++ {
		v := e.energy[i-1] + e.energy[i]
		low, high = min(low, v), max(high, v)
	}
	return high <= energyStep*low
}

// agree reports whether two frames may be two looks at the same thing, and
// whether they share a clear tone.
func agree(a, b *sound) (same, clear bool) {
	if apart(a.total, b.total) > levelStep || apart(a.hiss, b.hiss) > levelStep {
		return false, false
	}
	for k, x := range a.lines {
		y := b.lines[k]
		if max(x.snr, y.snr) < clearSNR {
			continue
		}
		if !x.fits(y) || apart(x.level, y.level) > toneStep {
			return false, false
		}
		clear = true
	}
	return true, clear
}

// fits reports whether two frames' lines have the same frequency.
func (x line) fits(y line) bool {
	const same = 0.002 * 1e5 // flutter moves a line by less in most machines; where by more, more frames tell the speed
	return math.Abs(float64(x.offset)-float64(y.offset)) <= same
}

// fill copies the nearer of two frames that agree into those between.
func (e *ear) fill(from, to int) {
	for i := from + 1; i < to; i++ {
		s, d := &e.heard[i], &e.heard[from]
		if 2*i > from+to {
			d = &e.heard[to]
		}
		s.total, s.hiss, s.loud, s.loudHz = d.total, d.hiss, d.loud, d.loudHz
		copy(s.lines, d.lines)
	}
}

func apart(a, b uint8) int { return max(int(a), int(b)) - min(int(a), int(b)) }
