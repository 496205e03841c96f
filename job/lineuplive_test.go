package job_test

import (
	"math"
	"testing"

	"headstack/job"
	"headstack/job/memory"
	"headstack/trim"
)

// TestLiveTrim holds a level and the azimuth off their targets: the display says which way,
// as far as the definition and the record tell it, and how far in the trim's own unit.
func TestLiveTrim(t *testing.T) {
	b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{})
	j, err := b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"})
	if err != nil {
		t.Fatal(err)
	}
	l, _, err := b.LineUp(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		step      string
		off, half float64
		want      trim.Direction
	}{
		{"level/VRa/3", -3, 0.05, trim.Clockwise},
		{"level/VRa/3", 3, 0.05, trim.Anticlockwise},
		{"level/VRa/3", 0.1, 0.05, trim.Stop},
		{"azimuth/AZ", 0, 0.05, trim.Stop},
	} {
		d, ok := l.LiveTrim(c.step)
		if !ok {
			t.Errorf("%s has no display", c.step)
			continue
		}
		var s trim.Sign
		for i := range 20 {
			s = d.Feed(float64(i)/10, c.off, c.half)
		}
		if s.Direction != c.want || math.Abs(s.Distance.Value+c.off) > 0.01 {
			t.Errorf("%s off by %g: %+v", c.step, c.off, s)
		}
		if c.off != 0 && !(s.Turn.Value*c.off < 0 && math.Abs(s.Turn.Value) < 300) {
			t.Errorf("%s off by %g: turn %+v", c.step, c.off, s.Turn)
		}
	}
	for _, step := range []string{"path_clean", "flutter/9.525", "nothing"} {
		if _, ok := l.LiveTrim(step); ok {
			t.Errorf("%s has a display, and no trim", step)
		}
	}
}
