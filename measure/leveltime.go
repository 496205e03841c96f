package measure

import (
	"fmt"
	"math"
)

// levelPoints is the most points of a level course.
const levelPoints = 400

// levelTimes gives the level against time of every tone section on every track.
func (s *session) levelTimes() []Trace {
	var out []Trace
	s.toneSections(func(t *take, index int, ch *toneChannel, track, channel int, why string) {
		if !s.isTone(index) || ch == nil || ch.absent != "" {
			return
		}
		sec := s.opt.Tape.Sections[index]
		tr := Trace{Name: "level_time", Track: track, Section: sec.Name, ToneHz: sec.ToneHz, Conditions: s.conditions(t, channel)}
		tr.X = Axis{Label: "time from the start of the section", Unit: "s"}
		tr.Y = Axis{Label: "level", Unit: "dB"}
		tr.Reference = "median of the section's level"
		start := 0.0
		if h, _ := t.heardBy("tones", index); h != nil {
			// What the filters' length costs lies half at either end.
			start = h.at.fromS - h.at.startS + math.Max(0, h.at.seconds-ch.seconds())/2
		}
		tr.Points = ch.levelTime(start)
		tr.Extremes = true
		tr.Method = fmt.Sprintf("each point: mean of the level, lowest and highest %.0f ms mean in its stretch of %.2g s (not an interval)", 1000*ch.dt, ch.seconds()/float64(len(tr.Points)))
		for _, d := range ch.longest(8) {
			tr.Marks = append(tr.Marks, Mark{X: round3(start + d.atS), Y: round3(-d.depthDB), Label: fmt.Sprintf("drop-out %.0f dB, %.0f ms", d.depthDB, 1000*d.seconds)})
		}
		out = append(out, tr)
	})
	return out
}

// longest are the n longest drop-outs, in order of time.
func (c *toneChannel) longest(n int) []drop {
	d := c.drops()
	for len(d) > n {
		least := 0
		for i := range d {
			if d[i].seconds < d[least].seconds {
				least = i
			}
		}
		d = append(d[:least], d[least+1:]...)
	}
	return d
}

// levelTime reduces the block means; start is the time of the first one's begin.
func (c *toneChannel) levelTime(start float64) []Point {
	n := min(levelPoints, len(c.power))
	ref := math.Max(c.middle, 1e-30)
	db := func(p float64) float64 { return round3(10 * math.Log10(math.Max(p, 1e-12*ref)/ref)) }
	points := make([]Point, n)
	for k := range points {
		a, b := k*len(c.power)/n, (k+1)*len(c.power)/n
		sum, lo, hi := 0.0, math.Inf(1), 0.0
		for _, p := range c.power[a:b] {
			sum += p
			lo, hi = math.Min(lo, p), math.Max(hi, p)
		}
		points[k] = Point{X: round3(start + float64(a+b)/2*c.dt), Y: db(sum / float64(b-a)), Lo: db(lo), Hi: db(hi)}
	}
	return points
}

// round3 keeps a trace's numbers short: to a thousandth of a second or decibel.
func round3(x float64) float64 { return math.Round(1000*x) / 1000 }
