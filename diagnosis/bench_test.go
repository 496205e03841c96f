package diagnosis

import (
	"context"
	"fmt"
	"testing"

	"headstack/machine"
)

// longDay is a job with some 36 observations, 12 checks among them.
func longDay() Evidence {
	b := ashWeak()
	b.read("TP20", "a", 0.245, 0)
	b.read("TP20", "b", 0.240, 0)
	b.read("TP21", "a", 0.310, 0)
	b.read("TP21", "b", 1.08, 0)
	for k := 1; k <= 6; k++ {
		key := fmt.Sprint(k)
		b.read("TP10", key, 0.038+0.001*float64(k%3), 0)
		b.read("TP11", key, 0.1+0.002*float64(k%3), 0)
		b.read("TP12", key, 0.24+0.003*float64(k%2), 0)
	}
	return b.ev
}

// twoFaults is a job with a weak group, a dull track, readings with other
// tones and a capture: some 30 observations.
func twoFaults() Evidence {
	b := ashWeak()
	b.ev.Checks[6] = Check{Ref: "check 7", Function: "play", Key: "4", Outcome: Faulty, Symptom: SymptomDull}
	b.capture([6]float64{-18.1, -17.9, -18.2, -18.6, -18, -17.8}, [6]float64{0.3, -0.5, 0.2, -10.4, -0.1, 0.4})
	b.read("TP10", "4", .0031, 10000)
	b.read("TP10", "3", .0098, 10000)
	b.read("TP20", "a", .245, 0)
	b.read("TP21", "a", .31, 0)
	b.read("TP21", "a", .020, 63)
	b.read("TP21", "b", .95, 63)
	b.check("cue", "4", Intermittent, "")
	return b.ev
}

// BenchmarkTwoFaults is a verdict on two faults at once.
func BenchmarkTwoFaults(b *testing.B) {
	e, err := New(hexastrand(b), Options{Open: []string{"lid"}})
	if err != nil {
		b.Fatal(err)
	}
	ev := twoFaults()
	n := 0
	for b.Loop() {
		if _, err := e.Diagnose(ev); err != nil {
			b.Fatal(err)
		}
		n++
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "verdicts/s")
}

// BenchmarkDiagnose is a whole verdict with reasons and next actions on the
// six-track recorder.
func BenchmarkDiagnose(b *testing.B) {
	e, err := New(hexastrand(b), Options{Open: []string{"lid"}})
	if err != nil {
		b.Fatal(err)
	}
	ev := longDay()
	var outside float64
	n := 0
	for b.Loop() {
		v, err := e.Diagnose(ev)
		if err != nil {
			b.Fatal(err)
		}
		outside = v.OutsideMass
		n++
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "verdicts/s")
	b.ReportMetric(float64(len(ev.Checks)+len(ev.Readings)), "observations")
	b.ReportMetric(100*outside, "%left-out")
}

// BenchmarkPosterior is the sums alone: a usual job on the six-track recorder, and
// wide recorders with evidence in proportion to their tracks.
func BenchmarkPosterior(b *testing.B) {
	b.Run("usual job", func(b *testing.B) { benchPosterior(b, hexastrand(b), longDay()) })
	b.Run("two faults", func(b *testing.B) { benchPosterior(b, hexastrand(b), twoFaults()) })
	for _, tracks := range []int{3, 6, 12, 24} {
		b.Run(fmt.Sprint(tracks, " tracks"), func(b *testing.B) {
			benchPosterior(b, wideRecorder(tracks), wideJob(wideRecorder(tracks), tracks))
		})
	}
}

func benchPosterior(b *testing.B, def *machine.Definition, ev Evidence) {
	e, err := New(def, Options{})
	if err != nil {
		b.Fatal(err)
	}
	p, err := e.build(ev)
	if err != nil {
		b.Fatal(err)
	}
	n := 0
	for b.Loop() {
		if p, err = e.build(ev); err != nil {
			b.Fatal(err)
		}
		if _, err := solve(p.model); err != nil {
			b.Fatal(err)
		}
		n++
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "posteriors/s")
	b.ReportMetric(float64(len(p.model.obs)), "observations")
	b.ReportMetric(float64(len(p.model.components)), "stages")
}

// BenchmarkWithout is leaving out each observation of a wide recorder in turn.
func BenchmarkWithout(b *testing.B) {
	def := wideRecorder(24)
	e, err := New(def, Options{})
	if err != nil {
		b.Fatal(err)
	}
	p, err := e.build(wideJob(def, 24))
	if err != nil {
		b.Fatal(err)
	}
	post, err := solve(p.model)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		post.without()
	}
}

