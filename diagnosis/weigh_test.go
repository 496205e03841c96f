package diagnosis

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/machine"
)

// What is read from one sum is what verdict and advice, summed by themselves, say: to the
// last bit, in whatever order it is asked for, and by several at once.
func TestOneSumServesVerdictAndAdvice(t *testing.T) {
	octogrange, ok := machine.Builtin("octogrange")
	if !ok {
		t.Fatal("no built-in definition octogrange")
	}
	few, small := &bench{}, smallRecorder()
	few.check("play", "1", Faulty, SymptomWeak)
	few.check("play", "2", Works, "")
	for name, c := range map[string]struct {
		def *machine.Definition
		ev  Evidence
	}{
		"full sum": {small, few.ev},
		"messages": {octogrange, weakTrack(octogrange)},
	} {
		t.Run(name, func(t *testing.T) {
			e, err := New(c.def, Options{})
			if err != nil {
				t.Fatal(err)
			}
			p, err := e.build(c.ev)
			if err != nil {
				t.Fatal(err)
			}
			post, err := solve(p.model)
			if err != nil {
				t.Fatal(err)
			}
			if (post.net != nil) != (name == "messages") {
				t.Fatalf("the sum is not by %s", name)
			}
			now := Situation{}
			if len(c.def.Openings) > 0 {
				now.Open = []string{c.def.Openings[0].ID}
			}
			// Each by itself, on a posterior that nothing else has touched.
			verdict, err := e.Diagnose(c.ev)
			if err != nil {
				t.Fatal(err)
			}
			advice, err := e.Advise(t.Context(), c.ev, now)
			if err != nil {
				t.Fatal(err)
			}
			plain, err := e.advise(t.Context(), p, post, accuse(p, post), now)
			if err != nil {
				t.Fatal(err)
			}
			if len(advice.Actions) == 0 || len(advice.Suspects) == 0 || len(verdict.Explanations) == 0 {
				t.Fatal("nothing is said of it")
			}
			marks := *verdict
			marks.Sentences, marks.Explanations, marks.Next, marks.WrongFix = nil, nil, nil, 0

			ended, end := context.WithCancel(t.Context())
			w, err := e.Weigh(ended, c.ev)
			if err != nil {
				t.Fatal(err)
			}
			end() // whoever asked first has gone: the sum serves others
			same := func(what string, want, got any, err error) {
				if err != nil {
					t.Errorf("%s: %v", what, err)
				} else if diff := cmp.Diff(want, got); diff != "" {
					t.Errorf("%s (-by itself +shared):\n%s", what, diff)
				}
			}
			var wg sync.WaitGroup
			for range 2 {
				wg.Go(func() {
					got, err := w.Verdict(t.Context())
					same("verdict", verdict, got, err)
				})
				wg.Go(func() {
					got, err := w.Marks(t.Context())
					same("marks", &marks, got, err)
				})
				wg.Go(func() {
					quick, err := w.Next(t.Context(), now)
					same("next", plain, quick, err)
					got, err := w.Reasons(t.Context(), quick)
					same("advice", advice, got, err)
					same("next after its reasons", plain, quick, err)
				})
			}
			wg.Wait()
			if _, err := w.Verdict(ended); !errors.Is(err, context.Canceled) {
				t.Errorf("a verdict that nobody waits for: %v", err)
			}
			if _, err := w.Reasons(ended, plain); !errors.Is(err, context.Canceled) {
				t.Errorf("reasons that nobody waits for: %v", err)
			}
		})
	}
}

// weakTrack is a recorder of which one track plays weak, read beside two others.
func weakTrack(def *machine.Definition) Evidence {
	b := &bench{}
	b.check("play", "3", Faulty, SymptomWeak)
	b.check("play", "4", Works, "")
	for t := range def.TestPoints {
		tp := &def.TestPoints[t]
		for i, k := range []string{"3", "4"} {
			path, err := def.TestPointPath(tp, k)
			if want := def.Expected(tp, k); err == nil && len(path) > 0 && tp.Each != "" && want.Known && t < 6 {
				b.read(tp.ID, k, want.Value*(1+0.02*float64(t%3)-0.7*float64((1-i)*btoi(t > 2))), 0)
			}
		}
	}
	return b.ev
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// That no few observations suffice is said only where they were tried.
func TestWhatWasNotTriedIsNotDenied(t *testing.T) {
	e, err := New(hexastrand(t), Options{})
	if err != nil {
		t.Fatal(err)
	}
	ev := dullTrack().ev
	w, err := e.Weigh(t.Context(), ev)
	if err != nil {
		t.Fatal(err)
	}
	all := w.leftOut()
	a, err := w.Next(t.Context(), Situation{})
	if err != nil || len(a.Suspects) == 0 {
		t.Fatalf("%d suspects, %v", len(a.Suspects), err)
	}
	s := a.Suspects[0]
	in, c := w.p.find(s.Stage, s.Track)
	refs := w.p.bearing(c, s.Probability, all, 1)
	never := func(_, _ float64) bool { return false }
	r := w.p.reduce(t.Context(), ev)
	if by, tried := r.smallest(in, refs, never); by != nil || !tried {
		t.Errorf("all tried: %v, tried %v", by, tried)
	}
	for left := range maxBy {
		r := w.p.reduce(t.Context(), ev)
		r.left = left
		by, tried := r.smallest(in, refs, never)
		if want := left >= min(maxBy, len(refs)); by != nil || tried != want {
			t.Errorf("%d parts may be weighed for %d: %v, tried %v", left, min(maxBy, len(refs)), by, tried)
		}
		if said := strings.Contains(together(&s, tried), "no few observations suffice"); said != tried {
			t.Errorf("%d parts weighed: said %v", left, said)
		}
	}
}
