package teardown_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"headstack/machine"
	"headstack/teardown"
)

func builtin(t testing.TB, id string) *machine.Definition {
	t.Helper()
	def, ok := machine.Builtin(id)
	if !ok {
		t.Fatalf("no recorder %s", id)
	}
	return def
}

func mustPlan(t *testing.T, id string, opts teardown.Options, tasks ...teardown.Task) *teardown.Plan {
	t.Helper()
	p, err := teardown.New(builtin(t, id), tasks, opts)
	if err != nil {
		t.Fatal(err)
	}
	return planOf(t, p)
}

// does lists the steps as "open lid", "task x".
func does(plan *teardown.Plan) []string {
	var out []string
	for _, v := range plan.Visits {
		for _, s := range v.Steps {
			out = append(out, strings.TrimSpace(string(s.Do)+" "+s.Opening+s.Task))
		}
	}
	return out
}

func TestErrorsNameTaskAndRemedy(t *testing.T) {
	fix := func(id string, change func(*teardown.Task)) teardown.Task {
		x := teardown.Task{ID: id, Kind: teardown.Fix, Minutes: 5}
		if change != nil {
			change(&x)
		}
		return x
	}
	for _, c := range []struct {
		name  string
		def   string
		tasks []teardown.Task
		opts  teardown.Options
		want  []string
	}{
		{"unknown opening", "hexastrand", []teardown.Task{fix("a", func(x *teardown.Task) { x.Needs = []string{"tape-bord"} })}, teardown.Options{},
			[]string{`task "a"`, "opening tape-bord is not defined", "did you mean tape-board?"}},
		{"replica not said", "octogrange", []teardown.Task{fix("a", func(x *teardown.Task) { x.Needs = []string{"extender"} })}, teardown.Options{},
			[]string{`task "a"`, "repeats over track", "extender/1"}},
		{"replica unknown", "octogrange", []teardown.Task{fix("a", func(x *teardown.Task) { x.Needs = []string{"extender/9"} })}, teardown.Options{},
			[]string{`no track "9"`, "one of 1, 2"}},
		{"replica of what does not repeat", "hexastrand", []teardown.Task{fix("a", func(x *teardown.Task) { x.Needs = []string{"lid/1"} })}, teardown.Options{},
			[]string{"does not repeat", "write lid"}},
		{"circle", "hexastrand", []teardown.Task{
			fix("a", func(x *teardown.Task) { x.Follows = []string{"c"} }),
			fix("b", func(x *teardown.Task) { x.Follows = []string{"a"} }),
			fix("c", func(x *teardown.Task) { x.Follows = []string{"b"} })}, teardown.Options{},
			[]string{"wait for each other", "a before b before c before a"}},
		{"unknown predecessor", "hexastrand", []teardown.Task{fix("cap-3", nil), fix("b", func(x *teardown.Task) { x.Follows = []string{"cap-4"} })}, teardown.Options{},
			[]string{`task "b"`, `no task "cap-4"`, "did you mean cap-3?"}},
		{"twice", "hexastrand", []teardown.Task{fix("a", nil), fix("a", nil)}, teardown.Options{}, []string{`task "a": id: another task has it`}},
		{"open and shut", "hexastrand", []teardown.Task{fix("a", func(x *teardown.Task) { x.Needs, x.Shut = []string{"strip"}, []string{"knobs"} })}, teardown.Options{},
			[]string{`task "a"`, "needs knobs open and shut"}},
		{"case", "hexastrand", []teardown.Task{fix("a", func(x *teardown.Task) { x.Needs, x.Case = []string{"strip"}, "propped" })}, teardown.Options{},
			[]string{"wants the case propped", "strip leaves it open"}},
		{"case that nothing makes", "octogrange", []teardown.Task{fix("a", func(x *teardown.Task) { x.Case = "propped" })}, teardown.Options{},
			[]string{"makes the case propped"}},
		{"function", "hexastrand", []teardown.Task{fix("a", func(x *teardown.Task) { x.Function, x.Key = "playy", "1" })}, teardown.Options{},
			[]string{"function playy is not defined", "did you mean play"}},
		{"key", "hexastrand", []teardown.Task{fix("a", func(x *teardown.Task) { x.Function, x.Key = "play", "7" })}, teardown.Options{},
			[]string{`function play has no "7"`, "one of 1"}},
		{"minutes", "hexastrand", []teardown.Task{fix("a", func(x *teardown.Task) { x.Minutes = -1 })}, teardown.Options{}, []string{"-1 minutes"}},
		{"not a number", "hexastrand", []teardown.Task{fix("a", func(x *teardown.Task) { x.Optional, x.Chance = true, math.NaN() })}, teardown.Options{}, []string{"chance: NaN", "0 to 1"}},
		{"chance of what must be done", "hexastrand", []teardown.Task{fix("a", func(x *teardown.Task) { x.Chance = 0.5 })}, teardown.Options{}, []string{"set optional"}},
		{"open now", "hexastrand", []teardown.Task{fix("a", nil)}, teardown.Options{Open: []string{"lit"}}, []string{"options: open", "did you mean lid?"}},
		{"kind", "hexastrand", []teardown.Task{{ID: "a", Kind: "mend"}}, teardown.Options{}, []string{`"mend" is not one`, "preventive"}},
		{"board", "hexastrand", []teardown.Task{fix("a", func(x *teardown.Task) { x.Boards = []string{"Tapee"} })}, teardown.Options{}, []string{"board Tapee", "did you mean Tape?"}},
	} {
		_, err := teardown.New(builtin(t, c.def), c.tasks, c.opts)
		if err == nil {
			t.Errorf("%s: no error", c.name)
			continue
		}
		if _, ok := errors.AsType[*teardown.TaskError](err); !ok {
			t.Errorf("%s: %T is not a task's error", c.name, err)
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q does not say %q", c.name, err, w)
			}
		}
	}
}

