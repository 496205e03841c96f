package trial

import (
	"context"
	"encoding/json"
	"math"
	"runtime"
	"slices"
	"testing"

	"headstack/diagnosis"
	"headstack/machine"
	"headstack/measure"
	"headstack/sim"
)

func builtin(t testing.TB, id string) *machine.Definition {
	t.Helper()
	def, ok := machine.Builtin(id)
	if !ok {
		t.Fatalf("no definition %s", id)
	}
	return def
}

// recorder is one with a known fault, as it comes in.
func recorder(t testing.TB, id string, seed uint64, stage, key string, mode machine.Mode, cureMinutes float64) *Machine {
	t.Helper()
	def := builtin(t, id)
	f, err := sim.NewFault(def, stage, key, mode, "", 1)
	if err != nil {
		t.Fatal(err)
	}
	m := &Machine{Def: def, Seed: seed, Hidden: []Hidden{{Fault: f, CureMinutes: cureMinutes}}}
	if err := m.intake(); err != nil {
		t.Fatal(err)
	}
	return m
}

// silent is an advisor that knows nothing.
type silent struct{}

func (silent) Advise(context.Context, diagnosis.Evidence, diagnosis.Situation) (*diagnosis.Advice, error) {
	return &diagnosis.Advice{}, nil
}

// script does its steps, then says that it is done.
type script struct{ steps []diagnosis.Step }

func (s *script) Next(*View) (diagnosis.Step, bool) {
	if len(s.steps) == 0 {
		return diagnosis.Step{}, true
	}
	next := s.steps[0]
	s.steps = s.steps[1:]
	return next, false
}

