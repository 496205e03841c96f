package learn_test

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"headstack/learn"
	"headstack/machine"
)

func hexastrand(t testing.TB) *machine.Definition {
	t.Helper()
	d, ok := machine.Builtin("hexastrand")
	if !ok {
		t.Fatal("no hexastrand")
	}
	return d
}

// anyClosed draws a machine of a definition: faults of any stages, some out of the
// definition, minutes, readings.
func anyClosed(t *rapid.T, d *machine.Definition) learn.Closed {
	in := d.Instances()
	var x learn.Closed
	for range rapid.IntRange(0, 4).Draw(t, "faults") {
		i := in[rapid.IntRange(0, len(in)-1).Draw(t, "instance")]
		_, modes := d.FaultModes(i.Stage)
		f := learn.Fault{Stage: i.Stage.ID, Key: i.Key, Proven: rapid.Bool().Draw(t, "proven"), Back: rapid.Bool().Draw(t, "back"),
			Work: rapid.SampledFrom([]string{"repair", "clean", "reseat"}).Draw(t, "work")}
		if k := rapid.IntRange(0, len(modes)).Draw(t, "cause"); k < len(modes) {
			f.Cause = modes[k].Cause
		}
		x.Faults = append(x.Faults, f)
	}
	x.Symptoms = rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"weak", "dull", "dead", "noisy"}), 0, 3, rapid.ID[string]).Draw(t, "symptoms")
	x.Readings = learn.Tally{Taken: rapid.IntRange(3, 40).Draw(t, "readings"), Wrong: map[string]int{learn.Leads: rapid.IntRange(0, 3).Draw(t, "wrong")}}
	x.Minutes.Reading = log(rapid.SliceOfN(rapid.Float64Range(0.05, 500), 0, 4).Draw(t, "minutes")...)
	x.Minutes.Down = map[string]learn.Log{d.Openings[0].ID: log(rapid.Float64Range(0.1, 90).Draw(t, "down"))}
	return x
}

func log(minutes ...float64) learn.Log {
	var sum learn.Log
	for _, m := range minutes {
		l := learn.LogOf(m)
		sum.N, sum.Sum, sum.Squares = sum.N+l.N, sum.Sum+l.Sum, sum.Squares+l.Squares
	}
	return sum
}

// TestOrderAndPortionsDoNotMatter: counts are sums, exactly: machines in any order, in
// any portions, over files or not.
func TestOrderAndPortionsDoNotMatter(t *testing.T) {
	defs := []*machine.Definition{hexastrand(t), must(machine.Builtin("octogrange"))}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 6).Draw(t, "machines")
		parts := make([]*learn.Counts, n)
		var straight learn.Counts
		for i := range parts {
			d := rapid.SampledFrom(defs).Draw(t, "definition")
			parts[i] = learn.Count(d, anyClosed(t, d))
			straight.Merge(parts[i])
		}
		shuffled := rapid.Permutation(parts).Draw(t, "order")
		cut := rapid.IntRange(0, n).Draw(t, "cut")
		var left, right learn.Counts
		for _, p := range shuffled[:cut] {
			left.Merge(p)
		}
		for _, p := range shuffled[cut:] {
			right.Merge(p)
		}
		file, err := learn.Decode("right.json", right.Encode())
		if err != nil {
			t.Fatal(err)
		}
		ab, ba := left.Clone(), file.Clone()
		ab.Merge(file)
		ba.Merge(&left)
		if !bytes.Equal(ab.Encode(), straight.Encode()) || !bytes.Equal(ba.Encode(), straight.Encode()) {
			t.Fatalf("another order or a file between gives other counts:\n%s", cmp.Diff(straight, *ab))
		}
	})
}

func must(d *machine.Definition, ok bool) *machine.Definition {
	if !ok {
		panic("no such definition")
	}
	return d
}

func TestMergeSharesNothing(t *testing.T) {
	d := hexastrand(t)
	one := learn.Count(d, learn.Closed{Symptoms: []string{"thin"}, Faults: []learn.Fault{{Stage: "C31", Key: "a", Cause: "open", Proven: true, Work: "repair"}}})
	before := one.Encode()
	sum := one.Clone()
	sum.Merge(one)
	sum.Merge(sum.Clone())
	if !bytes.Equal(one.Encode(), before) {
		t.Error("merging changed what was merged")
	}
	if got := sum.Of(d.ID).Stages["C31"].Causes["open"]; got.Faults != 4 || got.Symptoms["thin"] != 4 {
		t.Errorf("four machines count %+v", got)
	}
}

