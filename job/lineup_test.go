package job_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
	"headstack/trim"
)

func gate(step string) job.Entry { return job.Entry{Gate: &job.Gate{Step: step}} }

func turned(part string, by float64) job.Entry {
	return job.Entry{Turn: &job.Turn{Trim: part, By: by, Unit: trim.Degrees}}
}

func figure(step string, value, half float64, unit string) job.Entry {
	return job.Entry{Figure: &job.Figure{Step: step, Value: value, Half: half, Unit: unit}}
}

func lineUp(t testing.TB, b *job.Bench, id string) *job.LineUp {
	t.Helper()
	l, _, err := b.LineUp(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func stepOf(t testing.TB, l *job.LineUp, id string) *job.LineUpStep {
	t.Helper()
	s, ok := l.Step(id)
	if !ok {
		t.Fatalf("no step %s", id)
	}
	return s
}

// gates are those that come before a good tape.
var gates = []string{"path_clean", "demagnetised", "demagnetiser_away", "noise_reduction_off", "pitch_centre", "warm", "scrap_run"}

// ready sees to the gates, the transport and the speed of a job.
func ready(t testing.TB, b *job.Bench, id string) {
	t.Helper()
	for _, g := range gates {
		rec(t, b, id, gate(g))
	}
	rec(t, b, id, figure("flutter/9.525", 0.08, 0.01, "%"))
	rec(t, b, id, figure("drift/9.525", 0.02, 0.01, "%/min"))
	rec(t, b, id, figure("speed/VR1", 0.1, 0.05, "%"))
}

func TestANewJobBeginsWithTheGates(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	l := lineUp(t, b, j.ID)
	if want := []string{"path_clean", "noise_reduction_off", "pitch_centre", "warm"}; !slices.Equal(l.Next, want) {
		t.Errorf("next %v, want %v", l.Next, want)
	}
	if l.MayPlay || !slices.Contains(l.Waits, "scrap_run") {
		t.Errorf("the good tape may go on (%t) before %v", l.MayPlay, l.Waits)
	}
	if len(l.Problems)+len(l.Doubts)+len(l.Turns)+len(l.Offsets) > 0 {
		t.Errorf("an empty record: problems %v, doubts %v, turns %v, offsets %v", l.Problems, l.Doubts, l.Turns, l.Offsets)
	}
	// Three groups of two tracks record together: one of each group at a time.
	if want := [][]int{{1, 2}, {3, 4}, {5, 6}}; !cmp.Equal(l.Rounds, want) {
		t.Errorf("rounds %v, want %v", l.Rounds, want)
	}
	if len(l.Tapes) != 1 || !l.Tapes[0].Fits || l.Tapes[0].Passes != 0 {
		t.Errorf("tapes %+v, want the one of 9.525 cm/s, not played", l.Tapes)
	}
	// The target of treble by an instrument holds the stated level, by a capture not.
	s := stepOf(t, l, "treble/VRb/3")
	if s.Captured == nil || math.Abs(s.Captured.Value) > 0.01 || s.Target.Value > -15 {
		t.Errorf("treble by instrument %s, by capture %+v", s.Target.Text(), s.Captured)
	}
}

// A pass before the gates is done all the same, and said; states follow the record.
func TestPassesAreCountedAndTooEarlyOnesNamed(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	rec(t, b, j.ID, job.Entry{Pass: &job.Pass{Tape: "pendle-brook-cassette"}})
	ready(t, b, j.ID)
	p := rec(t, b, j.ID, job.Entry{Pass: &job.Pass{Tape: "pendle-brook-cassette"}})
	if p.Pass.Tape != "Pendle Brook cassette alignment, full width" {
		t.Errorf("the pass is of %q, want the tape's name", p.Pass.Tape)
	}
	l := lineUp(t, b, j.ID)
	if l.Tapes[0].Passes != 2 {
		t.Errorf("%d passes, want 2", l.Tapes[0].Passes)
	}
	if len(l.Problems) != 1 || !strings.HasPrefix(l.Problems[0], "pass 1: ") {
		t.Errorf("problems %q, want one that names pass 1", l.Problems)
	}
	if !l.MayPlay || !slices.Equal(l.Next, []string{"azimuth/AZ"}) {
		t.Errorf("may play %t (%v), next %v, want azimuth/AZ", l.MayPlay, l.Waits, l.Next)
	}
	rec(t, b, j.ID, job.Entry{Gate: &job.Gate{Step: "demagnetised", Lost: true}})
	if l := lineUp(t, b, j.ID); l.MayPlay || stepOf(t, l, "demagnetised").Standing.State != lineup.StateStale {
		t.Error("a magnetised head and the good tape may go on")
	}
}

// After a repair what is read says nothing against what was read before: another level,
// without a turn, is a doubt; with the head repaired between it is none.
func TestARepairIsNotDoubted(t *testing.T) {
	for _, repaired := range []bool{false, true} {
		b, _, _ := bench(t, job.BenchOptions{})
		j := openJob(t, b)
		ready(t, b, j.ID)
		rec(t, b, j.ID, figure("azimuth/AZ", 0.2, 0.3, "arcmin"))
		target := stepOf(t, lineUp(t, b, j.ID), "level/VRa/3").Target.Value
		rec(t, b, j.ID, figure("level/VRa/3", target-12, 0.02, "dB"))
		if repaired {
			rec(t, b, j.ID, job.Entry{Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "H", Key: "3"}})
		}
		rec(t, b, j.ID, figure("level/VRa/3", target, 0.02, "dB"))
		if l := lineUp(t, b, j.ID); len(l.Doubts) > 0 == repaired {
			t.Errorf("repaired %t, doubts %q", repaired, l.Doubts)
		}
	}
}

// The paper names the test tape that its targets hold for.
func TestTheSheetNamesTheTape(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	sheet, err := lineUp(t, b, openJob(t, b).ID).Sheet()
	if err != nil {
		t.Fatal(err)
	}
	if len(sheet.Tapes) != 1 || !strings.HasPrefix(sheet.Tapes[0], "Pendle Brook cassette alignment, full width: 9.525 cm/s, ") {
		t.Errorf("tapes %q, want the one of the shelf", sheet.Tapes)
	}
}

// Passes before the gates share a line.
func TestPassesTooEarlyShareALine(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	for range 3 {
		rec(t, b, j.ID, job.Entry{Pass: &job.Pass{Tape: "pendle-brook-cassette"}})
	}
	if l := lineUp(t, b, j.ID); len(l.Problems) != 1 || !strings.HasPrefix(l.Problems[0], "pass 1, pass 2, pass 3: ") {
		t.Errorf("problems %q, want one of three passes", l.Problems)
	}
}

// Two readings of a trim, and what was turned between, give its sensitivity: 40° made
// 1.6 dB, so that −2 dB more take 50° the other way.
func TestTheNextTurnIsReckonedFromTheRecord(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	ready(t, b, j.ID)
	rec(t, b, j.ID, figure("azimuth/AZ", 0.2, 0.3, "arcmin"))
	target := stepOf(t, lineUp(t, b, j.ID), "level/VRa/3").Target.Value
	for track := 1; track <= 6; track++ {
		v := target
		if track == 3 {
			v += 0.4
		}
		rec(t, b, j.ID, figure("level/VRa/"+string(rune('0'+track)), v, 0.02, "dB"))
	}
	rec(t, b, j.ID, turned("VRa-3", 40))
	rec(t, b, j.ID, figure("level/VRa/3", target+2, 0.02, "dB"))
	l := lineUp(t, b, j.ID)
	s := stepOf(t, l, "level/VRa/3")
	if !s.Standing.Ready() || s.Read == nil || math.Abs(s.Read.Value-target-2) > 1e-9 || s.Last != "figure 11" {
		t.Fatalf("level of track 3: %s, read %+v by %s", s.Standing.State, s.Read, s.Last)
	}
	if s.Turn == nil || s.Turn.Do != trim.DoTurn || s.Turn.Part != "VRa-3" || s.Turn.Trim != "VRa" || s.Turn.Key != "3" {
		t.Fatalf("turn %+v, want one of VRa-3", s.Turn)
	}
	if s.Turn.By > -44 || s.Turn.By < -56 || !(s.Turn.Lo < s.Turn.By && s.Turn.By < s.Turn.Hi) {
		t.Errorf("turn by %.1f° (%.1f to %.1f), want about −50°", s.Turn.By, s.Turn.Lo, s.Turn.Hi)
	}
	if math.Abs(s.Turn.Now.Value-2) > 0.1 || math.Abs(s.Turn.After.Value) > 0.1 {
		t.Errorf("now %+v, after %+v; want 2 dB off and then none", s.Turn.Now, s.Turn.After)
	}
	if len(l.Turns) != 1 || l.Turns[0].Step != s.ID || !slices.Equal(l.Next, []string{s.ID}) {
		t.Errorf("turns %+v, next %v", l.Turns, l.Next)
	}
	if len(s.Turn.Cautions) == 0 {
		t.Error("no caution beside the turn")
	}
	// The turn taken and read: the step is done. A wrong figure is corrected as any other.
	rec(t, b, j.ID, turned("VRa-3", s.Turn.By))
	e := rec(t, b, j.ID, figure("level/VRa/3", target+20, 0.02, "dB"))
	fixed, err := b.Correct(t.Context(), j.ID, e.Seq, figure("level/VRa/3", target+0.02, 0.02, "dB"))
	if err != nil || fixed.Ref != "figure 13" {
		t.Fatalf("%+v, %v", fixed, err)
	}
	l = lineUp(t, b, j.ID)
	if s := stepOf(t, l, "level/VRa/3"); s.Standing.State != lineup.StateDone || len(l.Doubts) > 0 {
		t.Errorf("level of track 3 is %s (%s), doubts %v; want done", s.Standing.State, s.Standing.Why, l.Doubts)
	}
	// The same record gives the same.
	if again := lineUp(t, b, j.ID); !cmp.Equal(l.Steps, again.Steps, cmp.AllowUnexported(job.LineUpStep{})) || !cmp.Equal(l.Turns, again.Turns) {
		t.Error("the same record gave another line-up")
	}
}

// Turning a trim makes stale what it moves, with the reason; a repair on the way likewise.
func TestWhatWasMovedIsStale(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	ready(t, b, j.ID)
	rec(t, b, j.ID, figure("azimuth/AZ", 0.2, 0.3, "arcmin"))
	target := stepOf(t, lineUp(t, b, j.ID), "level/VRa/3").Target.Value
	for _, k := range []string{"2", "3"} {
		rec(t, b, j.ID, figure("level/VRa/"+k, target, 0.05, "dB"))
	}
	state := func(id string) lineup.State { return stepOf(t, lineUp(t, b, j.ID), id).Standing.State }
	if state("level/VRa/3") != lineup.StateDone || state("level/VRa/2") != lineup.StateDone {
		t.Fatal("levels that were read in tolerance are not done")
	}
	repair := rec(t, b, j.ID, job.Entry{Work: &job.Work{Kind: "repair", Stage: "C11-3"}})
	if s := stepOf(t, lineUp(t, b, j.ID), "level/VRa/3"); s.Standing.State != lineup.StateStale || s.Since != repair.Ref {
		t.Errorf("after a repair on its path: %s since %s", s.Standing.State, s.Since)
	}
	if state("level/VRa/2") != lineup.StateDone {
		t.Error("a repair on track 3 made track 2 stale")
	}
	rec(t, b, j.ID, turned("AZ", 10))
	if s := stepOf(t, lineUp(t, b, j.ID), "azimuth/AZ"); s.Standing.State != lineup.StateStale || !strings.Contains(s.Standing.Why, "AZ") {
		t.Errorf("azimuth after a turn of it: %s, %s", s.Standing.State, s.Standing.Why)
	}
	// As much as on record is signed off; the proof says so.
	rec(t, b, j.ID, job.Entry{SignOff: &job.SignOff{Step: "azimuth/AZ", Reason: "the owner's tapes are of this angle", By: "ab"}})
	l := lineUp(t, b, j.ID)
	if s := stepOf(t, l, "azimuth/AZ"); s.Standing.State != lineup.StateDone || s.Standing.Signed == nil || s.Standing.Signed.By != "ab" {
		t.Errorf("signed off: %+v", s.Standing)
	}
	if l.Proof.Done || len(l.Proof.Blocks) == 0 {
		t.Error("the proof is done with nothing proved")
	}
}

// What the open case adds is taken from figures as found, closed and open, and stands in
// the target of the open case; the deviation that trims are turned by is without it.
func TestTheOpenCaseAdds(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	ready(t, b, j.ID)
	closed := stepOf(t, lineUp(t, b, j.ID), "treble/VRb/3")
	target := closed.Target.Value
	shut := func(step string, v, half float64, unit string) {
		e := figure(step, v, half, unit)
		e.Case = measure.CaseClosed
		rec(t, b, j.ID, e)
	}
	shut("azimuth/AZ", 0.1, 0.1, "arcmin")
	shut("treble/VRb/3", target-1, 0.1, "dB")
	rec(t, b, j.ID, opened("lid"))
	for _, d := range []float64{3.1, 2.9} { // open − closed, read twice
		e := figure("treble/VRb/3", target-1-d, 0.1, "dB")
		e.Case = measure.CasePropped
		rec(t, b, j.ID, e)
	}
	l := lineUp(t, b, j.ID)
	i := slices.IndexFunc(l.Offsets, func(o job.CaseOffset) bool { return o.Measure == "response" && o.Track == 3 })
	if i < 0 {
		t.Fatalf("offsets %+v, want one of treble 3", l.Offsets)
	}
	o := l.Offsets[i]
	if o.Pairs != 1 || o.Offset.Value > -2.4 || o.Offset.Value < -3.2 || !(o.Offset.Lo < o.Offset.Value && o.Offset.Value < o.Offset.Hi) {
		t.Errorf("offset %+v in %d pairs, want about −3 dB of one pair", o.Offset, o.Pairs)
	}
	if o.Closed == nil || o.Open == nil || math.Abs(o.Closed.Value+1) > 1e-6 || math.Abs(o.Open.Value+4.1) > 1e-6 || o.Why == "" {
		t.Errorf("as found closed %+v, open %+v, %q", o.Closed, o.Open, o.Why)
	}
	now := stepOf(t, l, "treble/VRb/3")
	if d := now.Target.Value - target; d > -2.4 || d < -3.2 {
		t.Errorf("the target of the open case lies %.2f dB off that of the closed one", d)
	}
	if !slices.ContainsFunc(now.Target.Lines, func(x lineup.Line) bool { return x.Term == "case open" }) {
		t.Error("its arithmetic does not name the case")
	}
	rec(t, b, j.ID, putBack("lid"))
	if again := stepOf(t, lineUp(t, b, j.ID), "treble/VRb/3"); math.Abs(again.Target.Value-target) > 1e-9 {
		t.Errorf("put back, the target is %g, want %g", again.Target.Value, target)
	}
}

// What the open case adds to one recorder tells of the next of its type, less surely, and
// of the same one when it comes back, more surely.
func TestTheOpenCaseOfOtherJobs(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	read := func(id string, state measure.CaseState, v float64) {
		e := figure("treble/VRb/3", v, 0.1, "dB")
		e.Case = state
		rec(t, b, id, e)
	}
	pair := func(id string, adds float64) {
		target := stepOf(t, lineUp(t, b, id), "treble/VRb/3").Target.Value
		read(id, measure.CaseClosed, target)
		rec(t, b, id, opened("lid"))
		read(id, measure.CasePropped, target+adds)
	}
	open := func(serial string) string {
		j, err := b.OpenJob(t.Context(), job.NewJob{Definition: hexastrand, Serial: serial, Case: measure.CaseClosed})
		if err != nil {
			t.Fatal(err)
		}
		return j.ID
	}
	offset := func(id string) job.CaseOffset {
		t.Helper()
		for _, o := range lineUp(t, b, id).Offsets {
			if o.Track == 3 && o.Measure == "response" {
				return o
			}
		}
		t.Fatal("no offset of treble 3")
		return job.CaseOffset{}
	}
	alone := open("11")
	rec(t, b, alone, opened("lid"))
	read(alone, measure.CasePropped, -25)
	nothing := offset(alone)
	if math.Abs(nothing.Offset.Value) > 0.01 || nothing.Pairs != 0 || nothing.Usable {
		t.Errorf("of nothing: %+v, want none and not usable", nothing)
	}
	first := open("12")
	pair(first, -3)
	for _, serial := range []string{"13", "14"} {
		pair(open(serial), -3)
	}
	told := offset(alone)
	if told.Offset.Value > -1.5 || told.Offset.Hi-told.Offset.Lo >= nothing.Offset.Hi-nothing.Offset.Lo || told.Pairs != 0 {
		t.Errorf("by three others: %+v in %d pairs, before %+v", told.Offset, told.Pairs, nothing.Offset)
	}
	again := open("12")
	rec(t, b, again, opened("lid"))
	read(again, measure.CasePropped, -25)
	if back := offset(again); back.Offset.Hi-back.Offset.Lo >= told.Offset.Hi-told.Offset.Lo || back.Pairs != 1 || back.Closed != nil {
		t.Errorf("of the same recorder: %+v in %d pairs, of another %+v", back.Offset, back.Pairs, told.Offset)
	}
}

func TestLineUpEntriesThatAreRefused(t *testing.T) {
	b, r, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	pos := func(from, to float64) job.Entry {
		return job.Entry{Turn: &job.Turn{Trim: "VRa-3", From: &from, To: &to}}
	}
	half := job.Entry{Turn: &job.Turn{Trim: "VRa-3", From: new(30.0)}}
	for _, c := range []struct {
		name string
		e    job.Entry
		want string
	}{
		{"a trim that is not there", turned("VRa-9", 10), "VRa-"},
		{"a trim without its track", turned("VRa", 10), "1, 2, 3, 4, 5, 6"},
		{"a track of a single trim", turned("VR1/2", 10), "one only"},
		{"a turn beyond the travel", turned("VRa-3", 500), "at most 405°"},
		{"no number", turned("VRa-3", math.NaN()), "travel"},
		{"a unit of its own", job.Entry{Turn: &job.Turn{Trim: "VRa-3", By: 1, Unit: "mm"}}, "°, turns"},
		{"a position beyond the stop", pos(-5, 20), "position before"},
		{"one position", half, "one before and one after"},
		{"a gate that is not there", gate("path_claen"), "path_clean"},
		{"a gate that is measured", gate("flutter/9.525"), "figure, in %"},
		{"a gate that follows", gate("case_closed"), "openings"},
		{"a figure of no step", figure("level/VRa/9", 1, 0, "dB"), "level/VRa/"},
		{"a figure in another unit", figure("level/VRa/3", 1, 0, "Hz"), "there is dB, V"},
		{"a figure of what has none", figure("path_clean", 1, 0, "dB"), "seen to"},
		{"a figure that is none", figure("level/VRa/3", math.Inf(1), 0, "dB"), "finite"},
		{"an interval below none", figure("level/VRa/3", 1, -1, "dB"), "half width"},
		{"the output in volts", figure(job.ReferenceOutput, 1, 0, "V"), "dBFS"},
		{"a sign-off without a reason", job.Entry{SignOff: &job.SignOff{Step: "azimuth/AZ"}}, "reason"},
		{"a sign-off of nothing", job.Entry{SignOff: &job.SignOff{Step: "azimut/AZ", Reason: "x"}}, "azimuth/AZ"},
		{"a pass of no tape", job.Entry{Pass: &job.Pass{Tape: "pendle"}}, "pendle-brook-cassette"},
		{"a soak of hum", job.Entry{Soak: &job.Soak{Measure: "hum", Unit: "dB"}}, "level"},
		{"a soak of no track", job.Entry{Soak: &job.Soak{Measure: "level", Unit: "dB"}}, "1 to 6"},
		{"a soak of long ago", job.Entry{Soak: &job.Soak{AtMinutes: 1e6, Measure: "speed_error", Unit: "%"}}, "minutes"},
	} {
		_, err := b.Record(t.Context(), j.ID, c.e)
		_, invalid := errors.AsType[*job.InvalidError](err)
		_, missing := errors.AsType[*job.NotFoundError](err)
		if !invalid && !missing || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want an error with %q", c.name, err, c.want)
		}
	}
	if list, err := r.Entries(t.Context(), j.ID); err != nil || len(list) != 0 {
		t.Errorf("%d entries were kept (%v)", len(list), err)
	}
}

