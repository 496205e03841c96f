package web

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"headstack/job"
	"headstack/measure"
	"headstack/programme"
)

// recordingReport is the report of a record programme's replay, made by hand: tracks 3
// and 4 swapped, track 5 reversed, crosstalk between neighbours.
func recordingReport(tracks int) measure.Report {
	b := recordingMaker{tracks: tracks}
	for t := 1; t <= tracks; t++ {
		b.track(t)
		for other := 1; other <= tracks; other++ {
			b.crosstalk(t, other)
		}
	}
	b.add(measure.Result{Name: "speed_error", Section: "speed tone", ToneHz: 3150, Value: 0.412, Lo: 0.404, Hi: 0.42, Unit: "%", Reference: "the definition's speed"})
	b.add(measure.Result{Name: "wow_flutter_2sigma", Section: "speed tone", ToneHz: 3150, Value: 0.11, Lo: 0.10, Hi: 0.12, Unit: "%", Reference: "mean speed", Method: "weighted, 95th percentile of the peak deviation"})
	b.courses()
	for i, name := range []string{"start mark", "identity", "comb", "speed tone", "level step -10 dB", "silence", "erase"} {
		s := measure.SectionFound{Name: name, Found: name != "erase", StartS: float64(10 * i), EndS: float64(10*i + 9)}
		if !s.Found {
			s.Reason = "the capture ends before it"
		}
		b.rep.Sections = append(b.rep.Sections, s)
	}
	return b.rep
}

type recordingMaker struct {
	tracks int
	rep    measure.Report
}

func (b *recordingMaker) add(r ...measure.Result) { b.rep.Measures = append(b.rep.Measures, r...) }

func (b *recordingMaker) track(t int) {
	heard := map[int]int{3: 4, 4: 3}[t]
	id := measure.Result{Name: "identity", Track: t, Section: "identity", Value: float64(t), Lo: float64(t), Hi: float64(t), Unit: "track", Reference: "the programme's identity tones"}
	if heard != 0 {
		id.Value, id.Lo, id.Hi = float64(heard), float64(heard), float64(heard)
		id.Warnings = []string{fmt.Sprintf("this channel carries track %d: cables are swapped or the track numbers given are wrong; every figure of this channel belongs to track %d", heard, heard)}
	}
	pol := measure.Result{Name: "polarity", Track: t, Section: "identity", Value: 1, Lo: 1, Hi: 1}
	if t == 5 {
		pol.Value, pol.Lo, pol.Hi = -1, -1, -1
		pol.Warnings = []string{"polarity reversed: alone it sounds right, mixed with others it thins them"}
	}
	b.add(id, pol)
	for i := range 24 {
		hz := 50 * math.Pow(2, float64(i)/3)
		v := 0.2*math.Sin(float64(t)+float64(i)) - hz/15000*float64(t)/3
		b.add(measure.Result{Name: "response", Track: t, Section: "comb", ToneHz: math.Round(hz), Value: v, Lo: v - 0.1, Hi: v + 0.1, Unit: "dB", Reference: "the track's own level at the reference tone"})
	}
	for db := -10; db <= 10; db += 2 {
		v := math.Pow(10, (float64(db)-5)/20) * 3
		b.add(measure.Result{Name: "harmonic_3", Track: t, Section: fmt.Sprintf("level step %+d dB", db), ToneHz: 315, Value: v, Lo: v * 0.97, Hi: v * 1.03, Unit: "%", Reference: "the fundamental"})
	}
	b.add(measure.Result{Name: "mol_3pct", Track: t, ToneHz: 315, Value: 5, Lo: 4.9, Hi: 5.1, Unit: "dB", Reference: "the track's reference level"},
		measure.Result{Name: "sol", Track: t, ToneHz: 10000, Unit: "dB", Refused: "output still rises at the last step of +6 dB: at least 2.0 dB"},
		measure.Result{Name: "noise_468", Track: t, Section: "silence", Value: -44, Lo: -44.3, Hi: -43.7, Unit: "dB", Reference: "the tape's 0 dB", Method: "quasi-peak"},
		measure.Result{Name: "erase_depth", Track: t, Section: "erase", ToneHz: 1000, Value: 68, Lo: 67, Hi: 69, Unit: "dB"},
		measure.Result{Name: "dropouts", Track: t, Section: "speed tone", ToneHz: 3150, Value: 2.1, Lo: 0.05, Hi: 11.8, Unit: "per minute", Reference: "median of the level"})
}

func (b *recordingMaker) crosstalk(t, other int) {
	for _, hz := range []float64{1000, 10000} {
		r := measure.Result{Name: "crosstalk", Track: t, TrackB: other, Section: fmt.Sprintf("track %d alone", t), ToneHz: hz, Unit: "dB", Reference: "the disturbed track's own level"}
		switch d := max(t-other, other-t); d {
		case 0:
			continue
		case 1:
			r.Value = -42.3 - float64(t)
			r.Lo, r.Hi = r.Value-0.4, r.Value+0.4
		default:
			r.Refused = fmt.Sprintf("no crosstalk found: below -%d.4 dB (95 %%), which is the noise", 80+(t+other)%9)
		}
		b.add(r)
	}
}

