package diagnosis

import (
	"context"
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
		for _, c := range a.Cleared {
			check(c.Stage, c.Track, c.By, clearedAt)
		}
		for _, s := range a.Suspects {
			if len(s.By) > 0 {
				check(s.Stage, s.Track, s.By, suspectAt)
			}
		}
	}
}

// faultyBy is the probability of each stage of being faulty now, as a whole verdict on
// the evidence states it.
func faultyBy(t *testing.T, e *Engine, ev Evidence) map[[2]string]float64 {
	t.Helper()
	p, err := e.build(ev)
	if err != nil {
		t.Fatal(err)
	}
	post, err := solve(p.model)
	if err != nil {
		t.Fatal(err)
	}
	out := map[[2]string]float64{}
	for c, in := range p.seen {
		out[[2]string{in.Stage.ID, in.Key}] = p.now(post, c)
	}
	return out
}
