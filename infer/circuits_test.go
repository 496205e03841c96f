package infer_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"headstack/infer"
)

// circuit is a digital circuit as a factor graph: a health variable per part
// (0 works, 1 faulty) and a value variable per signal. A part that works forces
// its output; a faulty part may do anything, so its table is 1 everywhere.
type circuit struct {
	g      infer.Graph
	names  []string
	health []infer.Var
	signal map[string]infer.Var
}

func newCircuit() *circuit { return &circuit{signal: map[string]infer.Var{}} }

func (c *circuit) wire(name string, states int) {
	c.signal[name] = c.g.Var(name, states)
}

// part adds a part with the output as the function of its inputs.
func (c *circuit) part(name, out string, f func(in []int) int, in ...string) {
	h := c.g.Var(name+" health", 2)
	vars := []infer.Var{h, c.signal[out]}
	for _, s := range in {
		vars = append(vars, c.signal[s])
	}
	c.g.FactorFunc(vars, func(s []int) float64 {
		if s[0] == 1 || f(s[2:]) == s[1] {
			return 1
		}
		return 0
	})
	c.names, c.health = append(c.names, name), append(c.health, h)
}

// subset turns bits into names; bit i is part i.
func (c *circuit) subset(bits int) []string {
	out := []string{}
	for i, n := range c.names {
		if bits>>i&1 == 1 {
			out = append(out, n)
		}
	}
	return out
}

// possible says whether the evidence can happen.
func (c *circuit) possible(t *testing.T, ev infer.Evidence) bool {
	t.Helper()
	logP, err := c.g.LogEvidence(ev)
	if err != nil {
		t.Fatal(err)
	}
	return !math.IsInf(logP, -1)
}

// minimal keeps the subsets for which yes holds and holds for no proper subset.
func (c *circuit) minimal(yes func(bits int) bool) [][]string {
	var found []int
	for bits := range 1 << len(c.names) {
		if !yes(bits) || slices.ContainsFunc(found, func(f int) bool { return f&bits == f }) {
			continue
		}
		found = slices.DeleteFunc(found, func(f int) bool { return bits&f == bits })
		found = append(found, bits)
	}
	var out [][]string
	for _, f := range found {
		out = append(out, c.subset(f))
	}
	return out
}

// consistent says whether exactly the parts in bits being faulty explains the
// evidence.
func (c *circuit) consistent(t *testing.T, ev infer.Evidence, bits int) bool {
	full := infer.Evidence{}
	for v, s := range ev {
		full[v] = s
	}
	for i, h := range c.health {
		full[h] = bits >> i & 1
	}
	return c.possible(t, full)
}

// conflict says whether the parts in bits cannot all be good.
func (c *circuit) conflict(t *testing.T, ev infer.Evidence, bits int) bool {
	full := infer.Evidence{}
	for v, s := range ev {
		full[v] = s
	}
	for i, h := range c.health {
		if bits>>i&1 == 1 {
			full[h] = 0
		}
	}
	return !c.possible(t, full)
}

func sameSets(a, b [][]string) bool {
	key := func(x [][]string) []string {
		var out []string
		for _, s := range x {
			s = slices.Clone(s)
			slices.Sort(s)
			out = append(out, strings.Join(s, ","))
		}
		slices.Sort(out)
		return out
	}
	return slices.Equal(key(a), key(b))
}

// polybox is three multipliers and two adders (de Kleer and Williams, 1987)
// with the constant inputs folded in and 16 values per signal.
func polybox() *circuit {
	const m = 16
	c := newCircuit()
	for _, s := range []string{"X", "Y", "Z", "F", "G"} {
		c.wire(s, m)
	}
	constant := func(v int) func([]int) int { return func([]int) int { return v } }
	add := func(in []int) int { return in[0] + in[1] }
	c.part("M1", "X", constant(3*2))
	c.part("M2", "Y", constant(2*3))
	c.part("M3", "Z", constant(2*3))
	c.part("A1", "F", add, "X", "Y")
	c.part("A2", "G", add, "Y", "Z")
	return c
}