func TestOpeningsInACircle(t *testing.T) {
	def := &machine.Definition{ID: "circle", Openings: []machine.Opening{{ID: "a", From: "b"}, {ID: "b", From: "a"}, {ID: "c", From: "nowhere"}}}
	for _, id := range []string{"a", "c"} {
		_, err := teardown.New(def, []teardown.Task{{ID: "x", Kind: teardown.Fix, Needs: []string{id}}}, teardown.Options{})
		if err == nil || !strings.Contains(err.Error(), "does not end at the closed recorder") {
			t.Errorf("opening %s: %v", id, err)
		}
	}
}

func TestNothingToDo(t *testing.T) {
	plan := mustPlan(t, "hexastrand", teardown.Options{})
	if len(plan.Visits) != 0 || plan.Total.Minutes != 0 || !plan.Proved {
		t.Errorf("no tasks: %+v", plan)
	}
	plan = mustPlan(t, "hexastrand", teardown.Options{Open: []string{"strip"}})
	if got := does(plan); !slices.Equal(got, []string{"close strip", "close knobs", "close lid"}) || plan.Total.Minutes != 14+15+9 {
		t.Errorf("Strip out and nothing to do: %v in %v min", got, plan.Total.Minutes)
	}
}

// A test between two works behind one opening costs it a second time; a test that only
// follows both does not.
func TestClosedTestBetweenTwoWorks(t *testing.T) {
	first := teardown.Task{ID: "first", Kind: teardown.Fix, Needs: []string{"tape-board"}, Minutes: 10}
	test := teardown.Task{ID: "test", Kind: teardown.Test, Case: "closed", Power: teardown.On, Minutes: 3, Follows: []string{"first"}}
	second := teardown.Task{ID: "second", Kind: teardown.Fix, Needs: []string{"squeeze"}, Minutes: 10, Follows: []string{"test"}}
	plan := mustPlan(t, "hexastrand", teardown.Options{}, first, test, second)
	// Lid and Tape board, then lid and Squeeze: (8+9)·2 + 10+12 + 3+4, and the works.
	if plan.Total.Minutes != 34+22+7+23 || plan.Openings != 4 {
		t.Errorf("with the test between: %v min, %d openings", plan.Total.Minutes, plan.Openings)
	}
	second.Follows = nil
	test.Follows = append(test.Follows, "second")
	plan = mustPlan(t, "hexastrand", teardown.Options{}, first, test, second)
	if plan.Total.Minutes != 17+22+7+23 || plan.Openings != 3 {
		t.Errorf("with the test after both: %v min, %d openings", plan.Total.Minutes, plan.Openings)
	}
}