// BenchmarkAdvise is the next step, planned, on recorders of 3 to 24 tracks with some six
// observations a track: for a program (brief), and with every reason for a person.
func BenchmarkAdvise(b *testing.B) {
	for _, tracks := range []int{3, 6, 12, 24} {
		def := wideRecorder(tracks)
		ev := wideJob(def, tracks)
		e, err := New(def, Options{})
		if err != nil {
			b.Fatal(err)
		}
		for _, brief := range []bool{true, false} {
			b.Run(fmt.Sprintf("tracks=%d/brief=%v", tracks, brief), func(b *testing.B) {
				actions := 0
				for b.Loop() {
					a, err := e.Advise(context.Background(), ev, Situation{Brief: brief})
					if err != nil {
						b.Fatal(err)
					}
					actions = len(a.Actions)
				}
				b.ReportMetric(float64(actions), "actions")
				b.ReportMetric(float64(len(ev.Checks)+len(ev.Readings)), "observations")
			})
		}
	}
}

// BenchmarkAddedReading is the updated next action after one more reading on an
// established job: of the two recorders of the demo, of one of 24 tracks, and on one on
// which tracks were read along their paths at 10 kHz, sibling by sibling.
func BenchmarkAddedReading(b *testing.B) {
	octogrange, ok := machine.Builtin("octogrange")
	if !ok {
		b.Fatal("no built-in definition octogrange")
	}
	wide := wideRecorder(24)
	for _, job := range []struct {
		name string
		def  *machine.Definition
		ev   Evidence
	}{
		{"hexastrand", hexastrand(b), longDay()},
		{"hexastrand, two faults", hexastrand(b), twoFaults()},
		{"octogrange", octogrange, restOfDay(octogrange)},
		{"octogrange, one track at 10 kHz", octogrange, alongPaths(octogrange, "3")},
		{"octogrange, two tracks at 10 kHz", octogrange, alongPaths(octogrange, "3", "6")},
		{"24 tracks", wide, wideJob(wide, 24)},
	} {
		b.Run(job.name, func(b *testing.B) {
			e, err := New(job.def, Options{})
			if err != nil {
				b.Fatal(err)
			}
			first := job.ev.Readings[0]
			first.Ref, first.Setting = "one more reading", "afresh"
			first.Value *= 1.01
			job.ev.Readings = append(job.ev.Readings, first)
			for b.Loop() {
				if _, err := e.Advise(context.Background(), job.ev, Situation{Brief: true}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(job.ev.Checks)+len(job.ev.Readings)), "observations")
		})
	}
}

// alongPaths is a recorder that plays tracks dull, read on the way of each at 10 kHz
// beside track 5.
func alongPaths(def *machine.Definition, tracks ...string) Evidence {
	b := &bench{}
	for i, k := range tracks {
		b.check("play", k, Faulty, SymptomDull)
		for t := range def.TestPoints {
			tp := &def.TestPoints[t]
			path, err := def.TestPointPath(tp, k)
			if want := def.Expected(tp, k); err == nil && len(path) > 0 && tp.Each != "" && tp.ToneHz == def.Reference.ToneHz && want.Known {
				b.read(tp.ID, k, want.Value*(0.32+0.01*float64(i+t%3)), 10000)
				b.read(tp.ID, "5", want.Value*(1.02+0.02*float64(t%4)), 10000)
			}
		}
	}
	return b.ev
}

// restOfDay is every track tried, one weak, and every point of the path of three read.
func restOfDay(def *machine.Definition) Evidence {
	b := &bench{}
	for _, k := range def.ReplicaKeys(machine.EachTrack) {
		if k == "3" {
			b.check("play", k, Faulty, SymptomWeak)
		} else {
			b.check("play", k, Works, "")
		}
	}
	for t := range def.TestPoints {
		tp := &def.TestPoints[t]
		for i, k := range []string{"3", "4", "5"} {
			path, err := def.TestPointPath(tp, k)
			if want := def.Expected(tp, k); err == nil && len(path) > 0 && tp.Each != "" && want.Known {
				level := 1 + 0.02*float64((t+i)%3)
				if k == "3" && t > 3 {
					level *= 0.2
				}
				b.read(tp.ID, k, want.Value*level, 0)
			}
		}
	}
	return b.ev
}
