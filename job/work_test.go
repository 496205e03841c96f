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
	"headstack/machine"
	"headstack/measure"
	"headstack/unit"
)

// rec records an entry, or fails the test.
func rec(t testing.TB, b *job.Bench, id string, e job.Entry) job.Entry {
	t.Helper()
	got, err := b.Record(t.Context(), id, e)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func view(t testing.TB, b *job.Bench, id string) *job.View {
	t.Helper()
	v, err := b.View(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func opened(id string) job.Entry  { return job.Entry{Opening: &job.Opening{Opening: id}} }
func putBack(id string) job.Entry { return job.Entry{Opening: &job.Opening{Opening: id, Closed: true}} }

func TestParseStage(t *testing.T) {
	def, _ := machine.Builtin(hexastrand)
	for _, c := range []struct{ s, key, stage, want string }{
		{"C31-a", "", "C31", "a"},
		{"c31-A", "", "C31", "a"},
		{"C31/a", "", "C31", "a"},
		{"C31", "a", "C31", "a"},
		{"C14-3", "", "EQ1", "3"}, // one part of two
		{"R21-3/C14-3", "", "EQ1", "3"},
		{"EQ1/3", "", "EQ1", "3"},
		{"J9/S9/D1", "", "PS", ""},
		{"S9", "", "PS", ""},
		{" H-4 ", "", "H", "4"},
	} {
		if id, k, err := job.ParseStage(def, c.s, c.key); err != nil || id != c.stage || k != c.want {
			t.Errorf("ParseStage(%q, %q) = %q, %q, %v; want %q, %q", c.s, c.key, id, k, err, c.stage, c.want)
		}
	}
	for s, want := range map[string]string{"C31-c": "C31-a", "C31": "a, b", "C31/c": "a, b", "PS/1": "one only", "": "no stage", "C32-a": "C31-a"} {
		if _, _, err := job.ParseStage(def, s, ""); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("ParseStage(%q): error %v, want one with %q", s, err, want)
		}
	}
	// Each instance is found by what is printed on it.
	for _, in := range def.Instances() {
		if id, k, err := job.ParseStage(def, in.Part(), ""); err != nil || id != in.Stage.ID || k != in.Key {
			t.Errorf("ParseStage(%q) = %q, %q, %v", in.Part(), id, k, err)
		}
	}
}

func TestWorksThatAreRefused(t *testing.T) {
	b, rec, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	work := func(w job.Work, minutes float64) error {
		_, err := b.Record(t.Context(), j.ID, job.Entry{Work: &w, Minutes: unit.Minutes(minutes)})
		return err
	}
	try := func(e job.Entry) error { _, err := b.Record(t.Context(), j.ID, e); return err }
	for _, c := range []struct {
		name  string
		err   error
		field string
		want  string
	}{
		{"a kind of its own", work(job.Work{Kind: "bless", Stage: "C31", Key: "a"}, 0), "work", "repair"},
		{"a part that is not there", work(job.Work{Kind: "repair", Stage: "C31-c"}, 0), "part", "C31-a"},
		{"no key", work(job.Work{Kind: "repair", Stage: "C31"}, 0), "group", "a, b"},
		{"a swap of a single part", work(job.Work{Kind: "swap", Stage: "PS", With: "2"}, 0), "part", "no sibling"},
		{"a swap with itself", work(job.Work{Kind: "swap", Stage: "H", Key: "3", With: "3"}, 0), "with", "1, 2, 4, 5, 6"},
		{"a swap with another stage", work(job.Work{Kind: "swap", Stage: "H", Key: "3", With: "C11-3"}, 0), "with", "1, 2, 4, 5, 6"},
		{"a swap with nothing", work(job.Work{Kind: "swap", Stage: "H", Key: "3"}, 0), "with", "1, 2, 4, 5, 6"},
		{"a swap back that was not made", work(job.Work{Kind: "swap", Stage: "H", Key: "3", With: "4", Back: true}, 0), "swap", "does not stand"},
		{"a repair undone", work(job.Work{Kind: "repair", Stage: "H", Key: "3", Back: true}, 0), "work", "no swap"},
		{"minutes before it began", work(job.Work{Kind: "repair", Stage: "H", Key: "3"}, -1), "minutes", "between"},
		{"minutes that are no number", work(job.Work{Kind: "repair", Stage: "H", Key: "3"}, math.NaN()), "minutes", "between"},
		{"minutes of a year", work(job.Work{Kind: "repair", Stage: "H", Key: "3"}, 525600), "minutes", "10080"},
		{"an opening that is not there", try(opened("lit")), "opening", "lid"},
		{"putting back what is not open", try(putBack("lid")), "opening", "not open"},
		{"a provocation of its own", try(job.Entry{Check: &job.Check{Function: "record", Key: "1", Outcome: "works", Provoked: "shouted at"}}), "provocation", "pressed"},
		{"a reading provoked so", try(job.Entry{Reading: &job.Reading{TestPoint: "TP21-a", Value: 1, Unit: "V", Provoked: "hit"}}), "provocation", "pressed"},
		{"a capture", try(job.Entry{Capture: &job.Capture{}}), "kind", "file"},
		{"two at once", try(job.Entry{Work: &job.Work{Kind: "repair", Stage: "H", Key: "3"}, Opening: &job.Opening{Opening: "lid"}}), "kind", ""},
	} {
		got, ok := errors.AsType[*job.InvalidError](c.err)
		if !ok || got.Field != c.field || !strings.Contains(got.Error(), c.want) {
			t.Errorf("%s: error %v, want InvalidError of %q with %q", c.name, c.err, c.field, c.want)
		}
	}
	if got, err := rec.Entries(t.Context(), j.ID); err != nil || len(got) != 0 {
		t.Errorf("after refusals there are %d entries (%v), want 0", len(got), err)
	}
}

func TestSwapsStandUntilTheyAreUndone(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	swap := func(key, with string, back bool) (job.Entry, error) {
		return b.Record(t.Context(), j.ID, job.Entry{Work: &job.Work{Kind: "swap", Stage: "H-" + key, With: with, Back: back}})
	}
	if _, err := swap("3", "H-5", false); err != nil { // a designator will do
		t.Fatal(err)
	}
	want := []job.Work{{Kind: "swap", Stage: "H", Key: "3", With: "5"}}
	if got := view(t, b, j.ID).Swaps; !slices.Equal(got, want) {
		t.Errorf("swaps %+v, want %+v", got, want)
	}
	if _, err := swap("5", "3", false); err == nil || !strings.Contains(err.Error(), "stands already") {
		t.Errorf("the same swap again: error %v", err)
	}
	if _, err := swap("3", "4", true); err == nil || !strings.Contains(err.Error(), "there is H-3 with H-5") {
		t.Errorf("another swap undone: error %v, want one that names what stands", err)
	}
	// Undone from the other side: the same keys in the same order, as the diagnosis wants.
	e, err := swap("5", "3", true)
	if err != nil {
		t.Fatal(err)
	}
	if *e.Work != (job.Work{Kind: "swap", Stage: "H", Key: "3", With: "5", Back: true}) {
		t.Errorf("undone as %+v", *e.Work)
	}
	if got := view(t, b, j.ID).Swaps; len(got) != 0 {
		t.Errorf("swaps %+v, want none", got)
	}
	if _, err := b.Withdraw(t.Context(), j.ID, e.Seq, "not done yet"); err != nil {
		t.Fatal(err)
	}
	if got := view(t, b, j.ID).Swaps; !slices.Equal(got, want) {
		t.Errorf("swaps %+v, want %+v after the undoing was taken back", got, want)
	}
}

func TestOpenings(t *testing.T) {
	type state struct {
		open []string
		c    measure.CaseState
	}
	reading := func(c measure.CaseState) job.Entry {
		return job.Entry{Case: c, Reading: &job.Reading{TestPoint: "TP21-a", Value: 1, Unit: "V"}} // on Squeeze, at the lid
	}
	check := func(c measure.CaseState) job.Entry {
		return job.Entry{Case: c, Check: &job.Check{Function: "record", Key: "1", Outcome: diagnosis.Works}}
	}
	for _, c := range []struct {
		name  string
		steps []job.Entry
		want  state
		last  measure.CaseState // of the last entry
	}{
		{"as it came", nil, state{nil, measure.CaseClosed}, ""},
		{"the lid", []job.Entry{opened("lid")}, state{[]string{"lid"}, measure.CasePropped}, measure.CasePropped},
		{"what leads to it is open too", []job.Entry{opened("belt")}, state{[]string{"lid", "transport", "belt"}, measure.CaseOpen}, measure.CaseOpen},
		{"put back with what hangs on it", []job.Entry{opened("belt"), putBack("transport")}, state{[]string{"lid"}, measure.CasePropped}, measure.CasePropped},
		{"all put back", []job.Entry{opened("belt"), putBack("lid")}, state{nil, measure.CaseClosed}, measure.CaseClosed},
		{"two branches", []job.Entry{opened("door"), opened("squeeze"), putBack("lid")}, state{[]string{"door"}, measure.CaseClosed}, measure.CaseClosed},
		{"by name", []job.Entry{opened("Squeeze lifted off Tape")}, state{[]string{"lid", "squeeze"}, measure.CasePropped}, measure.CasePropped},
		{"an entry that does not say", []job.Entry{opened("lid"), check("")}, state{[]string{"lid"}, measure.CasePropped}, measure.CasePropped},
		{"put back and tried", []job.Entry{opened("lid"), putBack("lid"), check("")}, state{nil, measure.CaseClosed}, measure.CaseClosed},
		{"no opening was ever recorded", []job.Entry{check("")}, state{nil, measure.CaseClosed}, ""},
		{"a reading tells", []job.Entry{reading(measure.CasePropped)}, state{[]string{"lid"}, measure.CasePropped}, measure.CasePropped},
		{"a closed case tells", []job.Entry{opened("door"), opened("squeeze"), check(measure.CaseClosed)}, state{[]string{"door"}, measure.CaseClosed}, measure.CaseClosed},
		{"a check with the case open says nothing of where", []job.Entry{check(measure.CaseOpen)}, state{nil, measure.CaseOpen}, measure.CaseOpen},
		{"a note says nothing", []job.Entry{opened("lid"), {Case: measure.CaseClosed, Remark: "tea"}}, state{[]string{"lid"}, measure.CasePropped}, measure.CaseClosed},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _, _ := bench(t, job.BenchOptions{})
			j := openJob(t, b)
			var last job.Entry
			for _, e := range c.steps {
				last = rec(t, b, j.ID, e)
			}
			v := view(t, b, j.ID)
			if !slices.Equal(v.Open, c.want.open) || v.Case != c.want.c {
				t.Errorf("open %q, case %q; want %q, %q", v.Open, v.Case, c.want.open, c.want.c)
			}
			if last.Case != c.last {
				t.Errorf("the last entry has the case %q, want %q", last.Case, c.last)
			}
			if got := job.Situation(v); !slices.Equal(got.Open, c.want.open) {
				t.Errorf("situation: %q open, want %q", got.Open, c.want.open)
			}
		})
	}
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	rec(t, b, j.ID, reading(measure.CasePropped))
	rec(t, b, j.ID, opened("lid")) // what only follows may be said
	rec(t, b, j.ID, putBack("lid"))
	e := rec(t, b, j.ID, opened("squeeze"))
	for _, open := range []string{"lid", "squeeze"} {
		if _, err := b.Record(t.Context(), j.ID, opened(open)); err == nil || !strings.Contains(err.Error(), "open already") {
			t.Errorf("%s opened twice: error %v", open, err)
		}
	}
	if _, err := b.Record(t.Context(), j.ID, putBack("door")); err == nil || !strings.Contains(err.Error(), "there is lid, squeeze") {
		t.Errorf("putting back what is not open: error %v, want one that names what is", err)
	}
	if _, err := b.Correct(t.Context(), j.ID, e.Seq, opened("lid")); err != nil {
		t.Fatal(err)
	}
	if v := view(t, b, j.ID); !slices.Equal(v.Open, []string{"lid"}) {
		t.Errorf("after the correction %q is open, want lid", v.Open)
	}
}

