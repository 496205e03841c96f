package teardown_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"

	"headstack/machine"
	"headstack/teardown"
	"headstack/unit"
)

// busy are n tasks as a job brings them: fixes behind every opening, line-up with the
// power on after them, closed tests before and after, and optional work.
func busy(rng *rand.Rand, def *machine.Definition, n int) []teardown.Task {
	var spots []string
	for _, o := range def.Openings {
		for _, k := range def.ReplicaKeys(o.Each) {
			if k == "" {
				spots = append(spots, o.ID)
			} else {
				spots = append(spots, o.ID+"/"+k)
			}
		}
	}
	var tasks []teardown.Task
	for i := range n {
		t := teardown.Task{ID: fmt.Sprint("t", i), Text: "work", Minutes: unit.Minutes(2 + rng.IntN(30))}
		at := spots[rng.IntN(len(spots))]
		switch x := rng.IntN(10); {
		case x < 5:
			t.Kind, t.Needs, t.Power = teardown.Fix, []string{at}, teardown.Off
		case x < 7:
			trim := def.Trims[rng.IntN(len(def.Trims))]
			key := def.ReplicaKeys(trim.Each)[0]
			t.Kind, t.Power = teardown.LineUp, teardown.On
			o, _ := def.Opening(trim.Opening)
			t.Needs = []string{trim.Opening}
			if o.Each != "" {
				t.Needs[0] += "/" + key
			}
			t.Function, t.Key = "play", "1"
		case x < 8:
			t.Kind, t.Power, t.Case, t.Function, t.Key = teardown.Test, teardown.On, "closed", "record-play", fmt.Sprint(1+rng.IntN(def.Tracks.Count))
		default:
			t.Kind, t.Needs, t.Optional, t.Chance = teardown.Preventive, []string{at}, true, rng.Float64()/2
		}
		for range rng.IntN(3) {
			if i > 0 && !t.Optional && rng.IntN(2) == 0 {
				if b := rng.IntN(i); !tasks[b].Optional {
					t.Follows = append(t.Follows, tasks[b].ID)
				}
			}
		}
		tasks = append(tasks, t)
	}
	return tasks
}

func benchmark(b *testing.B, def *machine.Definition, tasks []teardown.Task) {
	var plan *teardown.Plan
	for b.Loop() {
		p, err := teardown.New(def, tasks, teardown.Options{})
		if err != nil {
			b.Fatal(err)
		}
		if plan, err = p.Plan(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(plan.Looked), "situations")
	b.ReportMetric(float64(plan.Openings), "openings")
	b.ReportMetric(float64(plan.Expected-plan.LeastMinutes), "min-unproved")
}

func BenchmarkPlan40(b *testing.B) {
	for _, id := range machine.BuiltinNames() {
		def, _ := machine.Builtin(id)
		for seed := range uint64(6) {
			b.Run(fmt.Sprintf("%s/%d", id, seed), func(b *testing.B) {
				benchmark(b, def, busy(rand.New(rand.NewPCG(seed, 3)), def, 40))
			})
		}
	}
}

// Eight cards, each with a part to change, two trims to set after it on the extender, a
// check with the bay shut, and new capacitors for whoever thinks that worth it.
func BenchmarkEightCards(b *testing.B) {
	def, _ := machine.Builtin("octogrange")
	var tasks []teardown.Task
	for _, k := range def.ReplicaKeys("track") {
		card := []string{"extender/" + k}
		tasks = append(tasks,
			teardown.Task{ID: "part " + k, Kind: teardown.Fix, Needs: card, Power: teardown.Off, Minutes: 15},
			teardown.Task{ID: "level " + k, Kind: teardown.LineUp, Needs: card, Power: teardown.On, Function: "play", Key: k, Minutes: 4, Follows: []string{"part " + k}},
			teardown.Task{ID: "bias " + k, Kind: teardown.LineUp, Needs: card, Power: teardown.On, Function: "bias", Key: k, Minutes: 6, Follows: []string{"level " + k}},
			teardown.Task{ID: "check " + k, Kind: teardown.Test, Case: "closed", Power: teardown.On, Function: "record-play", Key: k, Minutes: 1, Follows: []string{"bias " + k}},
			teardown.Task{ID: "capacitors " + k, Kind: teardown.Preventive, Needs: card, Power: teardown.Off, Minutes: 12, Optional: true, Chance: 0.4})
	}
	benchmark(b, def, tasks)
}
