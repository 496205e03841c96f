package testtape

import (
	"math"
	"slices"
)

// Evidence is kept in nats-like units per frame, clipped so that no single
// frame decides: absent says tone surely not there, present surely there.
const (
	absent, present = -1.5, 2.
	// In noise alone the highest of some hundred bins stands about 10 dB above
	// their mean logarithm (2.5 dB for the mean logarithm itself, 7 dB for the
	// maximum of 150 exponential variables). At evenSNR a line says nothing.
	evenSNR, snrSlope = 11., 4. // dB, dB per unit of evidence
	// A line that is there the whole time (hum, a whistle) is weak evidence.
	persistentSNR, persistentDB = 11.5, 8.
	// A tone is doubted when another tone of the tape is this much stronger, and
	// ruled out dominanceSpan above that: harmonics and crosstalk are weaker than
	// what makes them, while a real section is at most 6 dB below leakage.
	dominanceDB, dominanceSpan = 8., 9.
	// speedTolerance covers flutter, drift and the grid of speeds.
	speedTolerance = 0.006
	// binTolerance is the error of a line's place, in bins, at poor S/N.
	binTolerance = 0.3

	// Speeds tried. The grid is finer than speedTolerance.
	speedLow, speedHigh, speedStep = 0.934, 1.066, 0.0025
)

// evidence says how much each frame speaks for each tone.
type evidence struct {
	f *features
	// base is the evidence if the line's frequency fits; per frame and tone.
	base []float32
	// level and total are dBFS, weighted over channels by how much they hear.
	level  []float32 // per frame and tone
	total  []float32 // per frame
	hiss   []float32 // per frame, above hissHz
	weight []float64 // per channel, sum 1
	// loud is a level that only the strongest frames exceed.
	loud float64
}

func newEvidence(f *features) *evidence {
	k := len(f.tones)
	e := &evidence{f: f, base: make([]float32, f.frames*k), level: make([]float32, f.frames*k), total: make([]float32, f.frames), hiss: make([]float32, f.frames)}
	floors := e.weigh()
	for t := range f.frames {
		for i := range k {
			e.base[t*k+i] = float32(e.judge(t, i, floors))
		}
	}
	e.mix()
	return e
}

// weigh sets the channels' weights and returns each tone's floor in each
// channel: the level that 85 % of frames exceed.
func (e *evidence) weigh() (floors []uint8) {
	f := e.f
	k := len(f.tones)
	floors = make([]uint8, k*f.channels)
	e.weight = make([]float64, f.channels)
	sum := 0.
	for c := range f.channels {
		reach := 0.
		for i := range k {
			var h [256]int
			for t := range f.frames {
				h[f.level[(t*k+i)*f.channels+c]]++
			}
			low, high := quantile(&h, 0.15), quantile(&h, 0.98)
			floors[i*f.channels+c] = low
			reach = max(reach, 0.5*float64(high-low))
		}
		// Noise alone moves by some 10 dB; a channel that hears tones by far more.
		e.weight[c] = max(0.01, min(1, (reach-12)/20))
		sum += e.weight[c]
	}
	for c := range e.weight {
		e.weight[c] /= sum
	}
	return floors
}

// quantile is the value that the share q of the histogram does not exceed.
func quantile(h *[256]int, q float64) uint8 {
	n := 0
	for _, c := range h {
		n += c
	}
	want, seen := int(q*float64(n)), 0
	for v, c := range h {
		seen += c
		if seen > want {
			return uint8(v)
		}
	}
	return 255
}

