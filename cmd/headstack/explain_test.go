package main

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"headstack/job"
	"headstack/signature"
)

//go:embed testdata/explanation.json
var explanationJSON []byte

func explained(t *testing.T) job.Explained {
	t.Helper()
	x := job.Explained{Captures: []job.Entry{{Ref: "capture 1"}}}
	if err := json.Unmarshal(explanationJSON, &x.Explanation); err != nil {
		t.Fatal(err)
	}
	return x
}

func TestExplanationIsPrintedForAPerson(t *testing.T) {
	var b bytes.Buffer
	printExplained(&b, explained(t))
	for _, want := range []string{
		"What the losses on capture 1 say\n",
		"1. 97\u2009%, very likely: uneven spacing, tracks 4 to 6 (◧ mechanical)\n   Tracks 4 to 6 lose treble",
		"   spacing of track 4: 0.310\u2009±0.050\u2009µm\n",
		"   what would tell: Press the shell lightly",
		"   caution: Before you press",
		"3. 91\u2009%, very likely: low corner, track 2 (◇ electrical)",
		"   caution: Inside the recorder: pull the plug first",
		"Not told apart by these tones\n  ○ Spacing and gap",
		"Set aside, not used\n  ✕ Track 1 at 6.3 kHz",
		"doubt: The tape states its tones",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
	if n := strings.Count(b.String(), "\n1      9 "); n != 1 { // ten tones, one set aside
		t.Errorf("the line of track 1 is not there or has other than 9 tones:\n%s", b.String())
	}
	if strings.Contains(b.String(), "Sound:") {
		t.Error("it is called sound")
	}
}

func TestASoundCaptureSaysSo(t *testing.T) {
	x := job.Explained{Captures: []job.Entry{{Ref: "capture 1"}}, Explanation: signature.Explanation{
		Findings: []signature.Finding{{Cause: signature.None, Probability: 0.97, Sentence: "All tracks play as sound ones do."}}}}
	var b bytes.Buffer
	printExplained(&b, x)
	if !strings.Contains(b.String(), "Sound: no loss beyond") || !strings.Contains(b.String(), "All tracks play as sound ones do.") {
		t.Error(b.String())
	}
	if err := standing([]job.Explained{x}); err != nil {
		t.Errorf("exit code of a sound capture: %v", err)
	}
}

func TestExitCodesOfExplanations(t *testing.T) {
	silent := job.Explained{Captures: []job.Entry{{Ref: "capture 2"}}, Unexplained: "no tone was measured"}
	code := func(found ...job.Explained) int {
		var f *fault
		if errors.As(standing(found), &f) {
			return f.code
		}
		return exitDone
	}
	if c := code(explained(t)); c != exitNotInOrder {
		t.Errorf("faults: %d", c)
	}
	if c := code(silent); c != exitNoJudge {
		t.Errorf("nothing told: %d", c)
	}
	if c := code(silent, explained(t)); c != exitNotInOrder {
		t.Errorf("one of two told: %d", c)
	}
	weak := explained(t)
	weak.Explanation.Findings = weak.Explanation.Findings[3:] // 43 %
	if c := code(weak); c != exitDone {
		t.Errorf("less likely than not: %d", c)
	}
}

func TestJSONIsTheExplanationAlone(t *testing.T) {
	var out bytes.Buffer
	x := explained(t)
	v := explainVerb{JSON: true}
	_ = v.say(&env{out: &out, err: &out}, []job.Explained{x})
	var got signature.Explanation
	dec := json.NewDecoder(&out)
	dec.DisallowUnknownFields()
	if err := dec.Decode(&got); err != nil || len(got.Findings) != 4 || len(got.Curves) != 6 {
		t.Errorf("%v, %+v", err, got)
	}
	if err := v.say(&env{out: &out, err: &out}, []job.Explained{x, x}); err == nil || !strings.Contains(err.Error(), "name one of") {
		t.Errorf("two conditions as one JSON object: %v", err)
	}
}