// Nobody lines up a board that hangs turned up with its supply unplugged; what does not
// pass the parted plugs may go on.
func TestPoweredWorkWaitsForConnectors(t *testing.T) {
	cap3 := teardown.Task{ID: "cap", Kind: teardown.Fix, Needs: []string{"tape-board"}, Power: teardown.Off, Minutes: 10}
	level := teardown.Task{ID: "level", Kind: teardown.LineUp, Needs: []string{"lid"}, Power: teardown.On, Function: "play", Key: "3", Minutes: 5}
	got := does(mustPlan(t, "hexastrand", teardown.Options{Open: []string{"tape-board"}}, level))
	if want := []string{"close tape-board", "power-on", "task level", "power-off", "close lid"}; !slices.Equal(got, want) {
		t.Errorf("play level with the Tape board up: %v, want %v", got, want)
	}
	level.Follows = []string{"cap"}
	plan := mustPlan(t, "hexastrand", teardown.Options{}, cap3, level)
	steps := does(plan)
	if slices.Index(steps, "close tape-board") > slices.Index(steps, "task level") || plan.Openings != 2 {
		t.Errorf("play level after a capacitor: %v", steps)
	}
	// Ladder parts W8 alone; but it is behind Strip, which parts W3 and W5.
	meter := teardown.Task{ID: "meter", Kind: teardown.Settle, Needs: []string{"ladder"}, Power: teardown.On, Function: "meter", Key: "1", Minutes: 5}
	plan = mustPlan(t, "hexastrand", teardown.Options{}, meter)
	if len(plan.Warnings) == 0 || !strings.Contains(strings.Join(plan.Warnings, " "), "W8") {
		t.Errorf("power on with the meter plug parted gives no warning: %v", plan.Warnings)
	}
}

// In a class I recorder nothing is powered with the supply bare, but what is done there.
func TestMainsPartsAreCovered(t *testing.T) {
	part := teardown.Task{ID: "reservoir", Kind: teardown.Fix, Needs: []string{"anvil"}, Power: teardown.Off, Minutes: 10}
	bias := teardown.Task{ID: "bias", Kind: teardown.LineUp, Needs: []string{"extender/5"}, Power: teardown.On, Function: "bias", Key: "5", Minutes: 5}
	plan := mustPlan(t, "octogrange", teardown.Options{Open: []string{"anvil"}}, part, bias)
	steps := does(plan)
	if slices.Index(steps, "close rear") > slices.Index(steps, "power-on") || len(plan.Warnings) > 0 {
		t.Errorf("bias with the rear panel off: %v, warnings %v", steps, plan.Warnings)
	}
	for _, v := range plan.Visits {
		for _, x := range v.Preparation.Tests {
			if x.Before == "rear" || x.Before == "anvil" {
				t.Errorf("tried with the supply bare: %+v", x)
			}
		}
		for _, c := range v.Preparation.Power {
			if c.TestPoint != "" && c.Before == "rear" && !strings.Contains(strings.Join(c.Cautions, " "), "mains") {
				t.Errorf("a rail behind the rear panel without caution: %+v", c)
			}
		}
	}
	rail := teardown.Task{ID: "rail", Kind: teardown.Settle, Needs: []string{"rear"}, Power: teardown.On, Minutes: 2}
	if plan := mustPlan(t, "octogrange", teardown.Options{}, rail); len(plan.Warnings) != 1 || !strings.Contains(plan.Warnings[0], "licensed") {
		t.Errorf("a rail behind the rear panel: warnings %v", plan.Warnings)
	}
}

// Cards go on the one extender in turn, with power off at each change.
func TestOneExtender(t *testing.T) {
	var tasks []teardown.Task
	for _, k := range []string{"2", "5", "7"} {
		tasks = append(tasks, teardown.Task{ID: "bias " + k, Kind: teardown.LineUp, Needs: []string{"extender/" + k}, Power: teardown.On, Function: "bias", Key: k, Minutes: 5})
	}
	plan := mustPlan(t, "octogrange", teardown.Options{}, tasks...)
	open := map[string]bool{}
	for _, v := range plan.Visits {
		for _, s := range v.Steps {
			n := 0
			for _, o := range s.Open {
				if strings.HasPrefix(o, "extender/") {
					n++
					open[o] = true
				}
			}
			if n > 1 {
				t.Errorf("%v: %d cards on the extender", s, n)
			}
		}
	}
	if len(open) != 3 || plan.Total.Minutes != 4+3*4+15 || plan.Swaps != 6 {
		t.Errorf("three cards: %v open, %v min, %d swaps", open, plan.Total.Minutes, plan.Swaps)
	}
	if plan = mustPlan(t, "octogrange", teardown.Options{Together: []string{"extender"}}, tasks...); plan.Swaps != 2 {
		t.Errorf("with extenders for all: %d swaps, want 2", plan.Swaps)
	}
}

