package web

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	"headstack/bias"
	"headstack/capture"
	"headstack/job"
	"headstack/job/memory"
	"headstack/measure"
	"headstack/programme"
)

// staircaseStory is an open-reel recorder with a bias staircase of track 3 that was replayed,
// and one of track 4 that is planned.
func staircaseStory() (*storyBench, string) {
	var plan *bias.Plan
	tick := noon
	b := &storyBench{captures: map[int64]measure.Report{}, replayed: map[int64]bool{}, Bench: job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{
		Now: func() time.Time { tick = tick.Add(time.Minute); return tick },
		MeasureProgramme: func(_ context.Context, _ []measure.Source, p *programme.Programme, _ measure.Options) (measure.Report, error) {
			return storyStairs(plan, p), nil
		}})}
	b.verdict = quietVerdict
	ctx := context.Background()
	j := must(b.OpenJob(ctx, job.NewJob{Definition: "octogrange", Serial: "OG-0042", Owner: "Village hall, Ravensgill", Case: measure.CaseClosed}))
	var e job.Entry
	var err error
	if e, plan, err = b.PlanStaircase(ctx, j.ID, job.StaircaseOptions{SpeedCmS: 38.1, Tracks: []int{3}, Now: map[int]float64{3: 0.5}}); err != nil {
		panic(err)
	}
	must(b.AddCapture(ctx, j.ID, job.CaptureUpload{Name: "replay.wav", Data: bytes.NewReader(silentWAV()), Programme: e.Staircase.ProgrammeSHA, Tracks: []int{3}}))
	if _, _, err = b.PlanStaircase(ctx, j.ID, job.StaircaseOptions{SpeedCmS: 38.1, Tracks: []int{4}}); err != nil {
		panic(err)
	}
	return b, j.ID
}

// storyStairs is what a track gives whose treble peaks at 0.42 of the trim's travel; its fifth
// step fell into a drop-out.
func storyStairs(plan *bias.Plan, p *programme.Programme) (rep measure.Report) {
	t := plan.Tracks[0]
	var treble, low []measure.Point
	for i, x := range t.Positions {
		u := t.Trim.Law.DB(x) - t.Trim.Law.DB(0.42)
		off := 0.06 * float64(i%3-1)
		h, y := -1-0.33*u*u-off, -0.08*math.Pow(u-2, 2)+off/2
		if i == 4 {
			h -= 4
		}
		treble = append(treble, measure.Point{X: float64(i + 1), Y: h, Lo: h - 0.15, Hi: h + 0.15})
		low = append(low, measure.Point{X: float64(i + 1), Y: y, Lo: y - 0.1, Hi: y + 0.1})
	}
	k := slices.IndexFunc(p.Parts, func(x programme.Part) bool { return x.Kind == programme.Staircase })
	for hz, pts := range map[float64][]measure.Point{plan.Want.Tones.TrebleHz: treble, plan.Want.Tones.LowHz: low} {
		rep.Traces = append(rep.Traces, measure.Trace{Name: "staircase", Track: t.Trim.Track, Section: p.Parts[k].Name, ToneHz: hz, Points: pts,
			X: measure.Axis{Label: "step"}, Y: measure.Axis{Label: "level", Unit: "dB"}})
	}
	return rep
}

// silentWAV is a second of one channel.
func silentWAV() []byte {
	dir := must(os.MkdirTemp("", "headstack-test"))
	defer os.RemoveAll(dir)
	f := must(os.Create(filepath.Join(dir, "silence.wav")))
	w := must(capture.NewWriter(f, capture.Spec{Encoding: capture.PCM, Bits: 16, Channels: 1, SampleRate: 8000}))
	if err := w.Write([][]float64{make([]float64, 8000)}, 8000); err != nil {
		panic(err)
	}
	if err := w.Close(); err != nil {
		panic(err)
	}
	f.Close()
	return must(os.ReadFile(f.Name()))
}

func staircaseStories(root string) []story {
	return []story{
		{"staircase-read", root + "/line-up?step=bias/B38/3", 200, []string{"Bias staircase", "peak of 10", "set it to", "o'clock", "further passes", "turn clockwise", "left out", "staircase 1", "replayed as capture 1", "plan the next staircase", "sting and burn"}},
		{"staircase-planned", root + "/line-up?step=bias/B38/4", 200, []string{"sound to record", "what to do", "its replay, WAV or FLAC", "Round 1, track 4", "where the trim stands now"}},
		{"staircase-none", root + "/line-up?step=bias/B38/5", 200, []string{"plan a staircase of track 5"}},
	}
}
