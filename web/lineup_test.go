package web

import (
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"headstack/job"
	"headstack/lineup"
	"headstack/trim"
)

func TestLineUpOverTheAPI(t *testing.T) {
	b := newStoryBench()
	b.verdict = quietVerdict
	b.plan = storyPlan
	c := newClient(t, newStoryServer(b).handler())
	j := c.json("POST", "/jobs", o{"definition": "hexastrand", "case": "closed"}, 201, "Job")
	root := "/jobs/" + j["id"].(string)
	c.json("POST", root+"/line-up/gates", o{"step": "path_clean"}, 201, "Entry")
	c.json("POST", root+"/line-up/figures", o{"step": "azimuth/AZ", "value": 4.5, "unit": "arcmin", "half": 0.2, "case": "closed"}, 201, "Entry")
	turned := c.json("POST", root+"/line-up/turns", o{"trim": "VRa-3", "by": -30, "unit": "°", "travel": 290, "minutes": 1}, 201, "Entry")
	if turn := turned["turn"].(o); turn["trim"] != "VRa" || turn["key"] != "3" || numText(turn["by"]) != "-30" {
		t.Errorf("kept %v", turn)
	}
	c.json("POST", root+"/line-up/turns", o{"trim": "VRa-3", "from": 90, "to": 120, "unit": "°"}, 201, "Entry")
	c.json("POST", root+"/line-up/sign-offs", o{"step": "height/HT1", "reason": "seen, not touched", "by": "JB"}, 201, "Entry")
	tapes := c.get("/tapes", 200, "Tapes")["tapes"].([]any)
	c.json("POST", root+"/line-up/passes", o{"tape": tapes[0].(o)["id"]}, 201, "Entry")
	l := c.get(root+"/line-up", 200, "LineUp")
	if n := len(l["steps"].([]any)); n != 143 {
		t.Errorf("%d steps, want the 143 of the definition", n)
	}
	c.get(root+"/line-up/sheet?hear=all", 200, "LineUpSheet")
	if r := c.get(root+"/line-up/read-out?step=VRa-3", 200, "ReadOut"); r["step"] != "level/VRa/3" || r["part"] != "VRa-3" || r["words"] == "" {
		t.Errorf("%v", r)
	}
	if p := c.get(root+"/openings", 200, "OpeningPlan"); p["proved"] != true || len(p["visits"].([]any)) != 2 {
		t.Errorf("%v", p)
	}
	for path, body := range map[string]o{
		"gates": {"step": "flutter/9.525"}, "figures": {"step": "azimuth/AZ", "value": 1, "unit": "V"}, "turns": {"trim": "VRa-9"},
		"sign-offs": {"step": "height/HT1"}, "passes": {"tape": "none such"},
	} {
		status := 422
		if path == "passes" {
			status = 404
		}
		c.json("POST", root+"/line-up/"+path, body, status, "Problem")
	}
	c.get(root+"/line-up/read-out?step=none", 422, "Problem")
	c.get("/jobs/none/line-up", 404, "Problem")
	c.get("/jobs/none/openings", 404, "Problem")
}

func TestTravelAsTyped(t *testing.T) {
	for text, want := range map[string]struct {
		by float64
		u  trim.TravelUnit
	}{"": {0, ""}, "30": {30, ""}, "30°": {30, trim.Degrees}, " 1,5 turns ": {1.5, trim.Turns}, "1/4 turn": {0.25, trim.Turns}, "45 deg": {45, trim.Degrees}} {
		by, u, err := parseTravel(text)
		if err != nil || by != want.by || u != want.u {
			t.Errorf("%q: %g %q, %v; want %g %q", text, by, u, err, want.by, want.u)
		}
	}
	for _, text := range []string{"-30", "half", "1/0 turn", "30 m", "°"} {
		if by, u, err := parseTravel(text); err == nil {
			t.Errorf("%q was taken as %g %q", text, by, u)
		}
	}
}