// Strip and jack rail both part the flat cable W9: out together it is plugged in once.
func TestFlatCableSharedByTwoOpenings(t *testing.T) {
	a := teardown.Task{ID: "fader", Kind: teardown.Fix, Needs: []string{"strip"}, Minutes: 10}
	b := teardown.Task{ID: "jack", Kind: teardown.Fix, Needs: []string{"gully"}, Minutes: 10}
	plan := mustPlan(t, "hexastrand", teardown.Options{Insertions: map[string]int{"W9": 12}}, a, b)
	if plan.Insertions != 2 { // W5 and W9
		t.Errorf("%d insertions, want 2", plan.Insertions)
	}
	in := plan.Visits[0].Preparation.Insertions
	if len(in) != 2 || in[0].Connector != "W5" || in[0].Told || in[0].Stands != teardown.UsualInsertions || !strings.Contains(in[0].Text, "common practice, no source") {
		t.Fatalf("insertions %+v", in)
	}
	if w9 := in[1]; w9.Here != 1 || w9.SoFar != 12 || w9.Stands != 12 || !w9.Told || !w9.Over {
		t.Errorf("W9, rated for 12: %+v", w9)
	}
	// In two visits, forced apart by a closed test, W9 is plugged in twice.
	test := teardown.Task{ID: "test", Kind: teardown.Test, Case: "closed", Minutes: 1, Follows: []string{"fader"}}
	b.Follows = []string{"test"}
	plan = mustPlan(t, "hexastrand", teardown.Options{}, a, test, b)
	last := plan.Visits[len(plan.Visits)-1].Preparation.Insertions
	if plan.Insertions != 3 || len(last) != 1 || last[0].SoFar != 1 {
		t.Errorf("two visits: %d insertions, the last %+v", plan.Insertions, last)
	}
}

func TestPreparation(t *testing.T) {
	plan := mustPlan(t, "hexastrand", teardown.Options{},
		teardown.Task{ID: "cap", Kind: teardown.Fix, Needs: []string{"strip"}, Minutes: 10, Parts: []string{"10 uF"}, Tools: []string{"iron", "pump"}, Cautions: []string{"mind the lamp"}},
		teardown.Task{ID: "cap2", Kind: teardown.Fix, Needs: []string{"strip"}, Minutes: 10, Parts: []string{"10 uF"}, Tools: []string{"iron"}})
	if len(plan.Visits) != 1 {
		t.Fatalf("%d visits", len(plan.Visits))
	}
	r := plan.Visits[0].Preparation
	if !slices.Equal(r.Parts, []string{"10 uF", "10 uF"}) || !slices.Equal(r.Tools, []string{"iron", "pump"}) {
		t.Errorf("parts %v, tools %v", r.Parts, r.Tools)
	}
	// strip disconnects W3, W5, W9; W5 is mirrored and not keyed.
	var names []string
	for _, x := range r.Connectors {
		names = append(names, x.Connector)
	}
	if !slices.Equal(names, []string{"W3", "W5", "W9"}) {
		t.Errorf("connectors %v", names)
	}
	w5 := r.Connectors[1]
	if w5.Sides[0].Board != "Tape" || w5.Sides[1].Board != "Strip" || w5.Sides[0].Pins[0] != "shield" || w5.Sides[1].Pins[0] != "+11.5 sense" {
		t.Errorf("sides of W5: %+v", w5.Sides)
	}
	for _, w := range []string{"shield on Tape", "+11.5 sense on Strip", "not keyed", "pin 11"} {
		if !strings.Contains(w5.Mark, w) {
			t.Errorf("mark of W5 does not say %q: %s", w, w5.Mark)
		}
	}
	if len(r.Photographs) != 3 || r.Photographs[0].Opening != "lid" || !strings.Contains(r.Photographs[2].Text, "W3, W5, W9") {
		t.Errorf("photographs %+v", r.Photographs)
	}
	tests := map[string]teardown.Trial{}
	for _, x := range r.Tests {
		tests[x.Function] = x
	}
	// Strip back on its plugs, the knobs still off: the first moment at which it plays.
	if x := tests["play"]; x.Before != "knobs" || x.Case != "propped" || len(x.Keys) != 6 || x.Minutes != 6 {
		t.Errorf("play is tried as %+v", x)
	}
	// Motor, servo and belts have nothing to do with Strip.
	if _, ok := tests["run"]; ok {
		t.Error("the transport is tried after work on the mixer")
	}
	var rails []string
	for _, c := range r.Power {
		if c.TestPoint != "" {
			rails = append(rails, c.TestPoint)
			if c.Before == "" || c.Expect == "" {
				t.Errorf("rail %+v", c)
			}
		}
	}
	if !slices.Equal(rails, []string{"TP1", "TP2", "TP3", "TP4"}) {
		t.Errorf("rails %v", rails)
	}
	if !strings.Contains(r.Power[1].Text, "Hearth and Strip") || !strings.Contains(r.Power[0].Text, "Nothing left inside") {
		t.Errorf("checks before power %+v", r.Power[:2])
	}
	all := strings.Join(r.Cautions, "\n")
	for _, w := range []string{"Local electrical codes", "Flat cable", "mind the lamp", "Strip pin n is Tape pin 11-n"} {
		if !strings.Contains(all, w) {
			t.Errorf("no caution %q", w)
		}
	}
}

