package lineup_test

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
)

// every step stands on one page, after all that it needs.
func TestSheetHoldsEveryStepInOrder(t *testing.T) {
	for _, c := range []struct {
		name    string
		hearing lineup.Hearing
		pages   int
	}{{"hexastrand", lineup.Hearing{AtOnce: 2, Bus: true}, 13}, {"octogrange", lineup.Hearing{AtOnce: 8}, 12}, {"octogrange", lineup.Hearing{AtOnce: 2}, 24}} {
		o, d, tapes := bench(t, c.name)
		s, err := o.Sheet(lineup.SheetOptions{Setup: lineup.Setup{Tapes: tapes}, Hearing: c.hearing})
		if err != nil {
			t.Fatal(err)
		}
		at, n := map[string]int{}, 0
		for i, p := range s.Pages {
			if p.Number != i+1 || p.Title == "" || len(p.Rows) == 0 {
				t.Errorf("page %+v", p)
			}
			for _, r := range p.Rows {
				n++
				at[r.Step] = n
				st, ok := o.Step(r.Step)
				if !ok {
					t.Fatalf("row of no step: %s", r.Step)
				}
				for _, need := range st.Needs {
					if at[need.Step] == 0 {
						t.Errorf("%s: page %d: %s stands before %s", c.name, p.Number, r.Step, need.Step)
					}
				}
				if r.What == "" || r.Target == "" || r.Before != "" || r.After != "" || st.Trim != "" && (r.Part == "" || r.Turn == "" || r.Reach == "") {
					t.Errorf("%+v", r)
				}
				if st.Trim != "" && len(st.Cautions) > 0 && len(r.Cautions) != len(st.Cautions) {
					t.Errorf("%s has %d cautions, its row %v", r.Step, len(st.Cautions), r.Cautions)
				}
				for _, k := range r.Cautions {
					if k < 1 || k > len(p.Cautions) {
						t.Errorf("%s: caution %d of %d", r.Step, k, len(p.Cautions))
					}
				}
				if t2 := r.Target == "—"; t2 && !r.Box && r.Note == "" {
					t.Errorf("%s has no target and does not say why", r.Step)
				}
			}
		}
		if len(at) != len(o.Steps) || n != len(o.Steps) {
			t.Errorf("%s: %d rows, %d steps", c.name, n, len(o.Steps))
		}
		if len(s.Cautions) < 4 || s.Reference == "" || len(s.Tapes) == 0 || s.Machine != d.ID {
			t.Errorf("%+v", s)
		}
		if len(s.Pages) != c.pages {
			for _, p := range s.Pages {
				t.Log(p.Number, p.Title, len(p.Rows), p.How)
			}
			t.Errorf("%s: %d pages, want %d", c.name, len(s.Pages), c.pages)
		}
	}
}

func TestTapePasses(t *testing.T) {
	for _, c := range []struct {
		name string
		h    lineup.Hearing
		want map[lineup.Stage]int
	}{
		// Six over a bus: n for azimuth, corrected, in each of set, again and proof.
		{"hexastrand", lineup.Hearing{AtOnce: 2, Bus: true}, map[lineup.Stage]int{lineup.StageSet: 6, lineup.StageAgain: 6, lineup.StageProof: 6}},
		// Eight sockets on eight inputs: one for each stage and speed.
		{"octogrange", lineup.Hearing{AtOnce: 8}, map[lineup.Stage]int{lineup.StageSet: 2, lineup.StageAgain: 2, lineup.StageSync: 2, lineup.StageProof: 2}},
	} {
		o, _, _ := bench(t, c.name)
		passes, err := o.TapePasses(c.h)
		if err != nil {
			t.Fatal(err)
		}
		got := map[lineup.Stage]int{}
		read := map[string]bool{}
		for _, p := range passes {
			got[p.Stage]++
			for _, s := range p.Steps {
				read[s] = true
			}
			if !slices.Contains(p.After, "scrap_run") || !slices.Contains(p.After, "demagnetiser_away") || len(p.Steps) == 0 {
				t.Errorf("%+v", p)
			}
		}
		for k, n := range c.want {
			if got[k] != n {
				t.Errorf("%s %s: %d passes, want %d", c.name, k, got[k], n)
			}
		}
		for _, s := range o.Steps {
			if s.Source.Carrier == lineup.TestTape && !s.OnEvidence && !read[s.ID] {
				t.Errorf("%s: no pass reads %s", c.name, s.ID)
			}
		}
	}
}

// proofLog measures every proof step as found, works through the order, and leaves track
// 2 of the play level off by so much.
func proofLog(t *testing.T, o *lineup.Order, d *machine.Definition, off float64) []lineup.Event {
	var log []lineup.Event
	for _, s := range o.Steps {
		if s.Kind.Proof() {
			r, tg := reading(3)
			log = append(log, lineup.Event{Kind: lineup.Measured, Step: s.ID, Result: r, Target: tg})
		}
	}
	log = finish(t, o, d, log)
	r, tg := reading(off)
	return append(log, lineup.Event{Kind: lineup.Measured, Step: "proof_level/9.525/2", Result: r, Target: tg})
}