func TestFigureAsTyped(t *testing.T) {
	if v, u, err := typedFigure("value", "119 mV", "dB", "V"); err != nil || v != 119 || u != "mV" {
		t.Errorf("%g %s, %v", v, u, err)
	}
	for _, x := range []struct {
		text, understood string
		v                float64
		unit             string
	}{{"0,4", "arcmin", 0.4, "arcmin"}, {"−1.2 dB", "dB", -1.2, "dB"}, {"0.02", "%/min", 0.02, "%/min"}, {"-18.2", "dBFS", -18.2, "dBFS"}, {"92.1k", "Hz", 92.1, "kHz"}} {
		v, u, err := typedFigure("value", x.text, x.understood)
		if err != nil || v != x.v || u != x.unit {
			t.Errorf("%q where %s is understood: %g %s, %v; want %g %s", x.text, x.understood, v, u, err, x.v, x.unit)
		}
	}
}

// TestLineUpByForms goes through the line-up as a browser without scripts does.
func TestLineUpByForms(t *testing.T) {
	b, id := liningStory()
	s := newStoryServer(b)
	root := "/jobs/" + id
	last := func() job.Entry { v := must(b.View(t.Context(), id)); return v.Entries[len(v.Entries)-1] }
	n := func() int { return len(must(b.View(t.Context(), id)).Entries) }
	if w := send(t, s, root+"/line-up/figures", "step", "level/VRa/3", "value", "1,6", "half", "±0.2", "instrument", "Millivoltmeter B", "back", root+"/line-up?step=level/VRa/3"); w.Code != 303 {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	if f := last().Figure; f == nil || f.Step != "level/VRa/3" || f.Value != 1.6 || f.Unit != "dB" || f.Half != 0.2 {
		t.Errorf("kept %+v", f)
	}
	send(t, s, root+"/line-up/turns", "trim", "VRa", "key", "3", "by", "1/8 turn", "way", "anticlockwise", "stopped", "1", "travel", "0.8 turns")
	if x := last().Turn; x == nil || x.Trim != "VRa" || x.Key != "3" || x.By != -0.125 || x.Unit != trim.Turns || !x.Stopped || x.Travel != 0.8 {
		t.Errorf("kept %+v", x)
	}
	l, _, err := b.LineUp(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if st, _ := l.Status.Of("level/VRa/3"); st.State != lineup.StateStale {
		t.Errorf("after a turn the step is %s", st.State)
	}
	send(t, s, root+"/line-up/gates", "step", "warm", "lost", "1")
	if g := last().Gate; g == nil || g.Step != "warm" || !g.Lost {
		t.Errorf("kept %+v", g)
	}
	// What is refused stands in its form again, with the step that it is of.
	for name, c := range map[string]struct {
		path   string
		fields []string
		want   []string
	}{
		"value":  {"figures", []string{"step", "level/VRa/5", "value", "loud", "instrument", "meter Q"}, []string{`value="loud"`, "meter Q", "play level, track 5"}},
		"half":   {"figures", []string{"step", "level/VRa/5", "value", "1", "half", "3 mV"}, []string{"3 mV", "is not understood"}},
		"travel": {"turns", []string{"trim", "VRa", "key", "5", "by", "a bit", "way", "clockwise"}, []string{`value="a bit"`, "VRa-5 was turned"}},
		"way":    {"turns", []string{"trim", "VRa", "key", "5", "by", "3"}, []string{`value="3"`}},
		"reason": {"sign-offs", []string{"step", "level/VRa/6", "reason", " ", "by", "JB"}, []string{`value="JB"`, "say why"}},
		"output": {"figures", []string{"step", "reference_output", "value", "soft"}, []string{`value="soft"`}},
		"tape":   {"passes", []string{"tape", "none such"}, []string{`role="alert"`}},
	} {
		before := n()
		w := send(t, s, root+"/line-up/"+c.path, c.fields...)
		if w.Code < 400 || w.Code >= 500 || n() != before {
			t.Errorf("%s: status %d, %d entries more", name, w.Code, n()-before)
		}
		for _, want := range c.want {
			if !strings.Contains(w.Body.String(), want) {
				t.Errorf("%s: the page lost %q", name, want)
			}
		}
	}
	if w := get(t, s.handler(), root+"/line-up?step=no-such"); w.Code != 422 {
		t.Errorf("a step that is none: %d", w.Code)
	}
}

// TestWritesOfTheLineUpAreGuarded tries each of its forms from another site.
func TestWritesOfTheLineUpAreGuarded(t *testing.T) {
	b, id := emptyStory()
	h := newStoryServer(b).handler()
	for _, path := range []string{"figures", "turns", "gates", "sign-offs", "passes"} {
		for _, prefix := range []string{"/jobs/", "/api/v1/jobs/"} {
			r := request("POST", prefix+id+"/line-up/"+path, []byte("step=path_clean"))
			r.Header.Set("Sec-Fetch-Site", "cross-site")
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if w.Code != 403 {
				t.Errorf("%s%s: %d", prefix, path, w.Code)
			}
		}
	}
	if v := must(b.View(t.Context(), id)); len(v.Entries) != 0 {
		t.Errorf("%d entries were kept", len(v.Entries))
	}
}

// TestPaperGroupsSiblings: what siblings share stands once, each has a line of its own,
// and every step of the sheet is on it once.
func TestPaperGroupsSiblings(t *testing.T) {
	b, id := liningStory()
	l, _, err := b.LineUp(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	sheet := must(l.Sheet())
	p := sheet.Print()
	var steps, numbers []string
	for _, page := range p.Pages {
		for _, g := range page.Groups {
			for _, r := range g.Rows {
				steps, numbers = append(steps, r.Step), append(numbers, r.No)
				if g.What != r.What || g.Turn != r.Turn {
					t.Errorf("%s stands under %s", r.Step, g.What)
				}
			}
			if page.Number == 3 && g.What == "play level" && (g.Rows[0].At != "TP11-1" || !strings.HasPrefix(g.At, "line amplifier output")) {
				t.Errorf("page %d: read at %q, of the first %q", page.Number, g.At, g.Rows[0].At)
			}
		}
	}
	want := 0
	for _, page := range sheet.Pages {
		want += len(page.Rows)
	}
	slices.Sort(steps)
	slices.Sort(numbers)
	if got := len(slices.Compact(steps)); got != want || len(slices.Compact(numbers)) != want {
		t.Errorf("%d steps on paper, want %d", got, want)
	}
	page := p.Pages[2]
	if i := slices.IndexFunc(page.Groups, func(g lineup.PrintedGroup) bool { return g.What == "play treble" }); page.Groups[i].Rows[0].Sum != "c + d" {
		t.Errorf("the treble adds up from %q of %v", page.Groups[i].Rows[0].Sum, page.Sums)
	}
}

func TestReadOutSaysOneThing(t *testing.T) {
	five := job.LineUpFigure{Value: -0.8, Lo: -0.9, Hi: -0.7, Unit: "dB"}
	bar := string(readOutBar(five, 0.5))
	// 0.8 dB of ±2 dB is two fifths of the half scale to the left of the middle.
	if !strings.Contains(bar, `points="308.0,28.0`) || !strings.Contains(bar, `class="aim" x1="500.0"`) {
		t.Errorf("%s", bar)
	}
	if far := string(readOutBar(job.LineUpFigure{Value: 30, Lo: 29, Hi: 31, Unit: "dB"}, 0.5)); !strings.Contains(far, "998.0,45.0") {
		t.Errorf("beyond the scale there is no arrow: %s", far)
	}
	if readOutBar(five, 0) != "" {
		t.Error("a bar without tolerance")
	}
	s := &job.LineUpStep{Step: lineup.Step{Name: "play level"}, Target: lineup.Target{Unit: "dB", Tolerance: 0.5, At: &lineup.Shown{Point: "TP11", Value: 0.119, Unit: "V"}}}
	if got := (&readOut{}).words(s); got != "read it: a meter is to show 119\u2009mV at TP11" {
		t.Errorf("%q", got)
	}
	if got := (&readOut{Error: &five, Before: true}).words(s); !strings.Contains(got, "read it again") {
		t.Errorf("%q", got)
	}
}