// judge is the evidence that frame t holds tone i, whatever its exact
// frequency.
func (e *evidence) judge(t, i int, floors []uint8) float64 {
	f := e.f
	k := len(f.tones)
	at := t*k + i
	if f.snr[at] == 0 {
		return absent
	}
	c := int(f.channel[at])
	own := int(f.level[at*f.channels+c])
	snr := 0.5 * float64(f.snr[at])
	rival := -1000 // half dB above own
	others := false
	for j := range k {
		if r := f.tones[j] / f.tones[i]; r > 1-2*searchWidth && r < 1+2*searchWidth {
			continue // the same line may stand in both bands; frequency decides
		}
		l := int(f.level[(t*k+j)*f.channels+c])
		if f.snr[t*k+j] < 24 {
			continue
		}
		others = others || l > own-60
		if l > int(floors[j*f.channels+c])+12 {
			rival = max(rival, l-own)
		}
	}
	if float64(own-int(floors[i*f.channels+c]))*0.5 < persistentDB {
		// A capture of nothing but one tone has a persistent line too, but no
		// others, and little else in it.
		if others || own < int(f.total[t*f.channels+c])-6 {
			snr = min(snr, persistentSNR)
		}
	}
	v := max(absent, min(present, (snr-evenSNR)/snrSlope))
	doubt := max(0, min(1, (0.5*float64(rival)-dominanceDB)/dominanceSpan))
	return v - doubt*(v-absent)
}

// mix averages levels over channels, in dB so that each track's own gain is a
// constant.
func (e *evidence) mix() {
	f := e.f
	k := len(f.tones)
	for t := range f.frames {
		for i := range k {
			v := 0.
			for c, w := range e.weight {
				v += w * f.levelDB(t, i, c)
			}
			e.level[t*k+i] = float32(v)
		}
		v, h := 0., 0.
		for c, w := range e.weight {
			v += w * f.perChannelDB(f.total, t, c)
			h += w * f.perChannelDB(f.hiss, t, c)
		}
		e.total[t], e.hiss[t] = float32(v), float32(h)
	}
	sorted := slices.Clone(e.total)
	slices.Sort(sorted)
	if len(sorted) > 0 {
		e.loud = float64(sorted[len(sorted)*97/100])
	}
}

// tone is the evidence in frame t for tone i at speed ratio r.
func (e *evidence) tone(t, i int, r float64) float64 {
	k := len(e.f.tones)
	if math.Abs((1+1e-5*float64(e.f.offset[t*k+i]))/r-1) > e.tolerance(i) {
		return absent
	}
	return float64(e.base[t*k+i])
}

func (e *evidence) tolerance(i int) float64 {
	return max(speedTolerance, binTolerance*e.f.binHz/e.f.tones[i])
}

// likelySpeeds returns the speed ratios that explain most frames by some tone:
// the local maxima on the grid, the best few.
func (e *evidence) likelySpeeds() []float64 {
	const most = 8
	k := len(e.f.tones)
	var grid, score []float64
	for r := speedLow; r <= speedHigh; r += speedStep {
		sum := 0.
		for t := range e.f.frames {
			best := 0.
			for i, base := range e.base[t*k : (t+1)*k] {
				if float64(base) > best { // rarely: the others need not be looked at
					best = max(best, e.tone(t, i, r))
				}
			}
			sum += best
		}
		grid, score = append(grid, r), append(score, sum)
	}
	top := slices.Max(score)
	if top < 2*present {
		return nil // less than two frames' worth of tone in the whole capture
	}
	var at []int
	for g, s := range score {
		if s < 0.5*top || (g > 0 && score[g-1] > s) || (g+1 < len(score) && score[g+1] > s) {
			continue
		}
		at = append(at, g)
	}
	slices.SortStableFunc(at, func(a, b int) int {
		switch {
		case score[a] > score[b]:
			return -1
		case score[a] < score[b]:
			return 1
		case math.Abs(grid[a]-1) < math.Abs(grid[b]-1): // a flat top: nearest to nominal first
			return -1
		}
		return 1
	})
	var list []float64
	for _, g := range at {
		// One of a flat top is enough.
		if len(list) < most && !slices.ContainsFunc(list, func(r float64) bool { return math.Abs(r-grid[g]) < 1.5*speedStep }) {
			list = append(list, grid[g])
		}
	}
	return list
}
