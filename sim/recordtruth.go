package sim

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"

	"headstack/capture"
	"headstack/programme"
)

// RecordingTruth is what a capture of a recording was made from and what a perfect
// measurement of it would give. Its JSON form lies beside the WAV.
type RecordingTruth struct {
	Format    int           `json:"recording_truth"` // 1
	Recording Recording     `json:"recording"`
	Frames    int64         `json:"frames"`
	Parts     []TruePart    `json:"parts"`
	Measures  []TrueMeasure `json:"measures"`
	// Flutter are the lines of the replayed speed, to first order: those of replay,
	// less those of recording as replay hears them.
	Flutter []Line `json:"flutter,omitempty"`
}

// TruePart is where a part lies in the capture. Present is false for one that the cuts
// took away; Partial means cut. PunchS is when the second pass begins to be heard, in
// an erase part.
type TruePart struct {
	Round   int     `json:"round"`
	Index   int     `json:"index"`
	Name    string  `json:"name"`
	Present bool    `json:"present"`
	Partial bool    `json:"partial,omitempty"`
	StartS  float64 `json:"start_s"`
	EndS    float64 `json:"end_s"`
	PunchS  float64 `json:"punch_s,omitempty"`
}

// ReadRecordingTruth reads what [RenderRecordingFile] wrote.
func ReadRecordingTruth(r io.Reader) (RecordingTruth, error) {
	var t RecordingTruth
	d := json.NewDecoder(r)
	d.DisallowUnknownFields()
	if err := d.Decode(&t); err != nil {
		return RecordingTruth{}, fmt.Errorf("reading truth: %w", err)
	}
	if t.Format != 1 {
		return RecordingTruth{}, fmt.Errorf("reading truth: format %d, want 1", t.Format)
	}
	return t, nil
}

func writeJSONFile(path string, v any) error {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("writing truth: %w", err)
	}
	e := json.NewEncoder(f)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		f.Close()
		return fmt.Errorf("writing truth: %w", err)
	}
	return f.Close()
}

// Find returns the true value of a measure; trackB may be 0, section empty and toneHz
// 0, which then matches any.
func (t *RecordingTruth) Find(name string, track, trackB int, section string, toneHz float64) (value float64, ok bool) {
	for _, m := range t.Measures {
		if m.Name == name && m.Track == track && m.TrackB == trackB && (section == "" || m.Section == section) && (toneHz == 0 || m.ToneHz == toneHz) {
			return m.Value, true
		}
	}
	return 0, false
}

// truth collects the true values.
func (p *player) truth() RecordingTruth {
	t := RecordingTruth{Format: 1, Recording: *p.rec, Frames: p.total, Parts: p.trueParts(), Flutter: p.rec.trueFlutter()}
	j := &judge{player: p}
	j.add(TrueMeasure{Name: "speed_error", Value: (p.rec.speedRatio() - 1) * 100, Unit: "%", Method: "mean speed of replay re that of recording"})
	j.flutter(t.Flutter)
	for c := range p.voices {
		j.channel(c)
	}
	j.crosstalk()
	t.Measures = j.list
	return t
}

func (p *player) trueParts() []TruePart {
	var list []TruePart
	from, to := p.warp.replay.start/p.warp.record.ratio, p.rec.endOfTape()-p.rec.CutTailS
	for _, s := range p.segments {
		if n := len(list); n > 0 && list[n-1].Index == s.part && list[n-1].Round == s.round {
			l := &list[n-1]
			if s.erased {
				l.PunchS = p.warp.when(s.start)
			}
			continue
		}
		part := p.rec.Programme.Parts[s.part]
		l := TruePart{Round: s.round, Index: s.part, Name: part.Name}
		start, end := max(s.origin, from), min(s.origin+part.Seconds, to)
		if start < end {
			l.Present, l.Partial = true, start > s.origin || end < s.origin+part.Seconds
			l.StartS, l.EndS = max(0, p.warp.when(start)), p.warp.when(end)
		}
		list = append(list, l)
	}
	return list
}

// trueFlutter lists the lines of the replayed speed.
func (r *Recording) trueFlutter() []Line {
	if r.OffTape {
		return r.offTapeFlutter()
	}
	list := append([]Line(nil), r.ReplayFlutter...)
	for _, l := range r.RecordFlutter {
		// What was recorded at one moment is heard sooner by the speed ratio.
		heard := Line{l.Hz * r.speedRatio(), l.PercentPeak, l.PhaseDeg + 180 + 360*l.Hz*r.CutHeadS}
		joined := false
		for i, o := range list {
			if math.Abs(o.Hz-heard.Hz) < 1e-9 {
				list[i], joined = together(o, heard), true
			}
		}
		if !joined {
			list = append(list, heard)
		}
	}
	return list
}

