package diagnosis

import (
	"fmt"
	"math"
	"testing"

	"headstack/machine"
)

// The cases of testdata/08_intermittent_and_misread.json: constructed, or computed from
// published formulas, by plain enumeration and quadrature outside this project. They go
// through the engine's own error models with the parameters of each case.

const misreadFile = "08_intermittent_and_misread.json"

// misread are the inputs of the cases with one reading.
type misread struct {
	Prior         map[string]float64
	Misprobe      float64
	Uniform       float64 `json:"uniform_density"`
	Nu            float64
	LocationScale map[string][2]float64 `json:"location_scale"`
	RepeatNoise   float64               `json:"repeat_noise"`
}

type misreadWant []struct {
	Setups [][]float64
	PState map[string]float64 `json:"p_state"`
	PWrong float64            `json:"p_first_setup_wrong"`
}

// oneStage is a stage that is good, weak or dead, as the case has it, before one meter.
func (in misread) oneStage(setups [][]float64) *model {
	good := in.LocationScale["good"]
	c := component{prior: 1 - in.Prior["good"]}
	for k, state := range []string{"weak", "dead"} {
		e := effect{presence: 1}
		at := in.LocationScale[state]
		e.db[qLevel], e.sd[qLevel] = at[0]-good[0], math.Sqrt(at[1]*at[1]-good[1]*good[1])
		c.atoms = append(c.atoms, atom{k, in.Prior[state] / c.prior, e})
	}
	m := &model{maxFaults: 1, scopes: []scopeDef{{"stage", -1}}, components: []component{c}}
	for _, repeats := range setups {
		r := readingModel{sd: good[1], nu: in.Nu, ways: []wrongWay{{state: readSpot, p: in.Misprobe, shows: anything, density: in.Uniform}}}
		r.y = sumOf(repeats)/float64(len(repeats)) - good[0]
		r.noise = in.RepeatNoise / math.Sqrt(float64(len(repeats)))
		m.obs = append(m.obs, &observation{path: []int{0}, fam: -1, states: readStates, like: r.like, space: newSpace(scalar(0, 0))})
	}
	return m
}

func TestOneReading(t *testing.T) {
	for _, id := range []string{"log_ratio_reading", "repeat_without_moving_the_probe"} {
		var in misread
		var want misreadWant
		tol := published(t, misreadFile, id, &in, &want)
		if len(want) == 0 {
			t.Fatal("no cases")
		}
		for _, w := range want {
			post, err := solve(in.oneStage(w.Setups))
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]float64{"good": 1 - post.faulty(0), "weak": post.fault[0][0], "dead": post.fault[0][1]}
			for state, p := range w.PState {
				if math.Abs(got[state]-p) > tol {
					t.Errorf("%s %v: %s %.12g, want %.12g", id, w.Setups, state, got[state], p)
				}
			}
			if wrong := post.wrong[0][readSpot]; math.Abs(wrong-w.PWrong) > tol {
				t.Errorf("%s %v: wrong %.12g, want %.12g", id, w.Setups, wrong, w.PWrong)
			}
		}
	}
}

// plainTest is a check that only says whether a function works, wrong with probability
// p and then saying each with half of it.
func plainTest(wrong float64, pass bool) func([]total, float64, []float64) {
	h := &hearing{}
	h.slips[saysWorks], h.slips[saysFaulty] = wrong/2, wrong/2
	report := saysFaulty
	if pass {
		report = saysWorks
	}
	return func(arrive []total, _ float64, out []float64) { h.like(report, arrive, out) }
}

// fickle is a fault that lets nothing pass while it shows.
func fickle(presence float64) effect { return effect{dead: true, presence: presence} }

// TestIntermittentParts: four runs through three parts, each of which behaves well with
// probability g when faulty. R. Abreu, P. Zoeteweij, A. J. C. van Gemund, IJCAI 2009;
// J. de Kleer, IJCAI 2009.
func TestIntermittentParts(t *testing.T) {
	var in struct {
		Runs []struct {
			Uses   []int
			Failed bool
		}
		Prior float64
	}
	var want []struct {
		G         float64
		Posterior []struct {
			Faulty []string
			P      float64
		}
		PFaulty []float64 `json:"p_faulty"`
	}
	tol := published(t, misreadFile, "intermittent_three_parts", &in, &want)
	for _, w := range want {
		m := &model{maxFaults: 3, scopes: []scopeDef{{"all", -1}}}
		for range 3 {
			m.components = append(m.components, component{prior: in.Prior, atoms: []atom{{0, 1, fickle(1 - w.G)}}})
		}
		for _, r := range in.Runs {
			o := &observation{fam: -1, states: 2, space: newSpace(everything), like: plainTest(0, !r.Failed)}
			for c, used := range r.Uses {
				if used == 1 {
					o.path = append(o.path, c)
				}
			}
			m.obs = append(m.obs, o)
		}
		post, err := solve(m)
		if err != nil {
			t.Fatal(err)
		}
		for c, p := range w.PFaulty {
			if math.Abs(post.faulty(c)-p) > tol {
				t.Errorf("g %g: part %d %.12g, want %.12g", w.G, c+1, post.faulty(c), p)
			}
		}
		sets := post.faultSets()
		for _, x := range w.Posterior {
			var atoms []atomRef
			for _, name := range x.Faulty {
				atoms = append(atoms, atomRef{comp: int(name[1] - '1')})
			}
			if got := sets[compKey(atoms)]; math.Abs(got-x.P) > tol {
				t.Errorf("g %g: %v %.12g, want %.12g", w.G, x.Faulty, got, x.P)
			}
		}
	}
}

