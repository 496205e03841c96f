package diagnosis

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// published reads one case of a file of published problems; each names its
// sources. "expected" was found by plain enumeration outside this project.
func published(t *testing.T, file, id string, inputs, expected any) (tolerance float64) {
	t.Helper()
	data, err := os.ReadFile("testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	var cases []struct {
		ID               string
		Inputs, Expected json.RawMessage
		Tolerance        float64
	}
	if err := json.Unmarshal(data, &cases); err != nil {
		t.Fatal(err)
	}
	for _, c := range cases {
		if c.ID != id {
			continue
		}
		if err := json.Unmarshal(c.Inputs, inputs); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(c.Expected, expected); err != nil {
			t.Fatal(err)
		}
		return c.Tolerance
	}
	t.Fatalf("no case %q in %s", id, file)
	return 0
}

// inverterChain is four inverters in series with the input held at 1. Each is
// faulty with probability 0.01 and then stuck at 0 or 1 with equal weight. In
// the model a signal is 0 dB when it has the value that a sound chain gives
// and −1 dB when it has the other: a stuck stage sets it to one or the other,
// and sound inverters after it carry "right" and "wrong" on unchanged.
func inverterChain(known map[string]int) *model {
	m := &model{maxFaults: 4, scopes: []scopeDef{{"chain", -1}}}
	for range 4 {
		right, wrong := effect{set: true, presence: 1}, effect{set: true, presence: 1}
		wrong.db[qLevel] = -1
		m.components = append(m.components, component{prior: 0.01, atoms: []atom{{0, 0.5, right}, {0, 0.5, wrong}}})
	}
	for _, signal := range []string{"a", "b", "c", "d", "e"} {
		if v, ok := known[signal]; ok {
			m.obs = append(m.obs, probe(signal, v))
		}
	}
	return m
}

// soundValue is the value at a signal of a sound chain with 1 at its input.
func soundValue(signal string) int { return 1 - int(signal[0]-'a')%2 }

func probe(signal string, value int) *observation {
	o := &observation{ref: signal, fam: -1, states: 1, space: newSpace(scalar(0, 0))}
	for i := range int(signal[0] - 'a') {
		o.path = append(o.path, i)
	}
	o.like = func(arrive []total, _ float64, out []float64) {
		out[0] = 0
		for _, t := range arrive {
			if (t.db[qLevel] == 0) == (value == soundValue(signal)) {
				out[0] += t.p
			}
		}
	}
	return o
}

// faultEntropy is the entropy in nats over the 16 sets of faulty inverters.
func faultEntropy(t *testing.T, p *posterior) float64 {
	t.Helper()
	h := 0.0
	for _, q := range p.faultSets() {
		if q > 0 {
			h -= q * math.Log(q)
		}
	}
	return h
}

// TestFourInverters: the engine, with faults that set the signal instead of
// adding to it, on the four inverters of de Kleer and Williams, Artificial
// Intelligence 32(1), 1987.
func TestFourInverters(t *testing.T) {
	var in struct {
		PFail float64 `json:"p_fail"`
	}
	var want struct {
		Symptom float64 `json:"p_symptom"`
		AllGood float64 `json:"prior_all_good"`
		Steps   []struct {
			Known   map[string]int
			Entropy float64            `json:"entropy_nats"`
			PFaulty map[string]float64 `json:"p_faulty"`
			Delta   map[string]float64 `json:"delta_entropy_nats"`
			Best    string             `json:"best_probe"`
		}
	}
	tol := published(t, "02_probabilistic_diagnosis.json", "four_inverters", &in, &want)
	for _, step := range want.Steps {
		now := solveChain(t, step.Known)
		h := faultEntropy(t, now)
		if math.Abs(h-step.Entropy) > tol {
			t.Errorf("known %v: entropy %.12g, want %.12g", step.Known, h, step.Entropy)
		}
		for i, name := range []string{"A", "B", "C", "D"} {
			if got := now.faulty(i); math.Abs(got-step.PFaulty[name]) > tol {
				t.Errorf("known %v: P(%s) = %.12g, want %.12g", step.Known, name, got, step.PFaulty[name])
			}
		}
		best, bestDelta := "", math.Inf(1)
		for _, signal := range []string{"b", "c", "d", "e"} {
			w, asked := step.Delta[signal]
			if !asked {
				continue
			}
			delta := -h
			for v := range 2 {
				after := map[string]int{signal: v}
				for s, x := range step.Known {
					after[s] = x
				}
				p, err := solve(inverterChain(after))
				if err != nil {
					continue // this outcome cannot happen
				}
				delta += math.Exp(p.logEvidence()-now.logEvidence()) * faultEntropy(t, p)
			}
			if math.Abs(delta-w) > tol {
				t.Errorf("known %v, probe %s: entropy changes by %.12g, want %.12g", step.Known, signal, delta, w)
			}
			if delta < bestDelta-1e-12 {
				best, bestDelta = signal, delta
			}
		}
		if best != step.Best {
			t.Errorf("known %v: best probe %s, want %s", step.Known, best, step.Best)
		}
	}
	if p := math.Exp(solveChain(t, map[string]int{"a": 1, "e": 0}).logEvidence()); math.Abs(p-want.Symptom) > tol {
		t.Errorf("P(symptom) = %.12g, want %.12g", p, want.Symptom)
	}
	if p := solveChain(t, nil).faultFree(); math.Abs(p-want.AllGood) > tol {
		t.Errorf("prior of all good = %.12g, want %.12g", p, want.AllGood)
	}
}

func solveChain(t *testing.T, known map[string]int) *posterior {
	t.Helper()
	p, err := solve(inverterChain(known))
	if err != nil {
		t.Fatal(err)
	}
	return p
}