func TestParseTrim(t *testing.T) {
	def, _ := machine.Builtin(hexastrand)
	for _, c := range []struct{ s, key, id, want string }{
		{"VRa-3", "", "VRa", "3"}, {"vra/3", "", "VRa", "3"}, {"VRa", "3", "VRa", "3"}, {" AZ ", "", "AZ", ""}, {"VRe-b", "", "VRe", "b"},
	} {
		if id, key, err := job.ParseTrim(def, c.s, c.key); err != nil || id != c.id || key != c.want {
			t.Errorf("ParseTrim(%q, %q) = %q, %q, %v", c.s, c.key, id, key, err)
		}
	}
}

// Positions give the turn, and a turn that nobody measured still counts as one.
func TestTurnsByPosition(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	e := rec(t, b, j.ID, job.Entry{Turn: &job.Turn{Trim: "VRa-3", From: new(90.0), To: new(135.0)}})
	if e.Turn.By != 45 || e.Turn.Unit != trim.Degrees || e.Ref != "turn 1" {
		t.Errorf("kept %+v as %s, want 45°", e.Turn, e.Ref)
	}
	e = rec(t, b, j.ID, job.Entry{Turn: &job.Turn{Trim: "L7-2"}})
	def, _ := machine.Builtin(hexastrand)
	if text := e.LineUpText(def); text != "turned L7-2, how far was not noted" || e.Turn.Unit != trim.Turns {
		t.Errorf("%q in %s", text, e.Turn.Unit)
	}
}

// The soak counts once it was begun.
func TestTheSoakBlocksTheProof(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	if l := lineUp(t, b, j.ID); l.Proof.Soak != nil {
		t.Error("a soak that was not begun")
	}
	rec(t, b, j.ID, job.Entry{Soak: &job.Soak{Measure: "level", Track: 2, Value: -18, Unit: "dBFS"}})
	l := lineUp(t, b, j.ID)
	if l.Proof.Soak == nil || l.Proof.Soak.Done || len(l.Proof.Soak.Points) == 0 {
		t.Errorf("soak %+v", l.Proof.Soak)
	}
}
