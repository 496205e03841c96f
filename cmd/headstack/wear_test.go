package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"headstack/job"
	"headstack/signature"
)

// worn is a head of two tracks on three dates, the second of which grows by 0.5 µm a
// year; figures typed, not computed.
func worn(perYear float64) job.Wear {
	w := job.Wear{Job: "job-0003", Name: "Quernmoor Hexastrand", Serial: "0417", Jobs: []string{"job-0001", "job-0002", "job-0003"}, Warnings: []string{"job-0002: a doubt"}}
	s := job.WearSeries{When: job.AsLeft, TrebleHz: 12500}
	for i := range 3 {
		c := signature.HeadCondition{TrebleHz: 12500, DesignGapUm: 1.5}
		for t := range 2 {
			g := 1.6 + perYear*float64(t*i)
			c.Tracks = append(c.Tracks, signature.TrackCondition{Track: t + 1, Gap: signature.Amount{Value: g, Lo: g - 0.4, Hi: g + 0.4, Unit: "µm", RepeatSD: 0.05, TapeSD: 0.15}})
		}
		s.Points = append(s.Points, job.WearPoint{Job: w.Jobs[i], Entries: []int64{int64(i + 1)}, At: time.Date(2031+i, 5, 1, 0, 0, 0, 0, time.UTC), Tape: "Fen 12", Condition: c})
	}
	trend := func(v float64) job.Trend {
		return job.Trend{Unit: "µm", PerYear: v, Lo: v - 0.1, Hi: v + 0.1, Chance: 0.01, Line: []job.TrendPoint{}}
	}
	s.Tracks = []job.WearTrack{{Track: 1, Gap: trend(0), Spacing: trend(0), Loss: trend(0)}, {Track: 2, Gap: trend(perYear), Spacing: trend(perYear), Loss: trend(perYear)}}
	if perYear > 0.1 {
		s.Tracks[1].Sentence = "Track 2 wears."
	}
	w.Series = []job.WearSeries{s}
	return w
}

func TestWearIsPrintedForAPerson(t *testing.T) {
	var out bytes.Buffer
	err := (&wearVerb{}).say(&env{out: &out, err: &out}, worn(0.5))
	var f *fault
	if !errors.As(err, &f) || f.code != exitNotInOrder || !strings.Contains(err.Error(), "treble loss grows as left: track 2") {
		t.Errorf("%v", err)
	}
	for _, want := range []string{"Wear of the heads over 3 jobs of Quernmoor Hexastrand, serial 0417\n", "▲ Track 2 wears.", "■ One track does not change",
		"+0.50\u2009±0.10\u2009µm", "1 May 2033, job-0003", "2.60\u2009±0.40\u2009µm", "doubt: job-0002: a doubt"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in\n%s", want, out.String())
		}
	}
}

func TestExitCodesOfWear(t *testing.T) {
	code := func(w job.Wear) int {
		var f *fault
		if errors.As(wearing(w), &f) {
			return f.code
		}
		return exitDone
	}
	if c := code(worn(0.05)); c != exitDone {
		t.Errorf("a sound machine: %d", c)
	}
	chance := worn(0.5)
	chance.Series[0].Tracks[1].Gap.Chance = 0.04 // of two tracks one in 8 % of machines
	if c := code(chance); c != exitDone {
		t.Errorf("what chance shows: %d", c)
	}
	refused := worn(0.5)
	for i := range refused.Series[0].Tracks {
		no := job.Trend{Refused: "captures of 2 dates only: a trend wants 3"}
		refused.Series[0].Tracks[i] = job.WearTrack{Track: i + 1, Gap: no, Spacing: no, Loss: no}
	}
	if c := code(refused); c != exitNoJudge {
		t.Errorf("two dates: %d", c)
	}
	if c := code(job.Wear{Refused: "one job only"}); c != exitNoJudge {
		t.Errorf("one job: %d", c)
	}
}

func TestWearAsJSONIsWhatTheAPIAnswers(t *testing.T) {
	var out bytes.Buffer
	want := worn(0.5)
	_ = (&wearVerb{JSON: true}).say(&env{out: &out, err: &out}, want)
	var got job.Wear
	dec := json.NewDecoder(&out)
	dec.DisallowUnknownFields()
	if err := dec.Decode(&got); err != nil || got.Series[0].Tracks[1].Gap.PerYear != 0.5 || !got.Series[0].Points[2].At.Equal(want.Series[0].Points[2].At) {
		t.Errorf("%v %+v", err, got)
	}
}
