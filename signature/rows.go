package signature

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"headstack/measure"
	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// kind is what a row of figures holds; each row has one figure per track.
type kind int

const (
	rowLevel   kind = iota // dB: level of a tone less its stated level and fringing
	rowDelay               // µs: of a tone, re the mean of the tracks
	rowNoise               // dB: noise re full scale
	rowAll                 // ln of the flicker of all frequencies re the usual one
	rowTreble              // ln of the flicker of the treble re the usual one
	rowMissing             // 1 where the tones are absent and siblings have them, else 0
)

// row is one figure taken on every track.
type row struct {
	kind    kind
	section string
	hz      float64
	lambda  unit.Metre
	stated  float64 // the section's stated level, dB
}

// data is what a report holds for the fit.
type data struct {
	opt    Options
	tracks []int // numbers, rising
	rows   []row
	y, sd  [][]float64 // [track][row]; sd is +Inf where there is no figure
	fringe [][]float64 // [track][row] what was taken off for fringing, dB
	loose  []float64   // [track] dB by which the gain is not known: a compander stands in the path
	slope  []float64   // dB per dB over level steps, NaN where not measured
	slopeS []float64   // its standard error
	weave  []float64   // [row] by how much the azimuth of a delay row may differ from the mean, arcmin
	line   figure      // measured azimuth where single delays are not linked, arcmin
	speed  float64     // of the recording, m/s
	warn   []string

	change  bool   // the figures are differences of two captures
	between string // what was done between them
}

// figure is a value and its standard error; sd 0 means there is none.
type figure struct{ v, sd float64 }

// missing marks that there is no figure.
var missing = math.Inf(1)

// gather takes from a report what the fit needs.
func gather(rep measure.Report, opt Options) (*data, error) {
	d := &data{opt: opt, speed: opt.Tape.SpeedCmS / 100}
	heard := map[int]bool{}
	for _, r := range rep.Measures {
		if r.Name == "level" && r.Track > 0 {
			heard[r.Track] = true
		}
	}
	for t := range heard {
		if t > len(opt.Geometry.Tracks) {
			return nil, fmt.Errorf("track %d is not on a head of %d tracks", t, len(opt.Geometry.Tracks))
		}
		d.tracks = append(d.tracks, t)
	}
	slices.Sort(d.tracks)
	if len(d.tracks) == 0 {
		return nil, ErrNothing
	}
	d.levels(rep)
	if !slices.ContainsFunc(d.rows, func(r row) bool { return r.kind == rowLevel }) {
		return nil, ErrNothing
	}
	d.delays(rep)
	d.perTrack(rep)
	return d, nil
}

// index of a track number, or -1.
func (d *data) index(track int) int { return slices.Index(d.tracks, track) }

// addRow appends a row without figures.
func (d *data) addRow(r row) int {
	d.rows = append(d.rows, r)
	d.weave = append(d.weave, 0)
	if d.y == nil {
		d.y, d.sd, d.fringe = make([][]float64, len(d.tracks)), make([][]float64, len(d.tracks)), make([][]float64, len(d.tracks))
		d.loose = make([]float64, len(d.tracks))
	}
	for t := range d.tracks {
		d.y[t] = append(d.y[t], 0)
		d.sd[t] = append(d.sd[t], missing)
		d.fringe[t] = append(d.fringe[t], 0)
	}
	return len(d.rows) - 1
}

// levels makes a row of every tone that at least one track has, in order of frequency.
func (d *data) levels(rep measure.Report) {
	sections := slices.Clone(d.opt.Tape.Sections)
	sort.SliceStable(sections, func(i, j int) bool { return sections[i].ToneHz < sections[j].ToneHz })
	full := d.opt.Tape.TrackLayout == testtape.FullWidth && !d.opt.Tape.FringingCompensated && !d.opt.OwnRecording
	for _, s := range sections {
		if s.ToneHz <= 0 {
			continue
		}
		lambda := tape.Wavelength(unit.MetrePerSecond(d.speed), unit.Hertz(s.ToneHz))
		at := -1
		for t, track := range d.tracks {
			f := combined(rep, "level", track, s.Name)
			if f.sd == 0 {
				continue
			}
			if at < 0 {
				at = d.addRow(row{kind: rowLevel, section: s.Name, hz: s.ToneHz, lambda: lambda, stated: s.LevelDB})
			}
			d.y[t][at], d.sd[t][at] = f.v-s.LevelDB, f.sd
			if full {
				d.fringe[t][at] = float64(tape.FringingGain(d.opt.Geometry, track, lambda))
				d.y[t][at] -= d.fringe[t][at]
			}
		}
	}
}

// combined is the mean of a track's figures of one name and section, weighted by their
// intervals, which never count as narrower than levelFloor.
func combined(rep measure.Report, name string, track int, section string) figure {
	var sum, weight float64
	for _, r := range rep.Measures {
		if r.Name != name || r.Track != track || r.Section != section || r.Refused != "" {
			continue
		}
		sd := math.Max((r.Hi-r.Lo)/3.92, levelFloor)
		sum, weight = sum+r.Value/(sd*sd), weight+1/(sd*sd)
	}
	if weight == 0 {
		return figure{}
	}
	return figure{sum / weight, math.Sqrt(1 / weight)}
}

// levelFloor keeps a figure from counting as exact.
const levelFloor = 1e-3

// perTrack makes the rows of noise, flicker and absence, and keeps the level steps.
func (d *data) perTrack(rep measure.Report) {
	noise := d.addRow(row{kind: rowNoise})
	all, treble := d.addRow(row{kind: rowAll}), d.addRow(row{kind: rowTreble})
	absent := d.addRow(row{kind: rowMissing})
	d.slope, d.slopeS = make([]float64, len(d.tracks)), make([]float64, len(d.tracks))
	for t, track := range d.tracks {
		d.slope[t] = math.NaN()
		for _, r := range rep.Measures {
			if r.Track != track || r.TrackB != 0 || r.Refused != "" {
				continue
			}
			switch r.Name {
			case "noise_floor":
				d.y[t][noise], d.sd[t][noise] = r.Value, math.Max(0.05, (r.Hi-r.Lo)/3.92)
			case "flicker_all_band":
				d.y[t][all], d.sd[t][all] = logFlicker(r, usualAllDB)
			case "flicker_treble":
				d.y[t][treble], d.sd[t][treble] = logFlicker(r, usualTrebleDB)
			case "noise_reduction_left_on":
				d.slope[t], d.slopeS[t] = r.Value, math.Max(1e-3, (r.Hi-r.Lo)/3.92)
			}
		}
		have, could := 0, 0
		for i, r := range d.rows {
			if r.kind == rowLevel {
				could++
				if d.sd[t][i] != missing {
					have++
				}
			}
		}
		d.y[t][absent], d.sd[t][absent] = 0, 0.05
		if have*2 < could {
			d.y[t][absent] = 1
		}
	}
}

// flickerFloor is the flicker in dB below which nobody cares: sound tracks read less.
const flickerFloor = 0.03

// logFlicker is the logarithm of a flicker re the usual one, with its standard error.
func logFlicker(r measure.Result, usual float64) (y, sd float64) {
	v := math.Max(r.Value, flickerFloor)
	hi, lo := math.Max(r.Hi, flickerFloor), math.Max(r.Lo, flickerFloor)
	return math.Log(v / usual), math.Max(0.05, (math.Log(hi)-math.Log(lo))/3.92)
}
