package plan

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"
)

// chainProblem is eight stages in series behind three covers: seven probes that tell
// whether the fault is up to them, eight repairs that include a functional test.
type chainProblem struct {
	p, probe, repair          []float64
	probeBehind, repairBehind []int
	covers                    []Cover
}

func (c chainProblem) problem() Problem {
	pr := Problem{Covers: c.covers}
	n := len(c.p)
	for j, cost := range c.probe {
		a := Action{Cost: cost, Cover: c.probeBehind[j]}
		for s := range n {
			bad := 0.0
			if s <= j {
				bad = 1
			}
			a.Like = append(a.Like, []float64{bad, 1 - bad})
		}
		a.Like = append(a.Like, []float64{0, 1})
		pr.Actions = append(pr.Actions, a)
	}
	of := single(c.p, c.covers, c.repair, c.repairBehind)
	pr.P, pr.Sound = of.P, of.Sound
	pr.Actions = append(pr.Actions, of.Actions...)
	return pr
}

// onlyOne is the repair of the last stage that is possible, None if more are.
func onlyOne(m *Model, s Situation) int {
	stages, which := 0, None
	for i, x := range s.Belief[:m.n-1] {
		if x > 0 {
			stages, which = stages+1, len(m.acts)-m.n+1+i
		}
	}
	if stages == 1 {
		return which
	}
	return None
}

// probing is the policy of the test with the highest figure until one stage is left.
func probing(m *Model, figure func(q point, a int32) float64) Policy {
	return func(s Situation) int {
		if r := onlyOne(m, s); r != None {
			return r
		}
		q, _ := m.point(s)
		best, top := None, math.Inf(-1)
		for _, a := range m.tests {
			if m.acts[a].tells(q.b) {
				if f := figure(q, a); less(top, f) || best == None {
					best, top = int(a), f
				}
			}
		}
		return best
	}
}

// chainRules are the rules of the reference by their names in its files.
func chainRules(m *Model) map[string]float64 {
	ctx, limit := context.Background(), 200_000
	upTo := func(q point, a int32, of func(float64) float64) (below, all float64) {
		for s, x := range q.b {
			below, all = below+of(x)*m.acts[a].chance(s, 0), all+of(x)
		}
		return below, all
	}
	count := func(x float64) float64 { return math.Ceil(x) } // 1 where possible
	rules := map[string]Policy{
		"along_path": probing(m, func(point, int32) float64 { return 0 }),
		"half_split_count": probing(m, func(q point, a int32) float64 {
			below, all := upTo(q, a, count)
			return -math.Abs(below - all/2)
		}),
		"half_split_probability":            probing(m, func(q point, a int32) float64 { return m.bits(q.b, &m.acts[a]) }),
		"information_per_cost":              m.Information(),
		"p_over_c_repairs_only":             ratio(m, false),
		"p_over_c_plus_access_repairs_only": ratio(m, true),
		"myopic_voi":                        m.Myopic(ratio(m, true), limit),
	}
	rules["rollout_of_information_per_cost"] = m.Rollout(rules["information_per_cost"], limit)
	rules["rollout_of_myopic_voi"] = m.Rollout(rules["myopic_voi"], limit)
	// not in the reference: ours
	rules["block rule"] = m.Repairs()
	rules["myopic over block rule"] = m.Myopic(m.Repairs(), limit)
	rules["rollout of myopic over block rule"] = m.Rollout(rules["myopic over block rule"], limit)
	rules["rank"] = ranking(m, Options{NoExact: true})
	rules["rank, fast"] = ranking(m, Options{NoExact: true, Fast: true})
	out := map[string]float64{}
	for name, rule := range rules {
		c, err := m.Cost(ctx, Situation{}, rule, limit)
		if err != nil {
			c = math.NaN()
		}
		out[name] = c
	}
	return out
}

// ranking is the policy of the first action of Rank.
func ranking(m *Model, o Options) Policy {
	return func(s Situation) int {
		r, err := m.Rank(context.Background(), s, o)
		if err != nil || len(r.Steps) == 0 {
			return None
		}
		return r.Steps[0].Action
	}
}