func run(t testing.TB, m *Machine, steps ...diagnosis.Step) Result {
	t.Helper()
	r, err := mend(context.Background(), m, m.Def, silent{}, &script{steps}, diagnosis.Situation{}, func(string, ...any) {})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// quiet finds a seed with which nothing goes wrong by chance: the intake names exactly
// the functions of the path and the repair holds.
func quiet(t testing.TB, want []Task, id, stage, key string, mode machine.Mode, cure float64) *Machine {
	t.Helper()
	for seed := range uint64(200) {
		m := recorder(t, id, seed, stage, key, mode, cure)
		if slices.Equal(m.Complaint, want) && run(t, m, diagnosis.Step{Kind: diagnosis.StepRepair, Stage: stage, Key: key}).Outcome == Correct {
			return m
		}
	}
	t.Fatalf("no quiet seed: complaints are %v", recorder(t, id, 1, stage, key, mode, cure).Complaint)
	return nil
}

// The minutes are those of the definition, for what is really opened, put back and done.
func TestMinutes(t *testing.T) {
	m := quiet(t, []Task{{"record-play", "1"}, {"record-play", "3"}, {"record-play", "5"}}, "hexastrand", "C31", "a", machine.Dead, 12)
	const intake = 6*(1+1+1+3+3+0.5) + 8*1 + 1
	if m.IntakeMinutes != intake {
		t.Errorf("intake %v min, want %v", m.IntakeMinutes, intake)
	}
	repair := diagnosis.Step{Kind: diagnosis.StepRepair, Stage: "C31", Key: "a"}
	// The lid (8 down, 9 up), behind it the Tape board turned up (10, 12); the function
	// three minutes each.
	const verify = 3 * 3
	for _, c := range []struct {
		name     string
		steps    []diagnosis.Step
		want     float64
		openings int
	}{
		{"repair alone", []diagnosis.Step{repair}, 8 + 10 + 12 + 12 + 9 + verify, 2},
		{"a reading before it", []diagnosis.Step{{Kind: diagnosis.StepReading, TestPoint: "TP21", Key: "a"}, repair}, 8 + 2 + 10 + 12 + 12 + 9 + verify, 2},
		{"a sibling too", []diagnosis.Step{{Kind: diagnosis.StepReading, TestPoint: "TP21", Key: "a", Siblings: []string{"b"}}, repair}, 8 + 4 + 10 + 12 + 12 + 9 + verify, 2},
		{"bias readings take three minutes", []diagnosis.Step{{Kind: diagnosis.StepReading, TestPoint: "TP22", Key: "1"}, repair}, 8 + 3 + 10 + 12 + 12 + 9 + verify, 2},
		{"tried on the bench: the board goes back first, and the proof is still wanted closed", []diagnosis.Step{repair, {Kind: diagnosis.StepCheck, Function: "record-play", Key: "1"}},
			8 + 10 + 12 + 12 + 3 + 9 + verify, 2},
		{"closed first, on advice: what is tried closed is proved", []diagnosis.Step{repair, {Kind: diagnosis.StepCheck, Function: "record-play", Key: "1", Close: []string{"lid"}}},
			8 + 10 + 12 + 12 + 9 + 3 + 2*3, 2},
		{"two openings beside each other", []diagnosis.Step{{Kind: diagnosis.StepClean, Stage: "H", Key: "1"}, repair}, 2 + 5 + 8 + 10 + 12 + 2 + 12 + 9 + verify, 3},
		{"pressed on the board where it is sought", []diagnosis.Step{{Kind: diagnosis.StepProvoke, Provoked: diagnosis.Pressed, Function: "record-play", Key: "1", Stage: "C31"}, repair},
			8 + 3 + 1 + 10 + 12 + 12 + 9 + verify, 2},
	} {
		r := run(t, m, c.steps...)
		if got := r.Minutes - intake; math.Abs(got-c.want) > 1e-9 || r.Outcome != Correct || r.Openings != c.openings {
			t.Errorf("%s: %v min with %d openings, %s; want %v with %d", c.name, got, r.Openings, r.Outcome, c.want, c.openings)
		}
	}
	wrong := run(t, m, diagnosis.Step{Kind: diagnosis.StepRepair, Stage: "U12", Key: "a"}, repair)
	modes := 0.0
	stage, _ := m.Def.Stage("U12")
	_, list := m.Def.FaultModes(stage)
	for _, x := range list {
		modes += x.Weight * x.CureMin
	}
	if got, want := wrong.Minutes-intake, 8+10+modes+12+12+9+verify; math.Abs(got-want) > 1e-9 || wrong.Needless != 1 || wrong.Repairs != 2 {
		t.Errorf("a good stage repaired first: %v min, %d needless of %d; want %v, 1 of 2", got, wrong.Needless, wrong.Repairs, want)
	}
}

// One card is on the extender at a time; a swap is made in the slots.
func TestExtender(t *testing.T) {
	m := quiet(t, []Task{{"play", "3"}, {"record-play", "3"}}, "octogrange", "K1", "3", machine.Dead, 20)
	repair := diagnosis.Step{Kind: diagnosis.StepRepair, Stage: "K1", Key: "3"}
	const bay, card, verify = 2 + 2, 2 + 2, 0.5 + 1
	for _, c := range []struct {
		name  string
		steps []diagnosis.Step
		want  float64
	}{
		{"repair", []diagnosis.Step{repair}, bay + card + 20 + verify},
		{"a sibling's card on the way", []diagnosis.Step{{Kind: diagnosis.StepReading, TestPoint: "TP10", Key: "3", Siblings: []string{"4"}}, repair},
			bay + card + 2 + card + 2 + card + 20 + verify},
		{"a swap on the way", []diagnosis.Step{{Kind: diagnosis.StepSwap, Stage: "K1", Key: "3", With: "4", Function: "play"}, repair},
			bay + 4 + 2*0.5 + card + 20 + verify},
	} {
		// Track 4 fails with the bad card in it and must be proved as well.
		want := c.want
		if c.name == "a swap on the way" {
			want += 0.5
		}
		r := run(t, m, c.steps...)
		if got := r.Minutes - m.IntakeMinutes; math.Abs(got-want) > 1e-9 || r.Outcome != Correct {
			t.Errorf("%s: %v min, %s; want %v", c.name, got, r.Outcome, want)
		}
	}
}

// What comes and goes must work four times in a row, all else once; a fault left behind
// that did not show in time is a wrong fix.
func TestVerification(t *testing.T) {
	fast := func(outcomes ...diagnosis.Outcome) *technician {
		x := &technician{}
		for i, o := range outcomes {
			x.ev.Checks = append(x.ev.Checks, diagnosis.Check{Function: "play", Key: "1", Outcome: o, Case: measure.CaseClosed, Seq: int64(2*i + 1)})
		}
		return x
	}
	play := Task{"play", "1"}
	for _, c := range []struct {
		name   string
		x      *technician
		needs  int
		passes int
	}{
		{"failed", fast(diagnosis.Faulty), 1, 0},
		{"said to be intermittent", fast(diagnosis.Intermittent), 4, 0},
		{"failed and worked", fast(diagnosis.Faulty, diagnosis.Works, diagnosis.Works), 4, 2},
	} {
		if c.x.needs(play) != c.needs || c.x.passes(play) != c.passes {
			t.Errorf("%s: needs %d, passed %d; want %d, %d", c.name, c.x.needs(play), c.x.passes(play), c.needs, c.passes)
		}
	}
	mended := fast(diagnosis.Faulty, diagnosis.Works, diagnosis.Works)
	mended.ev.Works = []diagnosis.Work{{Seq: 2}}
	if mended.needs(play) != 1 || mended.passes(play) != 2 {
		t.Errorf("worked after a repair: needs %d, passed %d; want 1, 2", mended.needs(play), mended.passes(play))
	}
	// A fault that shows at 40 % of looks, in 40 % of checks there and gone: after a
	// repair of something else one try passes in a third of cases where it was simply
	// faulty in one of its two functions, about 8 % of all; untouched, four in a row do
	// in 2 % of these.
	elsewhere := diagnosis.Step{Kind: diagnosis.StepRepair, Stage: "K3", Key: "5"}
	wrong, untouched, tried := 0, 0, 0
	for seed := range uint64(400) {
		m := recorder(t, "octogrange", seed, "K1", "3", machine.Intermittent, 20)
		if len(m.Complaint) == 0 || !m.Hidden[0].Shows {
			continue
		}
		tried++
		if r := run(t, m, elsewhere); r.Outcome == Wrong && r.Actions == 2 {
			wrong++
		}
		if r := run(t, m); r.Outcome == Wrong && r.Actions == 1 {
			untouched++
		}
	}
	if x, y := float64(wrong)/float64(tried), float64(untouched)/float64(tried); tried < 200 || x < 0.03 || x > 0.15 || y > 0.03 {
		t.Errorf("of %d recorders with an intermittent fault %d passed the first proof after a repair of something else, %d untouched", tried, wrong, untouched)
	}
}

// Recorders are drawn as the definition says.
func TestDraw(t *testing.T) {
	def := builtin(t, "hexastrand")
	all := def.Instances()
	odds, sum := map[string]float64{}, 0.0
	for _, in := range all {
		p, _ := def.FaultModes(in.Stage)
		odds[in.Stage.ID] += p / (1 - p)
		sum += p / (1 - p)
	}
	const n = 6000
	counts, first := map[int]int{}, map[string]int{}
	r := generator("test", 1)
	for range n {
		list, err := drawFaults(def, all, r)
		if err != nil {
			t.Fatal(err)
		}
		counts[len(list)]++
		first[list[0].Stage]++
		if len(list) > 1 && list[0].Stage == list[1].Stage && list[0].Key == list[1].Key {
			t.Fatal("one stage is drawn twice")
		}
	}
	near := func(what string, got int, want float64) {
		if sd := math.Sqrt(n * want * (1 - want)); math.Abs(float64(got)-n*want) > 4.5*sd {
			t.Errorf("%s: %d of %d, want %.0f ±%.0f", what, got, n, n*want, 4.5*sd)
		}
	}
	for i, w := range countWeights {
		near("number of faults", counts[i+1], w)
	}
	for id, o := range odds {
		near(id, first[id], o/sum)
	}
	a, err := Draw(def, 7)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := Draw(def, 7)
	x, _ := json.Marshal(a.Hidden)
	y, _ := json.Marshal(b.Hidden)
	if string(x) != string(y) || len(a.Complaint) == 0 {
		t.Errorf("seed 7 gives %s and %s, complaint %v", x, y, a.Complaint)
	}
}

func TestMistold(t *testing.T) {
	def := builtin(t, "octogrange")
	told, err := Mistold(def, 3, 1)
	if err != nil {
		t.Fatal(err)
	}
	up := 0
	for i := range def.Stages {
		was, modes := def.FaultModes(&def.Stages[i])
		is, same := told.FaultModes(&told.Stages[i])
		if f := is / was; f < 1/3.0-1e-9 || f > 3+1e-9 || len(modes) != len(same) {
			t.Errorf("%s: prior %v told as %v", def.Stages[i].ID, was, is)
		} else if f > 1 {
			up++
		}
	}
	if n := len(def.Stages); up < n/4 || up > 3*n/4 {
		t.Errorf("%d of %d priors are told too high", up, n)
	}
}

// guesser suspects what lies on failing paths and not on those that work, by prior.
type guesser struct{ def *machine.Definition }

func (g guesser) Advise(_ context.Context, ev diagnosis.Evidence, _ diagnosis.Situation) (*diagnosis.Advice, error) {
	last := int64(0)
	if n := len(ev.Works); n > 0 {
		last = ev.Works[n-1].Seq
	}
	weight := map[machine.Instance]float64{}
	for _, c := range ev.Checks {
		factor := 0.3
		if c.Outcome != diagnosis.Works {
			factor = 5
		} else if c.Seq < last {
			continue
		}
		for _, in := range pathOf(g.def, Task{c.Function, c.Key}) {
			if weight[in] == 0 {
				weight[in], _ = g.def.FaultModes(in.Stage)
			}
			weight[in] *= factor
		}
	}
	for _, w := range ev.Works {
		s, _ := g.def.Stage(w.Stage)
		weight[machine.Instance{Stage: s, Key: w.Key}] *= 0.02
	}
	sum := 0.0
	for _, in := range g.def.Instances() {
		sum += weight[in]
	}
	a := &diagnosis.Advice{}
	for _, in := range g.def.Instances() {
		if p := weight[in] / sum; p > 0.01 {
			a.Suspects = append(a.Suspects, diagnosis.SuspectStage{Stage: in.Stage.ID, Track: in.Key, Probability: p})
		}
	}
	slices.SortStableFunc(a.Suspects, func(x, y diagnosis.SuspectStage) int {
		return int(math.Copysign(1, y.Probability-x.Probability))
	})
	return a, nil
}

// A trial is the same however many processors share it; nobody is faster than who knows
// the faults; the baselines mend most recorders even with a guesser's advice.
func TestTrialOfBaselines(t *testing.T) {
	for _, id := range machine.BuiltinNames() {
		tr := Trial{Def: builtin(t, id), Machines: 20, FirstSeed: 1, Policies: []Maker{HalfSplit(0.8), AlongPath(0.8), Clairvoyant()},
			Advisor: func(told *machine.Definition) (Advisor, error) { return guesser{told}, nil }}
		report := func(processors int) (*Report, string) {
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
			r, err := tr.Run(context.Background())
			if err != nil {
				t.Fatal(err)
			}
			data, err := json.Marshal(r)
			if err != nil {
				t.Fatal(err)
			}
			return r, string(data)
		}
		r, one := report(1)
		if _, four := report(4); one != four {
			t.Errorf("%s: one processor and four give different reports", id)
		}
		known := summarise(r.Rows, "clairvoyant")
		if known.Unfinished > 0 || known.WrongFix.Value > 0.05 || known.Needless > 0 {
			t.Errorf("%s: who knows the faults: %+v", id, known)
		}
		for _, p := range []string{"half split", "along the path"} {
			s := summarise(r.Rows, p)
			mended := 1 - s.WrongFix.Value - float64(s.Unfinished)/float64(s.N)
			if c := compare(r.Rows, "clairvoyant", p); mended < 0.5 || c.Ratio.High > 1 || s.Readings == 0 || s.Slips == 0 {
				t.Errorf("%s, %s: mended %.2f, clairvoyant/it %+v, %.1f readings, %d slips", id, p, mended, c.Ratio, s.Readings, s.Slips)
			}
			t.Logf("%s, %s: %.0f min, mended %.0f %%", id, p, s.Minutes.Value, 100*mended)
		}
	}
}

// Newcombe, Statistics in Medicine 17, 1998, table I, method 3 (values from memory).
func TestWilson(t *testing.T) {
	for _, c := range []struct {
		k, n      int
		low, high float64
	}{{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718}} {
		x := wilson(c.k, c.n)
		if math.Abs(x.Low-c.low) > 6e-5 || math.Abs(x.High-c.high) > 6e-5 {
			t.Errorf("%d of %d: %.4f to %.4f, want %.4f to %.4f", c.k, c.n, x.Low, x.High, c.low, c.high)
		}
	}
	if x := wilson(0, 0); x.Low != 0 || x.High != 1 {
		t.Errorf("nothing of nothing: %+v", x)
	}
}

// The bootstrap interval of a mean covers it about as often as it says; and pairing tells
// a small difference from a large common scatter.
func TestBootstrap(t *testing.T) {
	r := generator("test", 2)
	const series, n = 300, 40
	covers := 0
	for range series {
		x := make([]float64, n)
		for i := range x {
			x[i] = r.ExpFloat64()
		}
		if b := bootstrap(n, func(of []int) float64 { return mean(of, func(i int) float64 { return x[i] }) }); b.Low <= 1 && 1 <= b.High {
			covers++
		}
	}
	// Of a skew sample of 40 the percentile interval covers about 92 %.
	if got := float64(covers) / series; got < 0.86 || got > 0.98 {
		t.Errorf("covers %.3f", got)
	}
	rows := make([]Row, 50)
	for i := range rows {
		minutes := 100 + 900*r.Float64()
		rows[i] = Row{IntakeMinutes: 50, Results: map[string]Result{"a": {Minutes: minutes - 5 + r.NormFloat64()}, "b": {Minutes: minutes}}}
	}
	if c := compare(rows, "a", "b"); c.Less.Low < 4 || c.Less.High > 6 || c.Ratio.High >= 1 || c.RatioAfter.Value >= c.Ratio.Value {
		t.Errorf("5 minutes less, paired: %+v", c)
	}
}

// Giving up early is not quick.
func TestCharged(t *testing.T) {
	rows := []Row{{IntakeMinutes: 100, Results: map[string]Result{"a": {Minutes: 110, Outcome: Unfinished}, "b": {Minutes: 200, Outcome: Correct}}}}
	if c := compare(rows, "a", "b"); math.Abs(c.RatioAfter.Value-0.1) > 1e-12 || math.Abs(c.Charged.Value-5) > 1e-12 {
		t.Errorf("given up after 10 minutes against mended after 100: %+v", c)
	}
}

func TestStated(t *testing.T) {
	var s Stated
	for _, p := range []float64{0, 0.019, 0.02, 0.5, 0.979, 0.98, 1} {
		s.add(p, p > 0.5)
	}
	want := Stated{0: {2, 0, 0.019}, 1: {1, 0, 0.02}, 5: {1, 0, 0.5}, 9: {1, 1, 0.979}, 10: {2, 2, 1.98}}
	for i := range s {
		if s[i].N != want[i].N || s[i].Bad != want[i].Bad || math.Abs(s[i].SumP-want[i].SumP) > 1e-12 {
			t.Errorf("bin %d: %+v, want %+v", i, s[i], want[i])
		}
	}
}