// A card of one track leaves the other tracks alone.
func TestPreparationOfOneCard(t *testing.T) {
	plan := mustPlan(t, "octogrange", teardown.Options{}, teardown.Task{ID: "K1", Kind: teardown.Fix, Needs: []string{"extender/3"}, Minutes: 20})
	r := plan.Visits[0].Preparation
	if len(r.Connectors) != 1 || r.Connectors[0].Connector != "CE/3" {
		t.Errorf("connectors %+v", r.Connectors)
	}
	for _, x := range r.Tests {
		if x.Function == "meter" && !slices.Equal(x.Keys, []string{"3"}) {
			t.Errorf("meters tried: %v", x.Keys)
		}
	}
	if len(r.Tests) == 0 {
		t.Error("nothing is tried")
	}
}

// The realignment that a closing costs is there, and weighs in a decision.
func TestRealignment(t *testing.T) {
	head := teardown.Task{ID: "lap", Kind: teardown.Preventive, Needs: []string{"head"}, Minutes: 30, Optional: true, Chance: 0.5}
	plan := mustPlan(t, "hexastrand", teardown.Options{}, teardown.Task{ID: "belt", Kind: teardown.Fix, Needs: []string{"transport"}, Minutes: 10}, head)
	d := plan.Decisions[0]
	// Now 30 + 5+9+25; later half of 8+9+14+16+5+9+25+30 = 116.
	if d.Now || d.LaterExpected != 58 || len(d.Extra) != 1 || d.Extra[0].Minutes != 39 || d.Margin == nil || *d.Margin != 11 {
		t.Errorf("%+v", d)
	}
	head.Chance = 0.6
	plan = mustPlan(t, "hexastrand", teardown.Options{}, teardown.Task{ID: "belt", Kind: teardown.Fix, Needs: []string{"transport"}, Minutes: 10}, head)
	if d := plan.Decisions[0]; !d.Now || plan.Cost.Realignment != 25 || math.Abs(float64(*d.Margin)-0.6) > 1e-6 || !strings.Contains(d.Text, "Do it now") {
		t.Errorf("%+v", d)
	}
}

// Two works that each alone are not worth an opening are worth it together.
func TestWorksShareAnOpening(t *testing.T) {
	work := func(id string) teardown.Task {
		return teardown.Task{ID: id, Kind: teardown.Preventive, Needs: []string{"gully"}, Minutes: 10, Optional: true, Chance: 0.45}
	}
	lid := teardown.Task{ID: "must", Kind: teardown.Fix, Needs: []string{"lid"}, Minutes: 10}
	// Each: now 10, later 0.45·46 = 20.7; the jack rail costs 19.
	if plan := mustPlan(t, "hexastrand", teardown.Options{}, lid, work("a")); plan.Decisions[0].Now {
		t.Errorf("one alone: %s", plan.Decisions[0].Text)
	}
	plan := mustPlan(t, "hexastrand", teardown.Options{}, lid, work("a"), work("b"))
	a := plan.Decisions[0]
	if !a.Now || !plan.Decisions[1].Now || len(a.Extra) != 1 || !slices.Equal(a.Extra[0].With, []string{"b"}) {
		t.Errorf("two together: %+v", plan.Decisions)
	}
}