// TestGoodRunsClear: p·gⁿ/(p·gⁿ + 1 − p) after n good runs. J. de Kleer, IJCAI 2009.
func TestGoodRunsClear(t *testing.T) {
	var in struct{ Prior, G float64 }
	var want []struct {
		N       int
		PFaulty float64 `json:"p_faulty"`
	}
	tol := published(t, misreadFile, "good_runs_decay", &in, &want)
	for _, w := range want {
		m := &model{maxFaults: 1, scopes: []scopeDef{{"all", -1}},
			components: []component{{prior: in.Prior, atoms: []atom{{0, 1, fickle(1 - in.G)}}}}}
		for range w.N {
			m.obs = append(m.obs, &observation{path: []int{0}, fam: -1, states: 2, space: newSpace(everything), like: plainTest(0, true)})
		}
		post, err := solve(m)
		if err != nil {
			t.Fatal(err)
		}
		if got := post.faulty(0); math.Abs(got-w.PFaulty) > tol {
			t.Errorf("%d good runs: %.12g, want %.12g", w.N, got, w.PFaulty)
		}
	}
}

// miniMultitrack is the case of that name.
type miniMultitrack struct {
	Prior    struct{ Good, Dead, Intermittent float64 }
	Pass     map[string]float64 `json:"pass_given_intermittent"`
	Misprobe float64
	PassIf   float64 `json:"pass_if_misprobed"`
	Stages   []string
	Path     map[string][]string
	Obs      []struct {
		ID, Track, Condition string
		Upto                 int
		Passed               bool
	} `json:"observations"`
}

func (in miniMultitrack) model(t *testing.T) (*model, map[string]int) {
	t.Helper()
	if in.PassIf != 0.5 {
		t.Fatalf("a wrong test passes with %g; the test takes a half", in.PassIf)
	}
	shows := map[string]float64{}
	for condition, pass := range in.Pass {
		shows[condition] = 1 - pass
	}
	fick := &machine.FaultMode{Mode: machine.Intermittent, Presence: 0.5, Shows: shows}
	m := &model{maxFaults: 2, scopes: []scopeDef{{"shared", -1}, {"G1", 0}, {"G2", 0}, {"T1", 1}, {"T2", 1}, {"T3", 2}}}
	at := map[string]int{}
	for c, name := range in.Stages {
		at[name] = c
		scope := map[string]int{"S": 0, "G1": 1, "G2": 2, "T1": 3, "T2": 4, "T3": 5}[name[:min(2, len(name))]]
		m.components = append(m.components, component{scope: scope, prior: 1 - in.Prior.Good, atoms: []atom{
			{0, in.Prior.Dead / (1 - in.Prior.Good), effect{dead: true, presence: 1}},
			{1, in.Prior.Intermittent / (1 - in.Prior.Good), effect{dead: true, presence: fick.Presence, mode: fick}},
		}})
	}
	for _, x := range in.Obs {
		o := &observation{ref: x.ID, fam: -1, states: 2, space: newSpace(everything), like: plainTest(in.Misprobe, x.Passed)}
		o.space.look.condition = x.Condition
		for _, name := range in.Path[x.Track][:x.Upto] {
			o.path = append(o.path, at[name])
		}
		m.obs = append(m.obs, o)
	}
	return m, at
}

// TestMiniMultitrack: three tracks with shared and group stages, intermittent faults that
// show by condition, and wrong readings, together: every marginal, what each observation
// is worth, and how they fit together.
func TestMiniMultitrack(t *testing.T) {
	var in miniMultitrack
	var want struct {
		PEvidence float64                       `json:"p_evidence"`
		PState    map[string]map[string]float64 `json:"p_state"`
		PFaulty   map[string]float64            `json:"p_faulty"`
		PWrong    map[string]float64            `json:"p_reading_wrong"`
		PGiven    map[string]float64            `json:"p_reading_given_the_others"`
		Change    map[string]map[string]float64 `json:"log10_odds_change_by_reading"`
		Conflict  float64                       `json:"conflict_log2"`
	}
	tol := published(t, misreadFile, "mini_multitrack", &in, &want)
	m, at := in.model(t)
	post, err := solve(m)
	if err != nil {
		t.Fatal(err)
	}
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > tol*math.Max(1, math.Abs(want)) {
			t.Errorf("%s: %.12g, want %.12g", what, got, want)
		}
	}
	near("P(evidence)", math.Exp(post.logEvidence()), want.PEvidence)
	for name, c := range at {
		near(name+" dead", post.fault[c][0], want.PState[name]["dead"])
		near(name+" intermittent", post.fault[c][1], want.PState[name]["intermittent"])
		near(name+" faulty", post.faulty(c), want.PFaulty[name])
	}
	odds := func(p float64) float64 { return math.Log10(p / (1 - p)) }
	without := post.without()
	for o, ob := range m.obs {
		near(ob.ref+" wrong", post.wrong[o][1], want.PWrong[ob.ref])
		less := *m
		less.obs = append(append([]*observation{}, m.obs[:o]...), m.obs[o+1:]...)
		rest, err := solve(&less)
		if err != nil {
			t.Fatal(err)
		}
		near(ob.ref+" given the others", math.Exp(post.logEvidence()-rest.logEvidence()), want.PGiven[ob.ref])
		for name, c := range at {
			near(fmt.Sprintf("log10 odds of %s by %s", name, ob.ref), odds(post.faulty(c))-odds(rest.faulty(c)), want.Change[ob.ref][name])
			near(fmt.Sprintf("the same of %s left out of %s", ob.ref, name), without[o][c], rest.faulty(c))
		}
	}
	conf, err := post.conflict()
	if err != nil {
		t.Fatal(err)
	}
	near("conflict", conf, want.Conflict)
}