// offTapeFlutter is the difference of the speed now and when the tape passed the first
// head.
func (r *Recording) offTapeFlutter() []Line {
	delay := r.HeadDistanceMM / 10 / (r.Programme.SpeedCmS * (1 + r.RecordSpeedErrorPercent/100))
	var list []Line
	for _, l := range r.RecordFlutter {
		list = append(list, together(l, Line{l.Hz, l.PercentPeak, l.PhaseDeg + 180 - 360*l.Hz*delay}))
	}
	return list
}

// together adds two lines of the same frequency.
func together(a, b Line) Line {
	sa, ca := math.Sincos(a.PhaseDeg * math.Pi / 180)
	sb, cb := math.Sincos(b.PhaseDeg * math.Pi / 180)
	x, y := a.PercentPeak*ca+b.PercentPeak*cb, a.PercentPeak*sa+b.PercentPeak*sb
	return Line{a.Hz, math.Hypot(x, y), math.Atan2(y, x) * 180 / math.Pi}
}

// judge works out the true measures.
type judge struct {
	*player
	list []TrueMeasure
}

func (j *judge) add(m TrueMeasure) {
	if !math.IsNaN(m.Value) && !math.IsInf(m.Value, 0) {
		j.list = append(j.list, m)
	}
}

func (j *judge) flutter(lines []Line) {
	var wow, flutter float64
	for _, l := range lines {
		p := l.PercentPeak * l.PercentPeak / 2
		if l.Hz < 6 { // the usual border between wow and flutter
			wow += p
		} else {
			flutter += p
		}
	}
	j.add(TrueMeasure{Name: "wow_rms", Value: math.Sqrt(wow), Unit: "%", Method: "unweighted, lines below 6 Hz, to first order"})
	j.add(TrueMeasure{Name: "flutter_rms", Value: math.Sqrt(flutter), Unit: "%", Method: "unweighted, lines from 6 Hz on, to first order"})
}

// first returns the index of the first segment of a part in which the track on a
// channel takes part.
func (j *judge) first(channel, part int) (segment int, ok bool) {
	for i, s := range j.segments {
		if s.part == part && j.records(s.round, channel) {
			return i, true
		}
	}
	return 0, false
}

// records reports whether the track on a channel is one of a round's.
func (j *judge) records(round, channel int) bool {
	for _, t := range j.rec.Programme.Rounds[round] {
		if t == j.rec.played(channel) {
			return true
		}
	}
	return false
}

// referenceDBFS is the level of the reference part on a channel.
func (j *judge) referenceDBFS(channel int) float64 {
	i, _ := j.rec.Programme.ReferencePart()
	return j.level(channel, i, j.rec.Programme.ReferenceHz)
}

// level of a tone in a part on a channel, dBFS.
func (j *judge) level(channel, part int, hz float64) float64 {
	i, ok := j.first(channel, part)
	if !ok {
		return math.NaN()
	}
	return 20 * math.Log10(amplitude(j.heard[i][channel], hz))
}

// channel adds the measures of one channel, under the track that it is labelled as.
func (j *judge) channel(c int) {
	label, track := j.rec.channels()[c], j.rec.played(c)
	t := j.rec.Tracks[track-1]
	j.add(TrueMeasure{Name: "identity", Track: label, Value: float64(j.rec.fed(track)), Method: "track of the programme whose sound is on the channel of this label"})
	sign := 1.0
	if t.PolarityReversed != t.RecordPolarityReversed {
		sign = -1
	}
	j.add(TrueMeasure{Name: "polarity", Track: label, Value: sign, Method: "1 right, -1 reversed, by recording and replay together"})
	on := 0.0
	if t.NoiseReduction != NROff {
		on = 1
	}
	j.add(TrueMeasure{Name: "noise_reduction_left_on", Track: label, Value: on, Method: "1 left on, 0 off"})
	for i := range j.rec.Programme.Parts {
		j.part(c, label, i)
	}
	j.limits(c, label)
	j.noise(c, label)
}