// TestWhatOneMachineCounts by hand: three instances at fault, of which one unproven, one
// named twice and one that no such machine has.
func TestWhatOneMachineCounts(t *testing.T) {
	d := hexastrand(t)
	c := learn.Count(d, learn.Closed{Symptoms: []string{"dull", "weak"}, Faults: []learn.Fault{
		{Stage: "H", Key: "4", Cause: "dirt on the head face", Proven: true, Work: "clean"},
		{Stage: "H", Key: "4", Cause: "worn", Proven: true, Work: "repair"},
		{Stage: "H", Key: "2", Work: "clean", Back: true},
		{Stage: "C31", Key: "a", Proven: true, Work: "repair"},
		{Stage: "C31", Key: "z", Proven: true, Work: "repair"},
		{Stage: "none", Proven: true, Work: "repair"},
	}})
	m := c.Of(d.ID)
	head, kind := m.Stages["H"], ""
	if s, ok := d.Stage("H"); ok {
		kind = s.Kind
	}
	if head.Instances != 6 || head.Unproven != 1 || head.Machines != 1 || head.Faults() != 1 || head.Causes["dirt on the head face"].Symptoms["weak"] != 1 {
		t.Errorf("heads: %+v", head)
	}
	if f := m.Families[kind]; f.Faults != 1 || f.Instances < 5 || f.Expected <= 0 {
		t.Errorf("family of heads: %+v", f)
	}
	if m.Stages["C31"].Causes[learn.OtherCause].Faults != 1 {
		t.Errorf("C31: %+v", m.Stages["C31"])
	}
	if got := m.Cures["clean"]; got != (learn.Cures{Proven: 1, Unproven: 1, UnprovenBack: 1}) {
		t.Errorf("cleanings: %+v", got)
	}
	if got := c.StageText(d.ID, "C31"); got != "C31: at fault in 1 of 1 machine of this type" {
		t.Error(got)
	}
	if got := c.StageText(d.ID, "K9"); got != "" {
		t.Errorf("a stage that is not there: %q", got)
	}
}

func TestDecodeRefuses(t *testing.T) {
	d := hexastrand(t)
	good := string(learn.Count(d, learn.Closed{Faults: []learn.Fault{{Stage: "C31", Key: "a", Cause: "open", Proven: true, Work: "repair"}},
		Minutes: learn.Minutes{Reading: log(2, 3)}}).Encode())
	if _, err := learn.Decode("x.json", []byte(good)); err != nil {
		t.Fatal(err)
	}
	swap := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("no %s in the file", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	for name, c := range map[string]struct{ text, says string }{
		"empty":            {"", "x.json:1:1: it is not whole JSON"},
		"cut short":        {good[:len(good)/2], "it is not whole JSON"},
		"another file":     {`{"machine": 1}`, `x.json:1:1: there is no "counts": 1`},
		"a list":           {`[]`, `there is no "counts"`},
		"newer":            {swap(`"counts": 1`, `"counts": 2`), "version 2"},
		"a name":           {swap(`"closed": 1`, `"owner": "a theatre", "closed": 1`), `unknown field "owner"`},
		"a fraction":       {swap(`"closed": 1`, `"closed": 1.5`), "is a number 1.5"},
		"text for a count": {swap(`"closed": 1`, `"closed": "1"`), "x.json:5:"},
		"negative":         {swap(`"closed": 1`, `"closed": -1`), "definitions.hexastrand.closed: -1 is no count"},
		"twice":            {swap(`"closed": 1`, `"closed": 0, "closed": 1`), `"closed" stands twice`},
		"more faults than parts": {swap(`"faults": 1`, `"faults": 3`),
			"definitions.hexastrand.stages.C31.causes.open.faults: 3 are more than the 2 instances"},
		"impossible squares": {swap(`"n": 2,`, `"n": 1,`), "definitions.hexastrand.minutes.reading"},
		"a second object":    {good + "{}", "it is not whole JSON"},
		"not text":           {"\xff\xfe{", "not text"},
		"an id of ours":      {swap(`"hexastrand"`, `"Hexa Strand"`), "no definition's id"},
	} {
		_, err := learn.Decode("x.json", []byte(c.text))
		p, ok := errors.AsType[*learn.ParseError](err)
		if !ok {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if !strings.Contains(err.Error(), c.says) || p.Hint() == "" {
			t.Errorf("%s: %q (hint %q), want %q", name, err, p.Hint(), c.says)
		}
	}
}

func FuzzDecode(f *testing.F) {
	d, _ := machine.Builtin("hexastrand")
	seed := learn.Count(d, learn.Closed{Faults: []learn.Fault{{Stage: "C31", Key: "a", Proven: true}}}).Encode()
	if _, err := learn.Decode("seed", seed); err != nil {
		f.Fatal(err)
	}
	f.Add(seed)
	f.Add([]byte(`{"counts": 1, "definitions": {"x": null}}`))
	f.Add([]byte(`{"counts": 1}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := learn.Decode("x", data)
		if err != nil {
			return
		}
		again, err := learn.Decode("x", c.Encode())
		if err != nil || !bytes.Equal(again.Encode(), c.Encode()) {
			t.Errorf("what was read does not come back: %v", err)
		}
		learn.Learn(d, c) // takes whatever passes
	})
}
