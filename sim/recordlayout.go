package sim

import (
	"math"

	"headstack/programme"
)

// segment is a stretch of the recording in which nothing changes: a part, one step of
// a staircase, or what lies before or after the punch-in of the second pass. Times are
// in seconds of the recording pass from its beginning.
type segment struct {
	round, part int
	step        int
	erased      bool
	origin      float64 // the part's beginning, where its phases count from
	start, end  float64
}

// segments lists all of a recording in order.
func (r *Recording) segments() []segment {
	var list []segment
	at := 0.0
	for _, round := range r.rounds() {
		at += r.LeadInS
		for i, part := range r.Programme.Parts {
			s := segment{round: round, part: i, origin: at, start: at, end: at + part.Seconds}
			list = append(list, r.split(s, part)...)
			at += part.Seconds
		}
		at += r.TailS
	}
	return list
}

func (r *Recording) split(s segment, part programme.Part) []segment {
	switch part.Kind {
	case programme.Staircase:
		var list []segment
		n := part.Steps()
		for k := range n {
			e := s
			e.step = k
			if k > 0 {
				e.start = s.origin + float64(k)*part.StepSeconds + programme.MarkSeconds/2
			}
			if k < n-1 {
				e.end = s.origin + float64(k+1)*part.StepSeconds - programme.MarkSeconds/2
			}
			list = append(list, e)
		}
		return list
	case programme.Erase:
		punch := s.origin + part.Seconds/2 + r.EraseLateS
		punch = max(s.start, min(s.end, punch))
		before, after := s, s
		before.end, after.start, after.erased = punch, punch, true
		return []segment{before, after}
	}
	return []segment{s}
}

// endOfTape is the length of the recording pass in s.
func (r *Recording) endOfTape() float64 {
	return float64(len(r.rounds())) * (r.LeadInS + r.Programme.Seconds() + r.TailS)
}

// speedRatio is the mean speed of replay over that of recording.
func (r *Recording) speedRatio() float64 {
	if r.OffTape {
		return 1
	}
	return (1 + r.ReplaySpeedErrorPercent/100) / (1 + r.RecordSpeedErrorPercent/100)
}

// warp is the way from the time of the capture to that of the recording pass: both
// passes move the tape, and what was written at one position is read there.
type warp struct{ record, replay motion }

func (r *Recording) warp() warp {
	w := warp{
		record: motion{ratio: 1 + r.RecordSpeedErrorPercent/100, waves: waves(r.RecordFlutter)},
		replay: motion{ratio: 1 + r.ReplaySpeedErrorPercent/100, waves: waves(r.ReplayFlutter)},
	}
	if r.OffTape {
		w.replay = w.record
		w.replay.start = -r.HeadDistanceMM / 10 / r.Programme.SpeedCmS
	}
	w.replay.start += r.CutHeadS * w.record.ratio
	return w
}

func waves(lines []Line) []wave {
	var list []wave
	for _, l := range lines {
		list = append(list, wave{l.PercentPeak / 100, 2 * math.Pi * l.Hz, l.PhaseDeg * math.Pi / 180})
	}
	return list
}

// at is the time of the recording pass that is heard at time t of the capture, and
// how fast it goes by.
func (w *warp) at(t float64) (tau, rate float64) {
	x, v := w.replay.at(t)
	tau = w.record.when(x)
	_, u := w.record.at(tau)
	return tau, v / u
}

// when is the time of the capture at which a time of the recording pass is heard.
func (w *warp) when(tau float64) float64 {
	x, _ := w.record.at(tau)
	return w.replay.when(x)
}

// fill writes the times of the recording pass at the frames from first on into p, whose
// length is a multiple of hop, by a cubic through time and rate at every hop.
func (w *warp) fill(p []float64, first int64, sampleRate float64) {
	h := hop / sampleRate
	p0, v0 := w.at(float64(first) / sampleRate)
	for i := 0; i < len(p); i += hop {
		p1, v1 := w.at(float64(first+int64(i)+hop) / sampleRate)
		d := p1 - p0
		c2 := 3*d - (2*v0+v1)*h
		c3 := (v0+v1)*h - 2*d
		for j := range hop {
			u := float64(j) / hop
			p[i+j] = p0 + u*(v0*h+u*(c2+u*c3))
		}
		p0, v0 = p1, v1
	}
}
