package measure

import (
	"fmt"
	"math"
)

const (
	tracePoints    = 600
	spectrumDots   = 400 // points of a spectrum, evenly spread over the logarithm
	driftMeanLeast = 1.0 // s, of the means in a drift trace, a whole turn of most wow
)

// speedTraces are the courses of the common speed signal of every capture.
func (s *session) speedTraces() []Trace {
	var out []Trace
	for _, t := range s.takes {
		if st := t.speed; st != nil && st.figures != nil {
			out = append(out, s.speedTrace(t), s.driftTrace(t), s.spectrumTrace(t))
		}
		if w := s.warmUpTrace(t); len(w.Points) > 2 {
			out = append(out, w)
		}
	}
	return out
}

func (s *session) startTrace(t *take, name string) Trace {
	sec := s.opt.Tape.Sections[t.speed.at.index]
	return Trace{Name: name, Section: sec.Name, ToneHz: sec.ToneHz, Reference: "mean speed of the section",
		Warnings: s.speedWarnings(t, t.speed), Conditions: s.conditions(t, 0)}
}

// speedTrace is the momentary speed.
func (s *session) speedTrace(t *take) Trace {
	c := t.speed.common
	tr := s.startTrace(t, "speed")
	m := (len(c.dev) + tracePoints - 1) / tracePoints
	for i := 0; i+m <= len(c.dev); i += m {
		p := Point{X: t.speed.at.fromS + (float64(i)+float64(m)/2)/c.rate, Lo: math.Inf(1), Hi: math.Inf(-1)}
		for _, v := range c.dev[i : i+m] {
			p.Lo, p.Hi = math.Min(p.Lo, 100*v), math.Max(p.Hi, 100*v)
			p.Y += 100 * v / float64(m)
		}
		tr.Points = append(tr.Points, p)
	}
	tr.X, tr.Y = Axis{Label: "time in the capture", Unit: "s"}, Axis{Label: "speed deviation", Unit: "%"}
	tr.Method = fmt.Sprintf("momentary frequency of the tone, unweighted, 0 to %d Hz; each point the mean over %s, its bounds the least and the most within, not an interval", speedSidebands, milliseconds(float64(m)/c.rate))
	return tr
}

// driftTrace is the mean speed within the section.
func (s *session) driftTrace(t *take) Trace {
	c := t.speed.common
	tr := s.startTrace(t, "drift")
	m := max(int(driftMeanLeast*c.rate), (len(c.dev)+tracePoints-1)/tracePoints)
	pace := t.speed.band.CarrierHz * (1 + c.mean) / t.speed.at.section.ToneHz
	for i := 0; i+m <= len(c.dev); i += m {
		y := 100 * (pace*(1+meanOf(c.dev[i:i+m])) - 1)
		tr.Points = append(tr.Points, Point{X: (t.speed.at.fromS + (float64(i)+float64(m)/2)/c.rate) / 60, Y: y, Lo: y, Hi: y})
	}
	tr.X, tr.Y = Axis{Label: "time in the capture", Unit: "min"}, Axis{Label: "mean speed error", Unit: "%"}
	tr.Reference = fmt.Sprintf("%g Hz at the tape's nominal %g cm/s", tr.ToneHz, s.opt.Tape.SpeedCmS)
	tr.Method = fmt.Sprintf("means over %.2g s", float64(m)/c.rate)
	return tr
}

// warmUpTrace is the mean speed of every tone section of a capture.
func (s *session) warmUpTrace(t *take) Trace {
	tr := Trace{Name: "drift", Conditions: s.conditions(t, 0)}
	for i, sec := range s.opt.Tape.Sections {
		tt := t.tones[i]
		h, _ := t.heardBy("tones", i)
		if tt == nil || h == nil || tt.common == nil || !tt.common.ok {
			continue
		}
		e := speedError(tt.common.freq, sec.ToneHz)
		half := e.Half()
		tr.Points = append(tr.Points, Point{X: (h.at.fromS + h.at.seconds/2) / 60, Y: e.Value, Lo: e.Value - half, Hi: e.Value + half})
	}
	tr.X, tr.Y = Axis{Label: "time in the capture", Unit: "min"}, Axis{Label: "mean speed error", Unit: "%"}
	tr.Reference = fmt.Sprintf("the tones' frequencies at the tape's nominal %g cm/s", s.opt.Tape.SpeedCmS)
	tr.Method = "mean speed of every tone section, all tracks; a tape's tones may themselves be off by some hundredths of a per cent from one another"
	return tr
}

// spectrumTrace is the spectrum of the common speed signal.
func (s *session) spectrumTrace(t *take) Trace {
	st := t.speed
	tr := s.startTrace(t, "speed_spectrum")
	sp := spectrumOf(st.figures.flat(st.common), st.common.rate)
	for i := range spectrumDots {
		f := wowLoHz * math.Pow(speedTopHz/wowLoHz, float64(i)/(spectrumDots-1))
		y := 100 * sp.amplitude(f)
		tr.Points = append(tr.Points, Point{X: f, Y: y, Lo: y, Hi: y})
	}
	for _, l := range st.lines {
		label := l.name
		if label == "" {
			label = lineHz(l.hz)
		}
		tr.Marks = append(tr.Marks, Mark{X: l.hz, Y: 100 * l.amplitude.Value, Label: label})
	}
	tr.X, tr.Y = Axis{Label: "rate of fluctuation", Unit: "Hz", Log: true}, Axis{Label: "speed deviation", Unit: "%", Log: true}
	tr.Method = fmt.Sprintf("peak of the sine that has the power within ±%.2g Hz or ±%.3g %% of the rate, whichever is more; Hann window over %s; carrier noise included", 2/sp.seconds, 100*bandHalf, seconds(sp.seconds))
	return tr
}

func milliseconds(s float64) string { return fmt.Sprintf("%.3g ms", 1000*s) }
