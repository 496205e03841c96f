package infer_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"headstack/infer"
)

// randomGraph is a graph and the same factors in plain form.
type randomGraph struct {
	g       infer.Graph
	states  []int
	scopes  [][]infer.Var
	weights [][]float64
}

func drawGraph(t *rapid.T) *randomGraph {
	r := &randomGraph{}
	n := rapid.IntRange(1, 7).Draw(t, "variables")
	for range n {
		s := rapid.IntRange(1, 3).Draw(t, "states")
		r.g.Var("v", s)
		r.states = append(r.states, s)
	}
	for range rapid.IntRange(0, 8).Draw(t, "factors") {
		scope := rapid.SliceOfNDistinct(rapid.IntRange(0, n-1), 1, min(3, n), rapid.ID).Draw(t, "scope")
		var vars []infer.Var
		size := 1
		for _, v := range scope {
			vars = append(vars, infer.Var(v))
			size *= r.states[v]
		}
		w := rapid.SliceOfN(rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(1e-6, 10)), size, size).Draw(t, "weights")
		r.g.Factor(vars, w)
		r.scopes, r.weights = append(r.scopes, vars), append(r.weights, w)
	}
	return r
}

// each visits every full assignment that agrees with the evidence.
func (r *randomGraph) each(ev infer.Evidence, visit func(state []int, weight float64)) {
	state := make([]int, len(r.states))
	var rec func(v int)
	rec = func(v int) {
		if v == len(state) {
			visit(state, r.weight(state))
			return
		}
		for s := range r.states[v] {
			if want, fixed := ev[infer.Var(v)]; fixed && want != s {
				continue
			}
			state[v] = s
			rec(v + 1)
		}
	}
	rec(0)
}

func (r *randomGraph) weight(state []int) float64 {
	p := 1.0
	for i, scope := range r.scopes {
		at := 0
		for _, v := range scope {
			at = at*r.states[v] + state[v]
		}
		p *= r.weights[i][at]
	}
	return p
}

// TestEliminationIsEnumeration: on random graphs with random evidence the
// evidence weight, every posterior and a joint of two equal plain enumeration.
func TestEliminationIsEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawGraph(t)
		ev := infer.Evidence{}
		for v, s := range r.states {
			if rapid.IntRange(0, 3).Draw(t, "fixed") == 0 {
				ev[infer.Var(v)] = rapid.IntRange(0, s-1).Draw(t, "state")
			}
		}
		a := infer.Var(rapid.IntRange(0, len(r.states)-1).Draw(t, "a"))
		b := infer.Var(rapid.IntRange(0, len(r.states)-1).Draw(t, "b"))
		query := []infer.Var{a}
		if b != a {
			query = append(query, b)
		}
		total := 0.0
		joint := make([]float64, r.size(query))
		r.each(ev, func(state []int, w float64) {
			total += w
			at := 0
			for _, v := range query {
				at = at*r.states[v] + state[v]
			}
			joint[at] += w
		})
		logP, err := r.g.LogEvidence(ev)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(math.Exp(logP)-total) > 1e-12*math.Max(1e-300, total) {
			t.Fatalf("evidence weight %v, enumeration %v", math.Exp(logP), total)
		}
		got, err := r.g.Joint(query, ev)
		if total == 0 {
			if err == nil {
				t.Fatalf("impossible evidence gave %v", got)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		for i := range joint {
			if math.Abs(got[i]-joint[i]/total) > 1e-12 {
				t.Fatalf("joint %v, entry %d = %v, enumeration %v", query, i, got[i], joint[i]/total)
			}
		}
	})
}

func (r *randomGraph) size(vars []infer.Var) int {
	n := 1
	for _, v := range vars {
		n *= r.states[v]
	}
	return n
}

// TestManyTinyFactors: 20 000 factors of 1e-30 are far below the smallest
// float64, yet posterior and log weight are right.
func TestManyTinyFactors(t *testing.T) {
	var g infer.Graph
	v := g.Var("v", 2)
	const n = 20000
	for range n {
		g.Factor([]infer.Var{v}, []float64{1e-30, 1e-30})
	}
	g.Factor([]infer.Var{v}, []float64{1, 3})
	p, err := g.Posterior(v, nil)
	if err != nil || math.Abs(p[1]-0.75) > 1e-12 {
		t.Errorf("posterior %v, %v, want 0.75", p, err)
	}
	logP, err := g.LogEvidence(nil)
	want := n*math.Log(1e-30) + math.Log(4)
	if err != nil || math.Abs(logP-want) > 1e-9*math.Abs(want) {
		t.Errorf("log weight %v, %v, want %v", logP, err, want)
	}
}

// BenchmarkChain asks for the posterior at the end of a chain of 40 stages
// with 5 states, as long as a signal path.
func BenchmarkChain(b *testing.B) {
	var g infer.Graph
	last := g.Var("0", 5)
	for range 40 {
		v := g.Var("v", 5)
		g.FactorFunc([]infer.Var{last, v}, func(s []int) float64 { return 1 / float64(1+s[0]+s[1]) })
		last = v
	}
	n := 0
	for b.Loop() {
		if _, err := g.Posterior(last, nil); err != nil {
			b.Fatal(err)
		}
		n++
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "posteriors/s")
}