// fullAdder is the full adder with inputs 1, 0, 1 (Reiter, 1987).
func fullAdder() *circuit {
	c := newCircuit()
	for _, s := range []string{"x1", "sum", "a1", "a2", "carry"} {
		c.wire(s, 2)
	}
	c.part("X1", "x1", func([]int) int { return 1 } /* xor(1, 0) */)
	c.part("X2", "sum", func(in []int) int { return in[0] ^ 1 }, "x1")
	c.part("A1", "a1", func([]int) int { return 0 } /* and(1, 0) */)
	c.part("A2", "a2", func(in []int) int { return in[0] & 1 }, "x1")
	c.part("O1", "carry", func(in []int) int { return in[0] | in[1] }, "a1", "a2")
	return c
}

// TestLogicDiagnosis finds the minimal diagnoses and minimal conflicts of the
// two classic circuits.
func TestLogicDiagnosis(t *testing.T) {
	for _, x := range []struct {
		id string
		c  *circuit
		ev map[string]int
	}{
		{"polybox", polybox(), map[string]int{"F": 10, "G": 12}},
		{"full_adder", fullAdder(), map[string]int{"sum": 1, "carry": 0}},
	} {
		var want struct {
			Diagnoses [][]string `json:"minimal_diagnoses"`
			Conflicts [][]string `json:"minimal_conflicts"`
		}
		decode(t, loadCase(t, "01_logic_diagnosis.json", x.id).Expected, &want)
		ev := infer.Evidence{}
		for s, v := range x.ev {
			ev[x.c.signal[s]] = v
		}
		got := x.c.minimal(func(bits int) bool { return x.c.consistent(t, ev, bits) })
		if !sameSets(got, want.Diagnoses) {
			t.Errorf("%s: minimal diagnoses %v, want %v", x.id, got, want.Diagnoses)
		}
		got = x.c.minimal(func(bits int) bool { return x.c.conflict(t, ev, bits) })
		if !sameSets(got, want.Conflicts) {
			t.Errorf("%s: minimal conflicts %v, want %v", x.id, got, want.Conflicts)
		}
	}
}

// TestPolyboxProbe: candidates that explain F = 10, G = 12 keep their prior;
// the best next probe is the one of least expected entropy. The candidates and
// what they predict come from the circuit graph, the posterior from a second
// graph over the health variables with the table of consistent candidates.
func TestPolyboxProbe(t *testing.T) {
	pc := loadCase(t, "02_probabilistic_diagnosis.json", "polybox_probe")
	var in struct {
		PFail float64 `json:"p_fail"`
		M     int
	}
	var want struct {
		P         float64 `json:"p_consistent"`
		Marginals map[string]float64
		Probes    []struct {
			Probe       string
			Unpredicted float64            `json:"p_unpredicted"`
			Predicted   map[string]float64 `json:"p_predicted"`
			Delta       float64            `json:"delta_entropy_nats"`
		}
		Best string `json:"best_probe"`
	}
	decode(t, pc.Inputs, &in)
	decode(t, pc.Expected, &want)
	c := polybox()
	ev := infer.Evidence{c.signal["F"]: 10, c.signal["G"]: 12}

	var h infer.Graph
	var vars []infer.Var
	for _, n := range c.names {
		v := h.Var(n, 2)
		h.Factor([]infer.Var{v}, []float64{1 - in.PFail, in.PFail})
		vars = append(vars, v)
	}
	h.FactorFunc(vars, func(s []int) float64 {
		bits := 0
		for i, x := range s {
			bits |= x << i
		}
		if c.consistent(t, ev, bits) {
			return 1
		}
		return 0
	})
	logP, err := h.LogEvidence(nil)
	if err != nil || !close64(math.Exp(logP), want.P, pc.Tolerance) {
		t.Errorf("P(consistent) = %.12g, %v, want %.12g", math.Exp(logP), err, want.P)
	}
	for i, n := range c.names {
		p, err := h.Posterior(vars[i], nil)
		if err != nil || !close64(p[1], want.Marginals[n], pc.Tolerance) {
			t.Errorf("P(%s) = %v, %v, want %.12g", n, p, err, want.Marginals[n])
		}
	}
	joint, err := h.Joint(vars, nil)
	if err != nil {
		t.Fatal(err)
	}
	best, bestDelta := "", math.Inf(1)
	for _, w := range want.Probes {
		value, unpredicted := predictions(t, c, ev, c.signal[w.Probe], joint, in.M)
		delta := probeEntropy(value, unpredicted, in.M)
		if !close64(delta, w.Delta, pc.Tolerance) || !close64(unpredicted, w.Unpredicted, pc.Tolerance) {
			t.Errorf("probe %s: %.12g unpredicted %.12g, want %.12g and %.12g", w.Probe, delta, unpredicted, w.Delta, w.Unpredicted)
		}
		if delta < bestDelta {
			best, bestDelta = w.Probe, delta
		}
	}
	if best != want.Best {
		t.Errorf("best probe %s, want %s", best, want.Best)
	}
}