// What a person takes is log-normal about each estimate here, and every estimate errs
// once; the interval should hold the sum in 95 of 100 cases.
func TestIntervalCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	p, err := teardown.New(builtin(t, "hexastrand"), busy(rng, builtin(t, "hexastrand"), 15), teardown.Options{})
	if err != nil {
		t.Fatal(err)
	}
	plan := planOf(t, p)
	const draws = 4000
	inside := 0
	for range draws {
		factor := map[string]float64{}
		var sum float64
		for _, v := range plan.Visits {
			for _, s := range v.Steps {
				id, _, _ := strings.Cut(s.Opening, "/")
				k := string(s.Do) + id + s.Task
				if factor[k] == 0 {
					factor[k] = math.Exp(teardown.UsualSpread / 1.96 * rng.NormFloat64())
				}
				sum += factor[k] * float64(s.Minutes)
			}
		}
		if sum > float64(plan.Total.Low) && sum < float64(plan.Total.High) {
			inside++
		}
	}
	// ±0.0068 is the sampling error of 4000 draws; the skew of the log-normal takes up to 0.01.
	if cover := float64(inside) / draws; cover < 0.93 || cover > 0.965 {
		t.Errorf("the 95 %% interval holds %.1f %% of %d sums", 100*cover, draws)
	}
	if plan.Total.High <= plan.Total.Low {
		t.Errorf("interval %+v", plan.Total)
	}
}

func TestSpreadOfATask(t *testing.T) {
	one := teardown.Task{ID: "a", Kind: teardown.Fix, Minutes: 100, Spread: 0.1}
	if e := mustPlan(t, "hexastrand", teardown.Options{}, one).Total; math.Abs(float64(e.Low)-90) > 1e-9 || math.Abs(float64(e.High)-110) > 1e-9 {
		t.Errorf("100 min ±10 %%: %+v", e)
	}
	one.Spread = 0
	if e := mustPlan(t, "hexastrand", teardown.Options{}, one).Total; math.Abs(float64(e.Low)-70) > 1e-9 {
		t.Errorf("100 min of unknown spread: %+v", e)
	}
}

func TestPlanIsTheSameAgain(t *testing.T) {
	def := builtin(t, "octogrange")
	tasks := busy(rand.New(rand.NewPCG(7, 3)), def, 30)
	var first string
	for range 3 {
		p, err := teardown.New(def, tasks, teardown.Options{Nodes: 3000})
		if err != nil {
			t.Fatal(err)
		}
		b, err := json.Marshal(planOf(t, p))
		if err != nil {
			t.Fatal(err)
		}
		if first == "" {
			first = string(b)
		}
		if string(b) != first {
			t.Fatal("the same tasks give another plan")
		}
	}
}

func TestPlanStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	p, err := teardown.New(builtin(t, "hexastrand"), []teardown.Task{{ID: "a", Kind: teardown.Fix, Needs: []string{"lid"}}}, teardown.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Plan(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v of a cancelled plan", err)
	}
}

// An opening takes the spread that is told of it; what is used up stands once and apart from
// what is exchanged.
func TestSpreadsAndMaterials(t *testing.T) {
	tasks := []teardown.Task{
		{ID: "a", Kind: teardown.Fix, Needs: []string{"lid"}, Minutes: 10, Parts: []string{"C31-a"}, Materials: []string{"solder"}},
		{ID: "b", Kind: teardown.Fix, Needs: []string{"lid"}, Minutes: 5, Materials: []string{"isopropanol", "solder"}},
	}
	def := builtin(t, "hexastrand")
	wide, narrow := mustPlan(t, "hexastrand", teardown.Options{}, tasks...), mustPlan(t, "hexastrand", teardown.Options{Spreads: map[string]teardown.Spread{"lid": {Down: 0.01, Up: 0.02}}}, tasks...)
	p := narrow.Visits[0].Preparation
	if !slices.Equal(p.Parts, []string{"C31-a"}) || !slices.Equal(p.Materials, []string{"solder", "isopropanol"}) {
		t.Errorf("parts %q, materials %q", p.Parts, p.Materials)
	}
	lid, _ := def.Opening("lid")
	want := math.Sqrt(math.Pow(3, 2) + math.Pow(1.5, 2) + math.Pow(0.01*lid.DownMin, 2) + math.Pow(0.02*lid.UpMin, 2))
	if got := float64(narrow.Total.High - narrow.Total.Minutes); lid.AfterMin == 0 && math.Abs(got-want) > 1e-9 || narrow.Total.High >= wide.Total.High {
		t.Errorf("±%.3f min, want ±%.3f; without what was counted up to %.1f", got, want, wide.Total.High)
	}
	if s := wide.SpreadText(); !strings.Contains(s, "no source") {
		t.Error(s)
	}
	if s := narrow.SpreadText(); !strings.HasPrefix(s, "2 of 4 times") {
		t.Error(s)
	}
}
