package plan

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
)

// simulate draws a machine and follows a policy to the end: the cost it pays.
func simulate(m *Model, policy Policy, rng *rand.Rand) (cost float64, steps int) {
	draw := func(p func(int) float64, n int) int {
		x := rng.Float64()
		for i := range n {
			if x -= p(i); x < 0 {
				return i
			}
		}
		return n - 1
	}
	state := draw(func(i int) float64 { return m.prior[i] }, m.n)
	q := point{b: m.prior}
	for steps < 300 {
		a := policy(m.situation(q))
		if a == None {
			return cost + m.stuck, steps
		}
		steps++
		f := &m.acts[a]
		access, open := m.access(q.open, f.need, f.shut)
		cost += access + f.cost
		for _, mv := range f.from {
			if int(mv.state) == state {
				state = mv.to[draw(func(i int) float64 { return mv.to[i].P }, len(mv.to))].State
				break
			}
		}
		o := draw(func(o int) float64 { return f.chance(state, o) }, f.outcomes)
		if f.ends>>o&1 != 0 {
			return cost + m.endCost[state] + m.reassembly(open), steps
		}
		_, branches := m.step(q, int32(a))
		for _, br := range branches {
			if br.outcome == o {
				q = br.point
			}
		}
	}
	return cost + m.stuck, steps
}

// TestRankPaysOff follows policies through the same drawn machines of bench size: 36
// faults, wrong outcomes, nested covers. Looking ahead pays less than judging by the
// repairs alone, and both far less than going straight to the repairs. The means over
// the machines drawn here are logged.
func TestRankPaysOff(t *testing.T) {
	problems, runs := 2, 8
	if testing.Short() {
		problems, runs = 1, 5
	}
	sum := map[string]float64{}
	for p := range problems {
		m := ready(t, bench(rand.New(rand.NewPCG(1, uint64(p)+10)), 36, 64, 150, 6, 40, 12))
		for name, policy := range map[string]Policy{
			"rank": ranking(m, Options{}), "rank, fast": ranking(m, Options{Fast: true}),
			"repairs": m.Repairs(), "information": m.Information()} {
			for r := range runs {
				cost, _ := simulate(m, policy, rand.New(rand.NewPCG(7, uint64(r))))
				sum[name] += cost / float64(problems*runs)
			}
		}
	}
	for name, v := range sum {
		t.Logf("%s pays %.1f minutes, mean over %d machines (seeds 1, 10.. and 7, 0..)", name, v, problems*runs)
	}
	if sum["rank"] > 0.5*sum["repairs"] || sum["rank"] > 0.9*sum["information"] {
		t.Errorf("rank pays %.1f minutes, straight to the repairs %.1f, information per cost %.1f",
			sum["rank"], sum["repairs"], sum["information"])
	}
}

// TestRankKeepsItsWord: what the ranking expects is what following it costs, on average:
// within three standard errors of the mean over drawn machines, or less.
func TestRankKeepsItsWord(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	m := ready(t, bench(rng, 6, 10, 12, 3, 8, 4))
	r, err := m.Rank(context.Background(), Situation{}, Options{NoExact: true})
	if err != nil {
		t.Fatal(err)
	}
	n, sum, square := 100.0, 0.0, 0.0
	if testing.Short() {
		n = 30
	}
	policy := ranking(m, Options{NoExact: true})
	for i := range int(n) {
		c, _ := simulate(m, policy, rand.New(rand.NewPCG(8, uint64(i))))
		sum, square = sum+c, square+c*c
	}
	mean := sum / n
	se := math.Sqrt((square/n - mean*mean) / n)
	t.Logf("expects %.1f minutes, pays %.1f ± %.1f (one standard error, %v machines)", r.Cost, mean, se, n)
	if mean > r.Cost+3*se {
		t.Errorf("expects %.1f minutes, pays %.1f ± %.1f", r.Cost, mean, se)
	}
}
