package web

import (
	"context"
	"math/rand/v2"
	"strings"
	"time"

	"headstack/job"
	"headstack/job/memory"
	"headstack/measure"
	"headstack/signature"
	"headstack/testtape"
)

// storyWear is what a real bench tells of a machine with captures as found and as left in
// each of so many years, whose heads are as a story wants them: the gap of track 3 grows
// by 0.25 µm a year, track 1 comes in dirty, track 5 has had a weak treble part.
func storyWear(tracks, years int) job.Wear {
	ctx := context.Background()
	rec := &memory.Record{}
	b := job.NewBench(rec, &memory.Files{}, job.BenchOptions{Now: func() time.Time { return noon }, Condition: storyCondition})
	source := must(testtape.BuiltinSource("pendle-brook-cassette"))
	sha := must(rec.PutDocument(ctx, source))
	rng := rand.New(rand.NewPCG(4, 2))
	id := ""
	for y := range years {
		at := noon.AddDate(y, rng.IntN(4), 0)
		id = must(b.OpenJob(ctx, job.NewJob{Definition: "hexastrand", Serial: "QH 0417", Claim: "plays dull"})).ID
		for k := range 2 {
			var rep measure.Report
			for t := range tracks {
				um := 0.05 * rng.NormFloat64()
				switch {
				case t == 2:
					um += 0.25 * float64(y)
				case t == 0 && k == 0:
					um += 0.9 * rng.Float64()
				}
				rep.Measures = append(rep.Measures, measure.Result{Name: "level", Track: t + 1, Value: um})
			}
			must(rec.AppendEntry(ctx, job.Entry{Job: id, Kind: job.KindCapture, At: at.AddDate(0, 0, 3*k), Case: measure.CaseClosed, Capture: &job.Capture{
				File: "pass-1.wav", SHA256: strings.Repeat("5e", 32), Tape: "Pendle Brook cassette", TapeSHA: sha, Function: "play", Report: rep}}))
		}
	}
	return must(b.Wear(ctx, id))
}

func storyCondition(rep measure.Report, opt signature.Options) (signature.HeadCondition, error) {
	c := signature.HeadCondition{TrebleHz: 12500, SpeedCmS: opt.Tape.SpeedCmS, DesignGapUm: opt.DesignGapUm, TakenOff: []string{}, Warnings: []string{}}
	amount := func(v, repeat, tape float64, unit string) signature.Amount {
		half := 2 * (repeat + tape)
		return signature.Amount{Value: v, Lo: v - half, Hi: v + half, Unit: unit, RepeatSD: repeat, TapeSD: tape}
	}
	for _, r := range rep.Measures {
		t := signature.TrackCondition{Track: r.Track, Gap: amount(1.6+r.Value, 0.07, 0.14, "µm"), Spacing: amount(0.02+r.Value/6, 0.012, 0.02, "µm"), Loss: amount(0.1+r.Value, 0.08, 0.2, "dB")}
		if r.Track == 5 {
			c.TakenOff = []string{"high corner, track 5 (97 % likely)"}
		}
		c.Tracks = append(c.Tracks, t)
	}
	return c, nil
}

// Wear of a story is that of its fixture, where it has one.
func (b *storyBench) Wear(ctx context.Context, id string) (job.Wear, error) {
	if b.wear == nil {
		return b.Bench.Wear(ctx, id)
	}
	if _, err := b.View(ctx, id); err != nil {
		return job.Wear{}, err
	}
	w := *b.wear
	w.Job = id
	return w, nil
}

// SameMachine are the jobs that the fixture's wear is of.
func (b *storyBench) SameMachine(ctx context.Context, id string) ([]job.Summary, error) {
	list, err := b.Bench.SameMachine(ctx, id)
	if err != nil || b.wear == nil {
		return list, err
	}
	for i := range b.wear.Jobs[1:] {
		j := job.Summary{Captures: 2}
		j.ID, j.Claim, j.Opened = "job-09"+string(rune('0'+i))+"0", "plays dull", noon.AddDate(i-5, 0, 0)
		list = append(list, j)
	}
	return list, nil
}
