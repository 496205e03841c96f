package plot

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"headstack/measure"
	"headstack/unit"
)

// course is one trace on its way to the picture.
type course struct {
	measure.Trace
	label   string // what tells it from the others of its facet; a bare track number is short
	style   int
	missing int // points without a place on the axes
}

// facet is one panel of small multiples.
type facet struct {
	name    string // "track 3"; empty where there is only one
	short   string // for a narrow panel; empty: the name
	of      int    // of how many panels of its track it is one; 0: the only one
	courses []course
}

// family is the traces that share what they show and both axes.
type family struct {
	name   string
	x, y   measure.Axis
	facets []facet
	// Spans of all its points.
	xlo, xhi, ylo, yhi float64
	drawn              int  // points
	extremes           bool // bounds are the least and the most, not intervals
	// under draws what lies below the courses of a panel; nil: nothing.
	under func(c *canvas, p panel, f family, fc facet)
}

// boundsAreExtremes tells the courses whose points carry the least and the most of
// their stretch instead of an interval.
func boundsAreExtremes(t measure.Trace) bool {
	return t.Extremes
}

// overlaid is how many courses one panel holds before it becomes small multiples; of
// courses of many points, in whose jags a dash is not seen, only two.
const overlaid, overlaidDense = 4, 2

func overlaidOf(ts []measure.Trace) int {
	dense := 0
	for _, t := range ts {
		if len(t.Points) > dotted {
			dense++
		}
	}
	if dense > 1 {
		return overlaidDense
	}
	return overlaid
}

// familiesOf sorts traces into families, in order of appearance.
func familiesOf(ts []measure.Trace) []family {
	type kind struct {
		name string
		x, y measure.Axis
	}
	var kinds []kind
	of := map[kind][]measure.Trace{}
	for _, t := range ts {
		if t.Name == "speed_spectrum" {
			t.X.Log, t.Y.Log = true, true // lines of a thousandth beside drift: nothing else shows both
		}
		k := kind{t.Name, t.X, t.Y}
		if !slices.Contains(kinds, k) {
			kinds = append(kinds, k)
		}
		of[k] = append(of[k], t)
	}
	var out []family
	for _, k := range kinds {
		f := family{name: k.name, x: k.x, y: k.y, facets: facetsOf(of[k])}
		f.extremes = slices.ContainsFunc(of[k], boundsAreExtremes)
		f.measureSpans()
		out = append(out, f)
	}
	return out
}

// facetsOf keeps few traces together; more get a panel for each track, or each for
// itself where all are of one track.
func facetsOf(ts []measure.Trace) []facet {
	sorted := slices.Clone(ts)
	slices.SortStableFunc(sorted, func(a, b measure.Trace) int {
		return cmp.Or(cmp.Compare(a.Track, b.Track), cmp.Compare(a.TrackB, b.TrackB))
	})
	ts = sorted
	most := overlaidOf(ts)
	if len(ts) <= most {
		return []facet{newFacet("", ts, numbered(labels(ts, true)))}
	}
	var tracks []string
	of := map[string]*facet{}
	names, styles := labels(ts, false), []string{}
	for i, t := range ts {
		n := trackName(t)
		if of[n] == nil {
			tracks = append(tracks, n)
			of[n] = &facet{name: n}
		}
		if !slices.Contains(styles, names[i]) {
			styles = append(styles, names[i])
		}
		// One dash for one thing in all panels.
		of[n].courses = append(of[n].courses, course{Trace: t, label: names[i], style: slices.Index(styles, names[i])})
	}
	var out []facet
	if len(tracks) == 1 {
		names := numbered(labels(ts, true))
		for i := range ts {
			out = append(out, newFacet(names[i], ts[i:i+1], []string{""}))
		}
		return out
	}
	for _, n := range tracks {
		if len(of[n].courses) <= most {
			out = append(out, *of[n])
			continue
		}
		// A row of panels for each track: what one band has and another has not shows.
		for i, c := range of[n].courses {
			single := facet{name: n + ", " + cmp.Or(c.label, strconv.Itoa(i+1)), of: len(of[n].courses), short: cmp.Or(c.label, n)}
			if c.Track != 0 && c.TrackB == 0 {
				single.short = strconv.Itoa(c.Track) + ": " + single.short
			}
			c.style, c.label = 0, ""
			single.courses = []course{c}
			out = append(out, single)
		}
	}
	return out
}

func newFacet(name string, ts []measure.Trace, names []string) facet {
	f := facet{name: name}
	for i, t := range ts {
		f.courses = append(f.courses, course{Trace: t, label: names[i], style: i})
	}
	return f
}

func trackName(t measure.Trace) string {
	switch {
	case t.Track == 0:
		return "all tracks"
	case t.TrackB != 0:
		return fmt.Sprintf("tracks %d and %d", t.Track, t.TrackB)
	}
	return "track " + strconv.Itoa(t.Track)
}

