package main

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/job/memory"
	"headstack/machine"
)

// someAdvice fills every list.
func someAdvice() *diagnosis.Advice {
	a := &diagnosis.Advice{
		Suspects: []diagnosis.SuspectStage{{Stage: "C31", Track: "a", Mode: machine.Weak, Probability: 0.74, Part: "C31-a", Cause: "dried out", Why: "reading 2 is 11 dB low"}},
		Recheck:  []diagnosis.Recheck{{Reading: "reading 5", ProbabilityWrong: 0.97, Why: "its siblings read a thousandth", How: "take it with the range fixed"}},
		Actions: []diagnosis.Step{{ID: "a", Kind: diagnosis.StepReading, Text: "Read TP21-a.", Minutes: 12.2, GainMinutes: 9.4, Opening: "lid", Open: []string{"lid", "squeeze"}, Close: []string{"door"},
			TestPoint: "TP21", Key: "a", Where: "Squeeze (base)", Expect: "1.1 V ±1 dB", Why: "it parts C31-a from X1-a", Cautions: []string{"Pull the plug first."},
			Predicts: []diagnosis.Prediction{{Outcome: "about 0.31 V", Probability: 0.8}, {Outcome: "about 1.1 V", Probability: 0.2}}}},
		Stop:     diagnosis.Stop{WrongFixProbability: 0.21, Reason: "A reading saves more than it takes.", Lowers: "TP21-a (12 min)"},
		Unproven: []diagnosis.Unproven{{Work: "work 1", Symptom: "dull on track 3", Returns: 0.4, Asks: []string{"press RY1-3 while it plays"}}},
		Minutes:  41, PFaultFree: 0.01, MassLeftOut: 0.004,
	}
	for i := range 9 {
		a.Actions = append(a.Actions, diagnosis.Step{ID: fmt.Sprint(i), Text: fmt.Sprintf("Try record on track %d.", i), Minutes: 3, GainMinutes: float64(-i), Cautions: []string{"Hands off what turns."}})
		a.Suspects = append(a.Suspects, diagnosis.SuspectStage{Stage: "X", Track: fmt.Sprint(i), Part: fmt.Sprintf("X-%d", i), Probability: 0.02, Mode: machine.Dead})
	}
	for i := range 100 {
		a.Cleared = append(a.Cleared, diagnosis.ClearedStage{Stage: "H", Part: fmt.Sprintf("H-%d", i), By: []string{fmt.Sprintf("check %d", i%9)}})
	}
	return a
}

func TestAdviceFitsAScreen(t *testing.T) {
	b := job.NewBench(new(memory.Record), new(memory.Files), job.BenchOptions{})
	j, err := b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand", Serial: "7"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Record(t.Context(), j.ID, job.Entry{Opening: &job.Opening{Opening: "lid"}}); err != nil {
		t.Fatal(err)
	}
	view, err := b.View(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	printAdvice(&out, view, someAdvice(), false)
	text := strings.NewReplacer("\u2009", " ", "\u00a0", " ").Replace(out.String())
	at := 0
	for _, want := range []string{ // in this order
		"job-0001: Quernmoor Hexastrand, serial 7; open now: lid",
		"◆ reading 5, 97 % likely wrong: its siblings", "how: take it with the range fixed",
		"Next, of about 41 min to a verified fix", "▶ Read TP21-a. (13 min, saves 9 min)", "caution: Pull the plug first.", "put back first: door", "open: lid, squeeze",
		"where: Squeeze (base)", "state: ", "with: ", "expect: 1.1 V ±1 dB", "will be: about 0.31 V 80 %; about 1.1 V 20 %", "why: it parts",
		"Try record on track 0. (3 min, saves nothing)", "costs 1 min more", "6 more; headstack next --all has their cautions",
		"▲ C31-a 74 %, weak, dried out", "reading 2 is 11 dB low", "... 5 more",
		"Proved good: 100 stages", "■ by check 0: H-0  H-9  H-18", "... 4 more", "... by 4 other sets of observations",
		"◨ dull on track 3 gone after work 1; comes back with 40 %", "would prove it: press RY1-3",
		"Not yet: A reading saves more than it takes. Chance of a wrong fix: 21 %. What lowers it: TP21-a (12 min).", "Nothing wrong that matters: 1 %",
	} {
		i := strings.Index(text[at:], want)
		if i < 0 {
			t.Fatalf("%q is missing, or out of order, in\n%s", want, text)
		}
		at += i
	}
	// A terminal of 50 lines holds it; nothing that is not first says what could hurt.
	if n := strings.Count(text, "\n"); n > 50 {
		t.Errorf("%d lines", n)
	}
	out.Reset()
	printAdvice(&out, view, someAdvice(), true)
	if got := strings.Count(out.String(), "caution: Hands off what turns."); got != 9 {
		t.Errorf("with --all %d of 9 further actions show their caution", got)
	}
	out.Reset()
	printAdvice(&out, view, &diagnosis.Advice{Stop: diagnosis.Stop{Reached: true, Reason: "Nothing is left to find."}}, false)
	if s := out.String(); !strings.Contains(s, "Stop: Nothing is left to find.") || !strings.Contains(s, "nothing that would shorten the work") || strings.Contains(s, "Suspect") {
		t.Errorf("of nothing:\n%s", s)
	}
}
