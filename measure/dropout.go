package measure

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
)

// A drop-out is a fall of the level by dropDepthDB or more for dropSeconds or longer,
// against the median of the level around it. Common practice, no source: depths of 3
// to 20 dB and times of 5 to 20 ms are in use, so the rule is part of the method text.
const (
	dropDepthDB = 6
	dropSeconds = 0.020
	// dropAround is the stretch whose median a drop-out is compared with.
	dropAround = 2.0
	// dropToneDB is how far the tone must lie over the noise in its band, so that noise
	// makes no drop-outs: two means in a row 6 dB down are then 5 standard deviations.
	dropToneDB = 15
)

// drop is one drop-out.
type drop struct {
	atS, seconds, depthDB float64
	open                  bool // cut off by an end of the section
}

// dropRule is the least length that the band of a tone lets through.
func (c *toneChannel) dropRule() float64 { return math.Max(dropSeconds, 1/c.band.PassHz) }

// drops finds the drop-outs. Begin and end lie where a line between two means crosses
// the threshold; falls closer together than the least length are one.
func (c *toneChannel) drops() []drop {
	if len(c.power) == 0 || slices.Min(c.power) > slices.Max(c.power)*math.Pow(10, -dropDepthDB/10.0) {
		return nil // as most tones are, and medians take time
	}
	least := c.dropRule()
	usual := c.usual()
	x := make([]float64, len(c.power)) // over the threshold, dB
	for i, p := range c.power {
		x[i] = 10*math.Log10(math.Max(p, 1e-30)/usual[i]) + dropDepthDB
	}
	var falls []drop
	for i := 0; i < len(x); i++ {
		if x[i] >= 0 {
			continue
		}
		from, d := i, drop{}
		for ; i < len(x) && x[i] < 0; i++ {
			d.depthDB = math.Max(d.depthDB, dropDepthDB-x[i])
		}
		begin, end := float64(from)-0.5, float64(i)-0.5
		if from > 0 {
			begin = float64(from) - x[from]/(x[from]-x[from-1])
		}
		if i < len(x) {
			end = float64(i) - x[i]/(x[i]-x[i-1])
		}
		d.atS, d.seconds = begin*c.dt, (end-begin)*c.dt
		d.open = from == 0 || i == len(x)
		if last := len(falls) - 1; last >= 0 && d.atS-falls[last].atS-falls[last].seconds < least {
			falls[last].seconds = d.atS + d.seconds - falls[last].atS
			falls[last].depthDB = math.Max(falls[last].depthDB, d.depthDB)
			falls[last].open = falls[last].open || d.open
			continue
		}
		falls = append(falls, d)
	}
	return slices.DeleteFunc(falls, func(d drop) bool { return d.seconds < least })
}

// usual is the median of the power around each block, noise included. It is taken
// every half second and held between.
func (c *toneChannel) usual() []float64 {
	half := max(1, int(dropAround/2/c.dt))
	step := max(1, half/2)
	out := make([]float64, len(c.power))
	for at := 0; at < len(out); at += step {
		// A whole stretch at the ends too.
		lo := max(0, min(at+step/2-half, len(out)-2*half))
		m := median(c.power[lo:min(len(out), lo+2*half)])
		for i := at; i < min(len(out), at+step); i++ {
			out[i] = math.Max(m, 1e-30)
		}
	}
	return out
}

// garwood is the exact 95 % interval of the mean of a Poisson count n:
//
//	χ²(0.025; 2n)/2 to χ²(0.975; 2n+2)/2
//
// It holds the mean in at least 95 % of all cases, in more where the mean is small.
// Source: F. Garwood, Biometrika 28, 1936.
func garwood(n int) (lo, hi float64) {
	if n > 0 {
		lo = mathext.GammaIncRegInv(float64(n), 0.025)
	}
	return lo, mathext.GammaIncRegInv(float64(n)+1, 0.975)
}

// dropouts counts the drop-outs of one tone.
func dropouts(r Result, ch *toneChannel, partial bool) Result {
	r.Reference = fmt.Sprintf("median of the level within ±%g s", dropAround/2)
	if ch.absent != "" {
		return r.refuse(ch.absent)
	}
	over := 10 * math.Log10((ch.middle-ch.noise)/math.Max(ch.noise, 1e-30))
	if over < dropToneDB {
		return r.refuse(fmt.Sprintf("tone too near the noise to count drop-outs: %.0f dB over it, %d dB needed", over, dropToneDB))
	}
	found := ch.drops()
	minutes := ch.seconds() / 60
	lo, hi := garwood(len(found))
	r.Value, r.Lo, r.Hi = float64(len(found))/minutes, lo/minutes, hi/minutes
	r.Method = fmt.Sprintf("falls of %d dB or more for %.0f ms or longer, by %.0f ms means, %s: %d in %s", dropDepthDB, 1000*ch.dropRule(), 1000*ch.dt, toneBandName(r.ToneHz), len(found), seconds(ch.seconds()))
	if len(found) > 0 {
		deepest, longest, cut := drop{}, drop{}, false
		for _, d := range found {
			if d.depthDB > deepest.depthDB {
				deepest = d
			}
			if d.seconds > longest.seconds {
				longest = d
			}
			cut = cut || d.open
		}
		r.Method += fmt.Sprintf("; deepest %.0f dB, longest %.0f ms", deepest.depthDB, 1000*longest.seconds)
		if cut {
			r.Warnings = append(r.Warnings, "a drop-out reaches an end of the section")
		}
	}
	r.Method += "; exact interval of a Poisson count, which takes drop-outs to come independently"
	if partial {
		r.Warnings = append(r.Warnings, "section cut by the start or end of the capture")
	}
	return r
}