func TestProof(t *testing.T) {
	o, d, tapes := bench(t, "hexastrand")
	set := lineup.Setup{Tapes: tapes}
	rowOf := func(p *lineup.Proof, step string) lineup.ProofRow {
		i := slices.IndexFunc(p.Rows, func(r lineup.ProofRow) bool { return r.Step == step })
		return p.Rows[i]
	}
	p := o.Proof(proofLog(t, o, d, 0.2), set, nil)
	if !p.Done || len(p.Rows) != 3+8*6 {
		t.Fatalf("%d rows, blocks %+v", len(p.Rows), p.Blocks)
	}
	r := rowOf(p, "proof_level/9.525/2")
	if r.Verdict != lineup.In || r.AsFound.Value != 3 || r.AsLeft.Value != 0.2 || r.Found.Verdict != lineup.Out || math.Abs(r.Left.Error-0.2) > 1e-9 {
		t.Errorf("%+v", r)
	}
	// The limit within the doubt blocks, though the step counts as done.
	log := proofLog(t, o, d, 0.995)
	p = o.Proof(log, set, nil)
	if r := rowOf(p, "proof_level/9.525/2"); p.Done || r.Verdict != lineup.Doubt || r.State != lineup.StateDone || len(p.Blocks) != 1 {
		t.Errorf("%+v, blocks %+v", r, p.Blocks)
	}
	// A doubt of the target alone is noted and does not block.
	r2, tg2 := reading(0.5)
	tg2.Lo, tg2.Hi = -0.7, 0.7
	p = o.Proof(append(proofLog(t, o, d, 0), lineup.Event{Kind: lineup.Measured, Step: "proof_level/9.525/3", Result: r2, Target: tg2}), set, nil)
	if r := rowOf(p, "proof_level/9.525/3"); !p.Done || r.Verdict != lineup.Doubt || r.Left.Reading != lineup.In || len(p.Notes) != 1 {
		t.Errorf("%+v, notes %v, blocks %v", r, p.Notes, p.Blocks)
	}
	// A reason lifts it, until something moves.
	sign := lineup.SignOff{Step: "proof_level/9.525/2", Reason: "as good as its meter", By: "ab", Seq: 900}
	log = append(log, sign.Event())
	if p = o.Proof(log, set, nil); !p.Done || len(p.SignOffs) != 1 || p.SignOffs[0] != sign || rowOf(p, sign.Step).Signed == nil {
		t.Errorf("%+v", p.Blocks)
	}
	log = append(log, lineup.Event{Kind: lineup.Turned, Trim: "VRa", Key: "2"})
	p = o.Proof(log, set, nil)
	if r := rowOf(p, sign.Step); p.Done || r.Verdict != lineup.NotMeasured || !strings.Contains(r.Why, "VRa-2") || len(p.SignOffs) != 0 {
		t.Errorf("%+v", r)
	}
	// Out: what it checks is to be set again.
	p = o.Proof(proofLog(t, o, d, 4), set, nil)
	if r := rowOf(p, sign.Step); p.Done || r.Verdict != lineup.Out || !slices.ContainsFunc(p.Blocks, func(b lineup.Block) bool { return b.Step == "level/VRa/2" }) {
		t.Errorf("%+v, %+v", r, p.Blocks)
	}
	// Nothing measured: nothing proved.
	if p := o.Proof(nil, set, nil); p.Done || rowOf(p, sign.Step).Verdict != lineup.NotMeasured || len(p.Blocks) < 100 {
		t.Errorf("%d blocks", len(p.Blocks))
	}
	// What is lost in noise below the limit is proved by it; noise above the limit proves
	// nothing, and so does a refusal for another reason.
	for _, c := range []struct {
		refused string
		want    lineup.Verdict
	}{
		{"no crosstalk found: below -87.1 dB (95 %), which is the noise", lineup.In},
		{"no crosstalk found: below -35.2 dB (95 %), which is the noise", lineup.NotMeasured},
		{"track 3 is silent where it should carry the tone", lineup.NotMeasured},
	} {
		id := "proof_crosstalk/9.525/2"
		limit := o.Target(id, set)
		r := &measure.Result{Name: "crosstalk", Track: 2, TrackB: 3, ToneHz: 1000, Unit: "dB", Refused: c.refused}
		p := o.Proof(append(proofLog(t, o, d, 0), lineup.Event{Kind: lineup.Measured, Step: id, Result: r, Target: &limit}), set, nil)
		row := rowOf(p, id)
		if row.Verdict != c.want || p.Done != (c.want == lineup.In) || row.Left.Bound != (c.want == lineup.In) {
			t.Errorf("%s, limit %s: %+v, done %t", c.refused, limit.Text(), row, p.Done)
		}
	}
	// A proof taken with the case open is none.
	res, tg := reading(0)
	res.Conditions.Case = measure.CaseOpen
	log = append(proofLog(t, o, d, 0), lineup.Event{Kind: lineup.Measured, Step: sign.Step, Result: res, Target: tg})
	if r := rowOf(o.Proof(log, set, nil), sign.Step); r.Verdict != lineup.NotMeasured || !strings.Contains(r.Why, "open") {
		t.Errorf("%+v", r)
	}
	if _, err := json.Marshal(p); err != nil {
		t.Error(err)
	}
}