// predictions sums the posterior of the candidates that predict each value of
// a signal, and of those that leave it open.
func predictions(t *testing.T, c *circuit, ev infer.Evidence, signal infer.Var, joint []float64, m int) (value []float64, open float64) {
	t.Helper()
	value = make([]float64, m)
	for at, p := range joint {
		if p == 0 {
			continue
		}
		full := infer.Evidence{}
		for v, s := range ev {
			full[v] = s
		}
		for i, h := range c.health {
			full[h] = at >> (len(c.health) - 1 - i) & 1
		}
		got, err := c.g.Posterior(signal, full)
		if err != nil {
			t.Fatal(err)
		}
		seen, count := 0, 0
		for v, q := range got {
			if q > 0 {
				seen, count = v, count+1
			}
		}
		if count == 1 {
			value[seen] += p
		} else {
			open += p
		}
	}
	return value, open
}

// probeEntropy is the change of expected entropy in nats when candidates that
// predict no value are taken as uniform over m values (de Kleer and Williams).
func probeEntropy(value []float64, open float64, m int) float64 {
	sum := open * math.Log(float64(m))
	for _, p := range value {
		if q := p + open/float64(m); q > 0 {
			sum += q * math.Log(q)
		}
	}
	return sum
}

// TestFourInverters: four inverters in series, each faulty with probability
// 0.01 and then with an output of 0 or 1 at random (de Kleer and Williams).
func TestFourInverters(t *testing.T) {
	pc := loadCase(t, "02_probabilistic_diagnosis.json", "four_inverters")
	var want struct {
		AllGood float64 `json:"prior_all_good"`
		Symptom float64 `json:"p_symptom"`
		Steps   []struct {
			Known    map[string]int
			Entropy  float64            `json:"entropy_nats"`
			PFaulty  map[string]float64 `json:"p_faulty"`
			Delta    map[string]float64 `json:"delta_entropy_nats"`
			BestNext string             `json:"best_probe"`
		}
	}
	decode(t, pc.Expected, &want)
	g, health, signal := inverters()
	prior, err := g.Joint(health, infer.Evidence{signal["a"]: 1})
	if err != nil || !close64(prior[0], want.AllGood, pc.Tolerance) {
		t.Errorf("prior all good %v, %v, want %v", prior[0], err, want.AllGood)
	}
	for _, step := range want.Steps {
		ev := infer.Evidence{}
		for s, v := range step.Known {
			ev[signal[s]] = v
		}
		now := entropy(t, g, health, ev)
		if !close64(now, step.Entropy, pc.Tolerance) {
			t.Errorf("known %v: entropy %.12g, want %.12g", step.Known, now, step.Entropy)
		}
		for i, n := range []string{"A", "B", "C", "D"} {
			p, err := g.Posterior(health[i], ev)
			if err != nil || !close64(p[1], step.PFaulty[n], pc.Tolerance) {
				t.Errorf("known %v: P(%s faulty) = %v, %v, want %.12g", step.Known, n, p, err, step.PFaulty[n])
			}
		}
		best, bestDelta := "", math.Inf(1)
		for _, s := range []string{"b", "c", "d", "e"} {
			w, asked := step.Delta[s]
			if !asked {
				continue
			}
			delta := expectedEntropy(t, g, health, ev, signal[s]) - now
			if !close64(delta, w, pc.Tolerance) {
				t.Errorf("known %v, probe %s: %.12g, want %.12g", step.Known, s, delta, w)
			}
			if delta < bestDelta-1e-12 {
				best, bestDelta = s, delta
			}
		}
		if best != step.BestNext {
			t.Errorf("known %v: best probe %s, want %s", step.Known, best, step.BestNext)
		}
	}
}