// part adds levels, response and distortion of a part.
func (j *judge) part(c, label, i int) {
	part := j.rec.Programme.Parts[i]
	for _, s := range part.All {
		m := TrueMeasure{Track: label, Section: part.Name, ToneHz: s.Hz}
		db := j.level(c, i, s.Hz)
		m.Name, m.Value, m.Unit, m.Method = "level", db, "dBFS", "full-scale sine = 0 dBFS"
		j.add(m)
		if part.Kind == programme.Tone || part.Kind == programme.Comb {
			m.Name, m.Value, m.Unit, m.Method = "response", db-j.referenceDBFS(c)-s.LevelDB, "dB", "re the reference part of the same track, less the recorded level"
			j.add(m)
		}
		if len(part.All) == 1 && s.Hz < TrebleHz {
			j.distortion(c, i, m)
		}
	}
	if part.Kind == programme.TwoTone && len(part.All) == 2 {
		j.intermodulation(c, i, label)
	}
	if part.Kind == programme.Erase {
		j.erasure(c, i, label)
	}
}

// distortion adds the harmonics of a single tone, as percent of the fundamental.
func (j *judge) distortion(c, i int, m TrueMeasure) {
	k, ok := j.first(c, i)
	if !ok {
		return
	}
	list := j.heard[k][c]
	one, two, three := amplitude(list, m.ToneHz), amplitude(list, 2*m.ToneHz), amplitude(list, 3*m.ToneHz)
	for _, h := range []struct {
		name, method string
		v            float64
	}{
		{"harmonic_2", "second harmonic re fundamental", two}, {"harmonic_3", "third harmonic re fundamental", three},
		{"thd", "second and third harmonic together re fundamental", math.Hypot(two, three)},
	} {
		m.Name, m.Value, m.Unit, m.Method = h.name, 100*h.v/one, "%", h.method+", as replayed"
		j.add(m)
	}
}

// intermodulation adds the products of two tones, as percent of the mean of the two.
func (j *judge) intermodulation(c, i, label int) {
	k, ok := j.first(c, i)
	if !ok {
		return
	}
	part, list := j.rec.Programme.Parts[i], j.heard[k][c]
	f1, f2 := part.All[0].Hz, part.All[1].Hz
	mean := (amplitude(list, f1) + amplitude(list, f2)) / 2
	m := TrueMeasure{Track: label, Section: part.Name, Unit: "%"}
	m.Name, m.Value, m.Method = "intermodulation_2", 100*amplitude(list, math.Abs(f2-f1))/mean, "f2 - f1 re the mean of the two tones"
	j.add(m)
	third := math.Hypot(amplitude(list, math.Abs(2*f1-f2)), amplitude(list, math.Abs(2*f2-f1)))
	m.Name, m.Value, m.Method = "intermodulation_3", 100*third/mean, "2f1 - f2 and 2f2 - f1 together re the mean of the two tones"
	j.add(m)
}

// erasure is the fall from before the second pass to after.
func (j *judge) erasure(c, i, label int) {
	hz := j.rec.Programme.Parts[i].All[0].Hz
	before, ok := j.first(c, i)
	if !ok {
		return
	}
	if n := before + 1; n < len(j.segments) && j.segments[n].erased {
		db := 20 * math.Log10(amplitude(j.heard[before][c], hz)/amplitude(j.heard[n][c], hz))
		j.add(TrueMeasure{Name: "erase_depth", Track: label, Section: j.rec.Programme.Parts[i].Name, ToneHz: hz, Value: db, Unit: "dB", Method: "fall of the tone by the second pass, leaks included"})
	}
}

func (j *judge) noise(c, label int) {
	sc := Scenario{Tracks: make([]Track, j.rec.played(c)), MainsHz: j.rec.MainsHz, SampleRate: j.rec.SampleRate}
	sc.Tracks[j.rec.played(c)-1] = j.rec.Tracks[j.rec.played(c)-1].Track
	step := 0.0
	if spec := j.rec.spec(); spec.Encoding == capture.PCM {
		step = math.Ldexp(1, 1-spec.Bits)
	}
	power := sc.noisePower(j.rec.played(c), step)
	tone := math.Pow(10, j.referenceDBFS(c)/20)
	j.add(TrueMeasure{Name: "noise", Track: label, Value: 10 * math.Log10(power/(tone*tone/2)), Unit: "dB", Method: "r.m.s. 20 Hz to 20 kHz with hum, re the reference part of the same track"})
}
