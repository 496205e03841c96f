package handout_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/handout"
	"headstack/job"
	"headstack/job/memory"
	"headstack/measure"
	"headstack/trim"
)

var noon = time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)

// fixture is a job on the invented cassette recorder: faults, a slip that was corrected,
// works, turns and figures of the line-up.
func fixture(t *testing.T, definition string) (*job.Bench, string) {
	t.Helper()
	now := noon
	b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{Now: func() time.Time { now = now.Add(time.Minute); return now }})
	j, err := b.OpenJob(t.Context(), job.NewJob{Definition: definition, Serial: "Q-0417", Owner: "Community theatre, Ravensgill", Claim: "Track 5 plays dull.\nRécord ±weak, 4 Ω load", Case: measure.CaseClosed})
	if err != nil {
		t.Fatal(err)
	}
	return b, j.ID
}

func keep(t *testing.T) func(e job.Entry, err error) job.Entry {
	return func(e job.Entry, err error) job.Entry {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
}

func check(t *testing.T, b *job.Bench, id string, c job.Check, remark string) job.Entry {
	t.Helper()
	return keep(t)(b.RecordCheck(t.Context(), id, c, measure.CaseClosed, remark))
}

// worked is a job in which all was done by hand.
func worked(t *testing.T) (*job.Bench, string) {
	t.Helper()
	b, id := fixture(t, "hexastrand")
	ok := keep(t)
	check(t, b, id, job.Check{Function: "play", Key: "5", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomDull}, "by ear")
	check(t, b, id, job.Check{Item: "fader/3", Outcome: diagnosis.Intermittent}, "scratches at a third")
	put := func(e job.Entry) { t.Helper(); ok(b.Record(t.Context(), id, e)) }
	for _, g := range []string{"path_clean", "demagnetised", "demagnetiser_away", "scrap_run", "noise_reduction_off", "pitch_centre", "warm"} {
		put(job.Entry{Gate: &job.Gate{Step: g}})
	}
	figure := func(step string, value, half float64, unit string) {
		t.Helper()
		put(job.Entry{Case: measure.CaseClosed, Figure: &job.Figure{Step: step, Value: value, Half: half, Unit: unit, Instrument: "Hand meter"}})
	}
	figure("proof_speed/9.525", 1.6, 0.02, "%")
	figure("proof_flutter/9.525", 0.07, 0.01, "%")
	put(job.Entry{Pass: &job.Pass{Tape: "pendle-brook-cassette"}})
	put(job.Entry{Opening: &job.Opening{Opening: "lid"}})
	put(job.Entry{Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "C31", Key: "a"}, Remark: "dried out, replaced", Minutes: 25})
	put(job.Entry{Turn: &job.Turn{Trim: "VR1", By: -12, Unit: trim.Degrees}})
	put(job.Entry{Opening: &job.Opening{Opening: "lid", Closed: true}})
	figure("proof_speed/9.525", 0.1, 0.02, "%")
	figure("proof_flutter/9.525", 0.31, 0.01, "%")
	return b, id
}

func view(t *testing.T, b *job.Bench, id string) *job.View {
	t.Helper()
	v, err := b.View(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// captured adds to a view a capture as found and one as left, each with a response.
func captured(v *job.View) {
	for i, db := range []float64{-4, -0.4} {
		c := &job.Capture{File: fmt.Sprintf("pass-%d.wav", i+1), SHA256: strings.Repeat("ab", 32), Tape: "Pendle Brook cassette", Function: "play", Tracks: []int{1, 2, 3, 4, 5, 6}}
		for track := 1; track <= 6; track++ {
			for _, hz := range []float64{63, 125, 315, 1000, 3150, 6300, 10000, 12500} {
				x := db * hz / 12500 * float64(track) / 6
				c.Report.Measures = append(c.Report.Measures, measure.Result{Name: "response", Track: track, Section: fmt.Sprintf("%g Hz", hz), ToneHz: hz, Value: x, Lo: x - 0.04, Hi: x + 0.04, Unit: "dB",
					Reference: "the track's level at 315 Hz", Method: "tone"})
			}
		}
		c.Report.Measures = append(c.Report.Measures, measure.Result{Name: "delay", Track: 1, TrackB: 6, ToneHz: 10000, Value: 1.2, Lo: 1, Hi: 1.4, Unit: "µs"},
			measure.Result{Name: "response", Track: 1, Section: "20 Hz", ToneHz: 20, Unit: "dB", Refused: "tone absent"})
		e := job.Entry{Ref: fmt.Sprintf("capture %d", i+1), Job: v.Job.ID, Kind: job.KindCapture, Case: measure.CaseClosed, Capture: c, At: noon.Add(time.Second)}
		if i == 0 { // before all: its Seq is lower than that of any work
			e.Seq = 1
			v.Entries = append([]job.Entry{e}, v.Entries...)
			v.Current = append([]job.Entry{e}, v.Current...)
			continue
		}
		e.Seq, e.At = v.Entries[len(v.Entries)-1].Seq+1, v.Entries[len(v.Entries)-1].At.Add(time.Hour)
		v.Entries, v.Current = append(v.Entries, e), append(v.Current, e)
	}
}

func data(t *testing.T) handout.Data {
	t.Helper()
	b, id := worked(t)
	d, err := handout.Gather(t.Context(), b, id, "headstack test", func(context.Context, *job.View) (*diagnosis.Advice, error) {
		return &diagnosis.Advice{Unproven: []diagnosis.Unproven{{Work: "work 1", Symptom: "track 2 dead in play", Returns: 0.44, Asks: []string{"tap RY1-2 while track 2 plays (2 min)"}}}}, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	captured(d.View)
	return d
}

func noAdvice(context.Context, *job.View) (*diagnosis.Advice, error) {
	return nil, errors.New("nobody asked")
}