func inverters() (*infer.Graph, []infer.Var, map[string]infer.Var) {
	g := &infer.Graph{}
	signal := map[string]infer.Var{}
	for _, s := range []string{"a", "b", "c", "d", "e"} {
		signal[s] = g.Var(s, 2)
	}
	var health []infer.Var
	for i, n := range []string{"A", "B", "C", "D"} {
		h := g.Var(n, 2)
		g.Factor([]infer.Var{h}, []float64{0.99, 0.01})
		in, out := signal[string(rune('a'+i))], signal[string(rune('b'+i))]
		g.FactorFunc([]infer.Var{h, in, out}, func(s []int) float64 {
			switch {
			case s[0] == 1:
				return 0.5
			case s[2] == 1-s[1]:
				return 1
			}
			return 0
		})
		health = append(health, h)
	}
	return g, health, signal
}

// entropy of the joint distribution of vars in nats.
func entropy(t *testing.T, g *infer.Graph, vars []infer.Var, ev infer.Evidence) float64 {
	t.Helper()
	p, err := g.Joint(vars, ev)
	if err != nil {
		t.Fatal(err)
	}
	h := 0.0
	for _, q := range p {
		if q > 0 {
			h -= q * math.Log(q)
		}
	}
	return h
}

func expectedEntropy(t *testing.T, g *infer.Graph, vars []infer.Var, ev infer.Evidence, probe infer.Var) float64 {
	t.Helper()
	outcome, err := g.Posterior(probe, ev)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for v, p := range outcome {
		if p == 0 {
			continue
		}
		after := infer.Evidence{probe: v}
		for u, s := range ev {
			after[u] = s
		}
		sum += p * entropy(t, g, vars, after)
	}
	return sum
}

func TestRefusals(t *testing.T) {
	g, health, signal := inverters()
	// A working chain cannot turn 1 into 0 through two good inverters.
	ev := infer.Evidence{health[0]: 0, health[1]: 0, signal["a"]: 1, signal["c"]: 0}
	if _, err := g.Posterior(health[2], ev); !errors.Is(err, infer.ErrImpossible) {
		t.Errorf("impossible evidence gave %v", err)
	}
	if logP, err := g.LogEvidence(ev); err != nil || !math.IsInf(logP, -1) {
		t.Errorf("LogEvidence of impossible evidence = %v, %v, want -Inf", logP, err)
	}
	if _, err := g.Posterior(health[0], infer.Evidence{signal["a"]: 2}); err == nil {
		t.Error("state 2 of a two-state variable was accepted")
	}
	var big infer.Graph
	var vars []infer.Var
	for range 9 {
		vars = append(vars, big.Var("v", 10))
	}
	for i := range vars {
		for j := range i {
			big.FactorFunc([]infer.Var{vars[j], vars[i]}, func([]int) float64 { return 1 })
		}
	}
	if _, err := big.LogEvidence(nil); !errors.Is(err, infer.ErrTooLarge) {
		t.Errorf("a clique of 10^9 entries gave %v", err)
	}
}
