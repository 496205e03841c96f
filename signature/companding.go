package signature

import (
	"fmt"
	"math"
)

// Slopes of level steps: a sound path, a 2:1 expander left on, a 2:1 compressor. Common
// practice, no source.
const (
	slopeSpread     = 0.03 // of a sound path: steps of the tape
	stretchSpread   = 0.15 // of an expander: its detector and its unity level
	stretchChance   = 0.05
	stretchTogether = 0.95 // where most other tracks are stretched
)

// unstretch finds tracks on which a 2:1 compander is left in the path, by the level steps
// of the report, and takes its work off the levels, so that the rest can be explained.
func (d *data) unstretch() []Finding {
	odds := make([]float64, len(d.tracks))
	sure := 0
	for t := range d.tracks {
		if odds[t] = d.stretchOdds(t, stretchChance); odds[t] > 1 {
			sure++
		}
	}
	// One switch serves all tracks, as a rule: where most are stretched, so is one whose
	// steps cannot be read.
	together := sure*3 > 2*len(d.tracks)
	var on []int
	least := 1.0
	for t := range d.tracks {
		if together {
			odds[t] = d.stretchOdds(t, stretchTogether)
		}
		if odds[t] < 1 {
			continue
		}
		on = append(on, d.tracks[t])
		p := 1.0
		if !math.IsInf(odds[t], 1) {
			p = odds[t] / (1 + odds[t])
		}
		least = math.Min(least, p)
		slope := d.slope[t]
		if math.IsNaN(slope) {
			slope = 2
		}
		d.shrink(t, slope)
	}
	if len(on) == 0 {
		return nil
	}
	r := result{d: d}
	mean, n := 0.0, 0.0
	for _, track := range on {
		if slope := d.slope[d.index(track)]; !math.IsNaN(slope) {
			mean += slope
			n++
		}
	}
	mean /= n
	return []Finding{{Cause: NoiseReductionOn, Tracks: on, Parameters: []Parameter{}, Probability: least, Nature: Electrical,
		Sentence:      fmt.Sprintf("%s: level steps of 10 dB read as %.0f dB: noise reduction is left on, or its bypass does not work; the other findings hold for what stands before it.", upper(r.tracksText(on)), 10*mean),
		WouldSeparate: "switch noise reduction off, on every track, and play two tones 10 dB apart: they must read 10 dB apart"}}
}

// stretchOdds are the odds that a track's level steps are stretched or squeezed.
func (d *data) stretchOdds(t int, chance float64) float64 {
	odds := chance / (1 - chance)
	if math.IsNaN(d.slope[t]) {
		if chance < 0.5 {
			return 0 // nothing measured, nothing said
		}
		return odds
	}
	sd := d.slopeS[t]
	sound := normalLog(d.slope[t], 1, math.Hypot(slopeSpread, sd))
	expand := normalLog(d.slope[t], 2, math.Hypot(stretchSpread, sd))
	compress := normalLog(d.slope[t], 0.5, math.Hypot(stretchSpread/2, sd))
	return odds * (math.Exp(expand-sound) + 0.3*math.Exp(compress-sound))
}

// unityDB is how far the level at which a compander neither lifts nor lowers may be from
// the tape's 0 dB. Common practice, no source.
const unityDB = 2

// shrink divides a track's level differences from the loudest section by a slope.
func (d *data) shrink(t int, slope float64) {
	ref := -1
	for i, r := range d.rows {
		if r.kind == rowLevel && d.sd[t][i] != missing && (ref < 0 || r.stated > d.rows[ref].stated) {
			ref = i
		}
	}
	if ref < 0 {
		return
	}
	d.loose[t] = unityDB
	top := d.y[t][ref] + d.fringe[t][ref] + d.rows[ref].stated
	for i, r := range d.rows {
		if r.kind == rowLevel && d.sd[t][i] != missing {
			whole := d.y[t][i] + d.fringe[t][i] + r.stated
			d.y[t][i] = top + (whole-top)/slope - r.stated - d.fringe[t][i]
			d.sd[t][i] /= slope
		}
		switch r.kind {
		case rowNoise:
			d.sd[t][i] = missing // an expander hides the noise
		case rowAll, rowTreble:
			d.y[t][i] -= math.Log(slope)
		}
	}
}

// normalLog is the logarithm of the normal density.
func normalLog(x, mean, sd float64) float64 {
	return -sq((x-mean)/sd)/2 - math.Log(sd)
}