// soakLog reads every figure at every point; the level of track 3 moves by so much at the end.
func soakLog(p *lineup.SoakPlan, off float64) []lineup.Event {
	var log []lineup.Event
	for _, pt := range p.Points {
		for _, l := range p.Limits {
			for tr := range max(1, l.Tracks) {
				r := &measure.Result{Name: l.Measure, Unit: l.Unit, ToneHz: l.ToneHz, Lo: -0.01, Hi: 0.01}
				if l.Tracks > 0 {
					r.Track = tr + 1
				}
				if r.Track == 3 && l.Measure == "level" && pt.AtMinutes == 60*p.Hours {
					r.Value, r.Lo, r.Hi = off, off-0.01, off+0.01
				}
				log = append(log, lineup.Event{Kind: lineup.Soaked, Minutes: pt.AtMinutes + 5, Result: r})
			}
		}
	}
	return log
}

func TestSoak(t *testing.T) {
	o, d, tapes := bench(t, "hexastrand")
	p := lineup.NewSoak(d, 0)
	var at []float64
	for _, x := range p.Points {
		at = append(at, x.AtMinutes)
	}
	if !slices.Equal(at, []float64{0, 30, 60, 120, 240}) || len(p.Limits) != 4 {
		t.Errorf("%v, %+v", at, p.Limits)
	}
	if s := p.State(nil); s.Done || s.Next != 0 || len(s.Points[0].Missing) != 14 {
		t.Errorf("%+v", s)
	}
	log := soakLog(p, 0.2)
	if s := p.State(log); !s.Done || len(s.Changes) != 14 {
		t.Errorf("%+v", s)
	}
	if s := p.State(log[:20]); s.Done || s.Next != 30 {
		t.Errorf("next %g: %s", s.Next, s.Why)
	}
	if s := p.State(soakLog(p, 0.8)); s.Done || s.Changes[0].Track != 3 || s.Changes[0].Judgement.Verdict != lineup.Out || s.Changes[0].AtMinutes != 245 {
		t.Errorf("%+v", s.Changes[0])
	}
	if s := p.State(append(log, lineup.Event{Kind: lineup.Opened, Opening: "lid"})); s.Done || s.Next != 0 {
		t.Errorf("after opening: %+v", s)
	}
	// It blocks the proof until it is done; it is no step of the order.
	work := proofLog(t, o, d, 0)
	if pr := o.Proof(work, lineup.Setup{Tapes: tapes}, p); pr.Done || len(pr.Blocks) != 1 || pr.Blocks[0].Step != "soak" {
		t.Errorf("%+v", pr.Blocks)
	}
	if pr := o.Proof(append(work, log...), lineup.Setup{Tapes: tapes}, p); !pr.Done {
		t.Errorf("%+v", pr.Blocks)
	}
	if long := lineup.NewSoak(d, lineup.SoakHabitHours); long.Points[len(long.Points)-1].AtMinutes != 720 {
		t.Errorf("%+v", long.Points)
	}
}

// What the level target of one track is made of.
func ExampleOrder_Target() {
	d, _ := machine.Builtin("octogrange")
	o, _ := lineup.New(d, lineup.Options{})
	tp := twoTones(1000, 10000, 38.1)
	tp.Reference.FluxivityNWbM, tp.EqualisationUs.High, tp.EqualisationUs.Low = 250, 35, 0
	tg := o.Target("level/LEV/3", lineup.Setup{Tapes: []lineup.TapeAtHand{{Tape: tp, CertificateDB: map[string]lineup.Amount{"reference": {Value: 0.1, Half: 0.15}}}}})
	for _, l := range tg.Lines {
		fmt.Printf("%+.2f %s  %s: %s\n", l.Value, l.Unit, l.Term, l.Why)
	}
	fmt.Printf("%s, interval %.2f to %.2f\n", tg.Text(), tg.Lo, tg.Hi)
	// Output:
	// -2.14 dB  fluxivity: the tape's 0 dB is 250 nWb/m, the recorder's 320
	// +0.10 dB  the tape's own error: section "reference" is this much stronger than stated
	// −2.04 ±0.5 dB, interval -2.19 to -1.89
}
