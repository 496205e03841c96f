package job_test

import (
	"math"
	"testing"

	"headstack/job"
	"headstack/trim"
)

// openReel is a job of a recorder whose bias is set past the peak of treble.
func openReel(t testing.TB, b *job.Bench) job.Job {
	t.Helper()
	j, err := b.OpenJob(t.Context(), job.NewJob{Definition: "octogrange", Serial: "OG-0042"})
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// On open reel the next turn of bias follows from how far the treble fell past its peak: too
// little fall asks for more bias, and what a turn did to it is learned.
func TestTheNextBiasTurnOnOpenReel(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openReel(t, b)
	const step = "bias/B38/3" // clockwise raises; 2 to 7 mA are 10.9 dB over 270°
	aim := stepOf(t, lineUp(t, b, j.ID), step).Target
	if aim.Measure != "overbias" || aim.Value != 3 {
		t.Fatalf("the target of %s is %s of %s", step, aim.Text(), aim.Measure)
	}
	rec(t, b, j.ID, figure(step, aim.Value-2, 0.1, "dB"))
	s := stepOf(t, lineUp(t, b, j.ID), step)
	if s.Turn == nil || s.Turn.Do != trim.DoTurn || s.Turn.Part != "VR12-3" {
		t.Fatalf("turn %+v, want one of VR12-3", s.Turn)
	}
	// 2 dB at 1.5 dB of fall per dB of bias are 1.33 dB; about the middle of the range that is
	// 270° · 0.75 mA / 5 mA.
	if s.Turn.By < 15 || s.Turn.By > 80 || math.Abs(s.Turn.Now.Value+2) > 0.2 || math.Abs(s.Turn.After.Value) > 0.2 {
		t.Errorf("turn by %.1f°, from %+v to %+v", s.Turn.By, s.Turn.Now, s.Turn.After)
	}
	// Half as sensitive as thought: the second turn is the longer for it.
	rec(t, b, j.ID, turned("VR12-3", s.Turn.By))
	rec(t, b, j.ID, figure(step, aim.Value-1, 0.1, "dB"))
	s2 := stepOf(t, lineUp(t, b, j.ID), step)
	if s2.Turn == nil || s2.Turn.Do != trim.DoTurn || s2.Turn.By < 0.7*s.Turn.By || s2.Turn.By > 1.3*s.Turn.By {
		t.Errorf("%.1f° made 1 dB of 2; then %+v", s.Turn.By, s2.Turn)
	}
	// Too much asks for less; the figure says nothing of record treble.
	rec(t, b, j.ID, figure("bias/B38/4", aim.Value+1.5, 0.1, "dB"))
	l := lineUp(t, b, j.ID)
	if s := stepOf(t, l, "bias/B38/4"); s.Turn == nil || s.Turn.By >= 0 {
		t.Errorf("1.5 dB too far: %+v", s.Turn)
	}
	if s := stepOf(t, l, "record_treble/RH38/4"); s.Turn != nil {
		t.Errorf("record treble was not read: %+v", s.Turn)
	}
}