func coverIndices(names []string, order string) []int {
	var out []int
	for _, n := range names {
		out = append(out, strings.Index(order, n))
	}
	return out
}

// TestChain: constructed, computed outside this project by plain enumeration.
func TestChain(t *testing.T) {
	var in struct {
		P            []float64
		Probe        []float64          `json:"probe_cost"`
		ProbeBehind  []string           `json:"probe_behind"`
		Repair       []float64          `json:"repair_cost"`
		RepairBehind []string           `json:"repair_behind"`
		Opening      map[string]float64 `json:"opening_cost"`
	}
	var want map[string]float64
	tol := published(t, "07_value_of_information.json", "eight_stage_chain_with_access", &in, &want)
	c := chainProblem{p: in.P, probe: in.Probe, repair: in.Repair,
		probeBehind: coverIndices(in.ProbeBehind, "pbh"), repairBehind: coverIndices(in.RepairBehind, "pbh")}
	for _, n := range "pbh" {
		c.covers = append(c.covers, Cover{Open: in.Opening[string(n)], Behind: None})
	}
	m := ready(t, c.problem())
	got := chainRules(m)
	got["optimal"] = optimum(t, m).Cost
	for name, w := range want {
		check(t, name, got[name], w, tol)
	}
	for _, name := range []string{"block rule", "myopic over block rule", "rollout of myopic over block rule", "rank", "rank, fast"} {
		t.Logf("%s: %.4g minutes, optimum %.4g", name, got[name], want["optimal"])
	}
	checkRank(t, m, want["optimal"], tol)
}

// TestChainRandom: 200 random instances, computed outside this project by plain
// enumeration. Every rule is compared in every instance.
func TestChainRandom(t *testing.T) {
	data, err := os.ReadFile("testdata/chain_random.json")
	if err != nil {
		t.Fatal(err)
	}
	var in struct {
		ProbeBehind  string `json:"probe_behind"`
		RepairBehind string `json:"repair_behind"`
		Covers       string
		Rules        []string
		Instances    []struct{ P, Probe, Repair, Open, Minutes []float64 }
	}
	if err := json.Unmarshal(data, &in); err != nil {
		t.Fatal(err)
	}
	if testing.Short() {
		in.Instances = in.Instances[:40]
	}
	mean, worst := map[string]float64{}, map[string]float64{}
	for i, x := range in.Instances {
		c := chainProblem{p: x.P, probe: x.Probe, repair: x.Repair,
			probeBehind:  coverIndices(strings.Split(in.ProbeBehind, ""), in.Covers),
			repairBehind: coverIndices(strings.Split(in.RepairBehind, ""), in.Covers)}
		for _, open := range x.Open {
			c.covers = append(c.covers, Cover{Open: open, Behind: None})
		}
		m := ready(t, c.problem())
		got := chainRules(m)
		got["optimal"] = optimum(t, m).Cost
		for k, rule := range in.Rules {
			if !near(got[rule], x.Minutes[k], 1e-9) {
				t.Errorf("instance %d, %s: %.12g minutes, want %.12g", i, rule, got[rule], x.Minutes[k])
			}
		}
		for rule, v := range got {
			mean[rule] += v / got["optimal"] / float64(len(in.Instances))
			worst[rule] = max(worst[rule], v/got["optimal"])
		}
	}
	for rule := range mean {
		t.Logf("%s: mean %.4f of the optimum, worst %.4f", rule, mean[rule], worst[rule])
	}
	if mean["rank"] > 1.02 {
		t.Errorf("rank costs %.4f of the optimum on average, want at most 1.02", mean["rank"])
	}
	if testing.Short() {
		return
	}
	var ignored struct{}
	var want map[string]struct {
		Mean  float64 `json:"mean_ratio"`
		Worst float64 `json:"worst_ratio"`
	}
	tol := published(t, "07_value_of_information.json", "eight_stage_chain_random", &ignored, &want)
	for rule, w := range want {
		check(t, rule+", mean", mean[rule], w.Mean, tol)
		check(t, rule+", worst", worst[rule], w.Worst, tol)
	}
}
