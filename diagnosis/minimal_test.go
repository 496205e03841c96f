package diagnosis

import (
	"context"
	"fmt"
	"strings"
	"testing"
)

// Every set that is said to clear or accuse a stage does so by itself, worked out anew
// from those observations alone, and none of it can be left out.
func TestClaimsHold(t *testing.T) {
	e, err := New(hexastrand(t), Options{})
	if err != nil {
		t.Fatal(err)
	}
	worked := dullTrack()
	worked.work(Work{Kind: WorkClean, Stage: "H", Key: "4"})
	worked.later("play", "4", Faulty, SymptomDull, Unprovoked)
	cases := map[string]Evidence{"dull track": dullTrack().ev, "two faults": twoFaults(), "long day": longDay(), "cleaned in vain": worked.ev}
	if testing.Short() {
		delete(cases, "two faults")
		delete(cases, "long day")
	}
	for name, ev := range cases {
		a, err := e.Advise(context.Background(), ev, Situation{})
		if err != nil {
			t.Fatal(err)
		}
		if len(a.Cleared) == 0 || len(a.Suspects) == 0 {
			t.Errorf("%s: %d cleared, %d suspects", name, len(a.Cleared), len(a.Suspects))
		}
		memo := map[string]map[[2]string]float64{}
		alone := func(refs []string) map[[2]string]float64 {
			key := ""
			for _, r := range refs {
				key += r + "\x00"
			}
			if memo[key] == nil {
				memo[key] = faultyBy(t, e, ev.only(refs))
			}
			return memo[key]
		}
		check := func(stage, track string, by []string, enough func(now, prior float64) bool) {
			in, ok := e.instance(stage, track)
			if !ok {
				t.Fatalf("%s: no stage %s %s", name, stage, track)
			}
			prior, at := e.atlas.prior[in], [2]string{stage, track}
			if now, seen := alone(by)[at]; !seen || !enough(now, prior) {
				t.Errorf("%s: %v are said to settle %s %s, alone they make it %.4f (prior %.4f)", name, by, stage, track, now, prior)
			}
			for i := range by {
				less := append(append([]string(nil), by[:i]...), by[i+1:]...)
				if now, seen := alone(less)[at]; len(less) > 0 && seen && enough(now*claimMargin*claimMargin, prior) && enough(now/claimMargin/claimMargin, prior) {
					t.Errorf("%s: of %v for %s %s, %s is not needed", name, by, stage, track, by[i])
				}
			}
		}
		// What a sentence says is what these observations and all of them come to: it
		// names each, and its figures are those worked out anew as advice does.
		says := func(stage, track string, by []string, why string, sentence func(prior, alone float64) string) {
			in, _ := e.instance(stage, track)
			for _, ref := range by {
				if !strings.Contains(why, ref+" (") {
					t.Errorf("%s: %q does not name %s", name, why, ref)
				}
			}
			if want := sentence(e.atlas.prior[in], shortSum(t, e, ev.only(by))[[2]string{stage, track}]); !strings.HasSuffix(why, want) {
				t.Errorf("%s: %q, worked out anew %q", name, why, want)
			}
		}
		whole := faultyBy(t, e, ev)
		for _, c := range a.Cleared {
			check(c.Stage, c.Track, c.By, clearedAt)
			says(c.Stage, c.Track, c.By, c.Why, func(prior, alone float64) string {
				return fmt.Sprintf("it from %s to %s.", percent(prior), percent(alone))
			})
		}
		for _, s := range a.Suspects {
			if len(s.By) > 0 {
				check(s.Stage, s.Track, s.By, suspectAt)
				says(s.Stage, s.Track, s.By, s.Why, func(_, alone float64) string {
					return fmt.Sprintf("it %s; with everything it is %s.", percent(alone), percent(whole[[2]string{s.Stage, s.Track}]))
				})
			}
		}
	}
}

// faultyBy is the probability of each stage of being faulty now, as a whole verdict on
// the evidence states it.
func faultyBy(t *testing.T, e *Engine, ev Evidence) map[[2]string]float64 {
	t.Helper()
	return faultyWithin(t, e, ev, fullWork)
}

// shortSum is the same by sums as short as advice takes for parts of the evidence.
func shortSum(t *testing.T, e *Engine, ev Evidence) map[[2]string]float64 {
	t.Helper()
	return faultyWithin(t, e, ev, reducedBudget)
}

func faultyWithin(t *testing.T, e *Engine, ev Evidence, budget float64) map[[2]string]float64 {
	t.Helper()
	p, err := e.build(ev)
	if err != nil {
		t.Fatal(err)
	}
	s := newSolver(p.model)
	s.budget = budget
	post, err := s.solve(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	out := map[[2]string]float64{}
	for c, in := range p.seen {
		out[[2]string{in.Stage.ID, in.Key}] = p.now(post, c)
	}
	return out
}