func TestEvidenceIsInTheOrderOfTheBench(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	if _, err := b.AddInstrument(t.Context(), diagnosis.Instrument{Name: "Spare", Kind: diagnosis.Average}); err != nil {
		t.Fatal(err)
	}
	dmm := diagnosis.Instrument{ID: "dmm1", Name: "Hand meter", Kind: diagnosis.TrueRMS, BandwidthHz: 20e3}
	if _, err := b.AddInstrument(t.Context(), dmm); err != nil {
		t.Fatal(err)
	}
	read := rec(t, b, j.ID, job.Entry{Reading: &job.Reading{TestPoint: "TP21-a", Value: 310, Unit: "V", Instrument: "hand METER", Session: "s", Setting: "2", Provoked: diagnosis.Pressed}})
	rec(t, b, j.ID, job.Entry{Check: &job.Check{Function: "record-play", Key: "1", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomWeak, Provoked: diagnosis.Cold}})
	rec(t, b, j.ID, job.Entry{Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "C31-a"}, Minutes: 12, Remark: "dried out, replaced"})
	rec(t, b, j.ID, job.Entry{Reading: &job.Reading{TestPoint: "TP21-b", Value: 1.1, Unit: "V", Instrument: "a borrowed one"}})
	// Put right after the repair; it was read before it.
	if _, err := b.Correct(t.Context(), j.ID, read.Seq, job.Entry{Reading: &job.Reading{TestPoint: "TP21-a", Value: 310, Unit: "mV", Instrument: "dmm1", Session: "s", Setting: "2", Provoked: diagnosis.Pressed}}); err != nil {
		t.Fatal(err)
	}
	v := view(t, b, j.ID)
	got := job.Evidence(v)
	want := diagnosis.Evidence{
		Checks: []diagnosis.Check{{Ref: "check 1", Function: "record-play", Key: "1", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomWeak, Seq: 2, Provoked: diagnosis.Cold}},
		Readings: []diagnosis.Reading{
			{Ref: "reading 2", TestPoint: "TP21", Key: "b", Value: 1.1, Unit: "V", Instrument: "a borrowed one", Seq: 4},
			{Ref: "reading 3", TestPoint: "TP21", Key: "a", Value: 0.31, Unit: "V", Instrument: "dmm1", Session: "s", Setting: "2", Seq: 1, Provoked: diagnosis.Pressed},
		},
		Works:       []diagnosis.Work{{Ref: "work 1", Seq: 3, Kind: diagnosis.WorkRepair, Stage: "C31", Key: "a"}},
		Instruments: []diagnosis.Instrument{dmm},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if now := job.Situation(v); now.Instrument != "dmm1" || now.Session != "s" {
		t.Errorf("in hand: %+v", now)
	}
	if v.Entries[0].Reading.Instrument != "dmm1" {
		t.Errorf("named %q, want the id of the register", v.Entries[0].Reading.Instrument)
	}
}