// course adds a trace of n points.
func (b *recordingMaker) course(name, section string, track, n int, x, y measure.Axis, at func(i int) (x, y float64)) *measure.Trace {
	t := measure.Trace{Name: name, Section: section, Track: track, X: x, Y: y, Reference: "its mean", Method: "demodulated tone"}
	for i := range n {
		px, py := at(i)
		t.Points = append(t.Points, measure.Point{X: px, Y: py, Lo: py, Hi: py})
	}
	b.rep.Traces = append(b.rep.Traces, t)
	return &b.rep.Traces[len(b.rep.Traces)-1]
}

func (b *recordingMaker) courses() {
	seconds := measure.Axis{Label: "time in the capture", Unit: "s"}
	b.course("speed", "speed tone", 0, 300, seconds, measure.Axis{Label: "speed deviation", Unit: "%"}, func(i int) (float64, float64) {
		return float64(i) / 10, 0.06 * math.Sin(float64(i)/3)
	}).Warnings = []string{"the tone was lost for 0.4 s"}
	b.course("speed_spectrum", "speed tone", 0, 200, measure.Axis{Label: "rate", Unit: "Hz", Log: true}, measure.Axis{Label: "speed deviation", Unit: "%", Log: true}, func(i int) (float64, float64) {
		f := 0.2 * math.Pow(1000, float64(i)/199)
		return f, 0.002 + 0.05*math.Exp(-math.Pow(math.Log(f/4.2)/0.05, 2))
	})
	for t := 1; t <= b.tracks; t++ {
		b.course("staircase", "staircase", t, 8, measure.Axis{Label: "step"}, measure.Axis{Label: "level", Unit: "dB"}, func(i int) (float64, float64) {
			return float64(i + 1), -0.25 * float64((i-3)*(i-3))
		})
		b.course("distortion_steps", "", t, 11, measure.Axis{Label: "level recorded", Unit: "dB"}, measure.Axis{Label: "third harmonic", Unit: "%", Log: true}, func(i int) (float64, float64) {
			return float64(2*i - 10), 3 * math.Pow(10, (float64(2*i-10)-5)/20)
		})
		for _, section := range []string{"10 kHz", "speed tone"} {
			b.course("level_time", section, t, 300, seconds, measure.Axis{Label: "level", Unit: "dB"}, func(i int) (float64, float64) {
				return float64(i) / 10, 0.3 * math.Sin(float64(i*t)/7)
			})
		}
	}
}

// shelve puts a record programme of six tracks, two at once, and a looped-back interface
// on the shelf of a story.
func (b *storyBench) shelve() {
	p := must(programme.New(programme.Options{Tracks: 6, SpeedCmS: 9.525, TracksPerRound: 2, Kinds: programme.Kinds()}))
	must(b.AddProgramme(context.Background(), "story.yaml", must(p.Encode())))
	r := measure.Interface{Name: "Bench box", When: time.Date(2031, 4, 2, 19, 30, 0, 0, time.UTC), Warnings: []string{"above 20 kHz no tone was played"}}
	for c := 1; c <= 2; c++ {
		ch := measure.InterfaceChannel{Channel: c}
		for i := range 24 {
			hz := 50 * math.Pow(2, float64(i)/3)
			y := -math.Pow(hz/16000, 2) * 0.3 * float64(c)
			ch.Points = append(ch.Points, measure.Point{X: math.Round(hz), Y: y, Lo: y - 0.004, Hi: y + 0.004})
		}
		r.Channels = append(r.Channels, ch)
	}
	r.Channels = append(r.Channels, measure.InterfaceChannel{Channel: 3, Refused: "nothing was heard on it"})
	b.loopback = &job.Loopback{Format: 1, Response: r, File: "loop.wav", FileSHA: strings.Repeat("1b", 32), Programme: p.Name, ProgrammeSHA: strings.Repeat("2c", 32)}
}

var loopSHA = strings.Repeat("3d", 32)

func (b *storyBench) Interfaces(ctx context.Context) ([]job.InterfaceInfo, error) {
	if b.loopback == nil {
		return b.Bench.Interfaces(ctx)
	}
	return []job.InterfaceInfo{{ID: "bench-box", Name: "Bench box", SHA: loopSHA, Added: b.loopback.Response.When}}, nil
}

func (b *storyBench) Loopback(ctx context.Context, id string) (job.Loopback, error) {
	if b.loopback != nil && (id == "bench-box" || id == loopSHA) {
		return *b.loopback, nil
	}
	return b.Bench.Loopback(ctx, id)
}

// replayed dresses the capture of a recording.
func replayed(rep measure.Report) *job.Capture {
	return &job.Capture{File: "own-1.wav", SHA256: strings.Repeat("5f", 32), Bytes: 301326592, Programme: "6 tracks, 9.525 cm/s, reference 315 Hz, 3 rounds",
		ProgrammeSHA: strings.Repeat("7b", 32), Interface: "Bench box", InterfaceSHA: loopSHA, WhileRecording: true, Function: "record-play", Tracks: []int{1, 2, 3, 4, 5, 6}, Report: rep}
}