// labels names what differs between traces; the bare number where only tracks do.
func labels(ts []measure.Trace, tracks bool) []string {
	out := make([]string, len(ts))
	if len(ts) < 2 {
		return out
	}
	differ := func(of func(measure.Trace) string) bool {
		return slices.ContainsFunc(ts, func(t measure.Trace) bool { return of(t) != of(ts[0]) })
	}
	others := []func(measure.Trace) string{
		func(t measure.Trace) string {
			if t.ToneHz == 0 {
				return ""
			}
			return unit.Frequency(unit.Hertz(t.ToneHz))
		},
		func(t measure.Trace) string { return cmp.Or(t.Section, "all sections") },
		func(t measure.Trace) string { return t.Conditions.Capture },
	}
	byTrack := tracks && differ(trackName)
	for _, of := range others {
		if !differ(of) {
			continue
		}
		for i, t := range ts {
			if s := of(t); s != "" && out[i] != "" {
				out[i] += ", " + s
			} else {
				out[i] += s
			}
		}
		if distinct(ts, out) {
			break
		}
	}
	for i, t := range ts {
		switch {
		case !byTrack:
		case out[i] != "":
			out[i] = trackName(t) + ", " + out[i]
		case t.Track != 0 && t.TrackB == 0:
			out[i] = strconv.Itoa(t.Track)
		default:
			out[i] = trackName(t)
		}
	}
	return out
}

// distinct says whether the labels so far, with the tracks, tell all apart.
func distinct(ts []measure.Trace, names []string) bool {
	seen := map[string]bool{}
	for i, t := range ts {
		s := trackName(t) + ", " + names[i]
		if seen[s] {
			return false
		}
		seen[s] = true
	}
	return true
}

// numbered tells equal labels apart by their order.
func numbered(names []string) []string {
	if len(names) < 2 {
		return names
	}
	count := map[string]int{}
	for _, n := range names {
		count[n]++
	}
	at := map[string]int{}
	for i, n := range names {
		if count[n] > 1 {
			at[n]++
			names[i] = strings.TrimSpace(n + " (" + strconv.Itoa(at[n]) + ")")
		}
	}
	return names
}

// measureSpans finds what the axes must hold.
func (f *family) measureSpans() {
	f.xlo, f.ylo = math.Inf(1), math.Inf(1)
	f.xhi, f.yhi = math.Inf(-1), math.Inf(-1)
	lo, hi := math.Inf(1), math.Inf(-1) // of the intervals
	see := func(x, y float64) bool {
		if !drawable(x, f.x.Log) || !drawable(y, f.y.Log) {
			return false
		}
		f.xlo, f.xhi = math.Min(f.xlo, x), math.Max(f.xhi, x)
		f.ylo, f.yhi = math.Min(f.ylo, y), math.Max(f.yhi, y)
		return true
	}
	for i := range f.facets {
		for j := range f.facets[i].courses {
			c := &f.facets[i].courses[j]
			for _, p := range c.Points {
				if !see(p.X, p.Y) {
					c.missing++
					continue
				}
				f.drawn++
				if p.Lo < p.Hi && drawable(p.Lo, f.y.Log) && drawable(p.Hi, f.y.Log) {
					lo, hi = math.Min(lo, p.Lo), math.Max(hi, p.Hi)
				}
			}
			for _, m := range c.Marks {
				see(m.X, m.Y)
			}
		}
	}
	if f.drawn == 0 {
		return
	}
	f.widen(lo, hi)
}

// logSpan is the ratio that a logarithmic axis of amounts may span; less than that
// below the highest is drawn at the edge. Spectra have gaps of nothing.
const logSpan = 1e5

// leastDB is the least span of an axis of levels.
const leastDB = 1.0

// widen makes room for intervals, but not so much that they flatten the course.
func (f *family) widen(lo, hi float64) {
	if f.y.Log {
		if lo < f.ylo {
			f.ylo = math.Max(lo, f.ylo/3)
		}
		f.yhi = math.Max(f.yhi, math.Min(hi, f.yhi*3))
		f.ylo = math.Max(f.ylo, f.yhi/logSpan)
		return
	}
	if span := f.yhi - f.ylo; f.y.Unit == "dB" && span < leastDB {
		// A level that is as good as constant must look it.
		mid := (f.yhi + f.ylo) / 2
		f.ylo, f.yhi = mid-leastDB/2, mid+leastDB/2
	}
	room := math.Inf(1)
	if span := f.yhi - f.ylo; span > 0 {
		room = 1.5 * span
	}
	a, b := f.ylo, f.yhi
	if lo < a {
		f.ylo = math.Max(lo, a-room)
	}
	if hi > b {
		f.yhi = math.Min(hi, b+room)
	}
}

// axes of the family for panels of the given size.
func (f family) axes(wide, high float64, small bool) (x, y axis) {
	xlo, xhi, ylo, yhi := f.xlo, f.xhi, f.ylo, f.yhi
	if f.drawn == 0 {
		xlo, xhi, ylo, yhi = 0, 1, 0, 1
		if f.x.Log {
			xlo, xhi = 1, 10
		}
		if f.y.Log {
			ylo, yhi = 1, 10
		}
	} else if f.x.Log {
		xlo, xhi = xlo/1.06, xhi*1.06
	} else if f.fewPoints() && xhi > xlo {
		pad := 0.02 * (xhi - xlo)
		xlo, xhi = xlo-pad, xhi+pad
	}
	each := 36.0
	if small {
		each = 28
	}
	y = newAxis(f.y, ylo, yhi, true, high/each)
	x = newAxis(f.x, xlo, xhi, false, wide/62)
	return x, y
}
