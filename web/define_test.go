package web

import (
	"context"
	"html"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"headstack/job"
	"headstack/job/memory"
	"headstack/machine"
)

// fourLane is how a small invented cassette recorder is described on the pages, in the
// order in which a person would: for each step, what is typed for each item.
var fourLane = []struct {
	step  string
	items []map[string]string
}{
	{"type", []map[string]string{{"id": "ostler-4", "make": "Ostler", "name": "Fourlane", "supply.text": "adaptor 12 V d.c. 1 A", "reference.output": "0 on the meter = -10 dBV at the line output"}}},
	{"speeds", []map[string]string{{"cm_s": "9,525"}}},
	{"heads", []map[string]string{{"id": "HE", "name": "erase head", "use": "erase"}, {"id": "HR", "name": "record/play head", "dcr": "230 ohm", "gap_um": "1.5"}}},
	{"sets", []map[string]string{{"name": "side", "keys": "L, R"}}},
	{"openings", []map[string]string{
		{"id": "door", "name": "door off", "down_minutes": "2", "up_minutes": "2", "case": "closed", "cautions": "demagnetise\nsolvent"},
		{"id": "lid", "name": "lid off, four screws", "down_minutes": "8", "up_minutes": "9", "cautions": "unplug"}}},
	{"boards", []map[string]string{
		{"id": "MAIN", "name": "main board", "place": "base", "opening": "lid"}, {"id": "HEADS", "name": "heads", "place": "transport", "opening": "door"},
		{"id": "REAR", "name": "sockets", "place": "rear"}}},
	{"connectors", []map[string]string{{"id": "P1", "kind": "6-way plug", "a.board": "HEADS", "a.pins": "shield, H1, H2, H3, H4, common", "b.board": "MAIN", "b.pins": "shield, H1, H2, H3, H4, common"}}},
	{"stages", []map[string]string{
		{"id": "H", "name": "record/play head", "part": "H-{track}", "kind": "head", "board": "HEADS"},
		{"id": "U1", "name": "play amplifier", "part": "U1-{track}", "board": "MAIN"},
		{"id": "C1", "name": "coupling capacitor", "part": "C1-{track}", "kind": "coupling-capacitor", "board": "MAIN", "value": "10 uF", "own.family": "thin", "own.cause": "wrong value from the works: 0.1 uF", "own.cure": "replace it", "own.minutes": "15"},
		{"id": "VR1", "name": "play level", "part": "VR1-{track}", "kind": "trim", "board": "MAIN"},
		{"id": "U9", "name": "mix amplifier", "part": "U9-{side}", "each": "side", "board": "MAIN"},
		{"id": "J9", "name": "output socket", "part": "J9-{side}", "kind": "jack", "each": "side", "board": "REAR"}}},
	{"functions", []map[string]string{
		{"id": "play", "name": "play a test tape, panned left", "with": "side: L", "check_minutes": "1"}, // through: all stages, as offered
		{"id": "play-right", "name": "play a test tape, panned right", "through": "@play", "with": "side: R", "check_minutes": "1"}}},
	{"points", []map[string]string{{"id": "TP1", "name": "play amplifier output", "part": "TP1-{track}", "after": "U1", "expect.value": "40", "board": "MAIN"}}},
	{"trims", []map[string]string{{"id": "VR1", "name": "play level", "part": "VR1-{track}", "at": "TP1", "range": "±6 dB", "board": "MAIN", "opening": "lid", "cautions": "trimmer"}}},
	{"setups", []map[string]string{{"id": "own-tape", "name": "a worthless tape first, then one of your own"}}},
	{"controls", []map[string]string{
		{"id": "out-jack", "name": "output socket {side}", "kind": "jack", "each": "side", "board": "REAR", "setup": "own-tape", "stage": "J9", "try": "Signal without crackle as the plug turns"},
		{"id": "key", "name": "key", "kind": "key", "items": "play, stop, rewind, wind, record", "board": "MAIN", "setup": "own-tape", "try": "Engages at the first press"}}},
}

// fieldName is the name of a field in the form by its key.
func fieldName(key string) string {
	if strings.HasPrefix(key, "own.") {
		return key
	}
	return "f." + key
}

// holdFourLane looks at what was saved: it loads without a finding, says what was typed,
// and a job opened with it has its stages on the signal path.
func holdFourLane(t *testing.T, b *job.Bench) (jobID string) {
	t.Helper()
	yaml, info, err := b.DefinitionYAML(context.Background(), "ostler-4")
	if err != nil {
		t.Fatal(err)
	}
	d, err := machine.Load("ostler-4.yaml", yaml)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range d.Lint() {
		if f.Severity == machine.SeverityProblem {
			t.Errorf("lint: %v\n%s", f, yaml)
		}
	}
	path, err := d.Path("play-right", "3")
	var parts []string
	for _, in := range path {
		parts = append(parts, in.Part())
	}
	if want := "H-3 U1-3 C1-3 VR1-3 U9-R J9-R"; err != nil || strings.Join(parts, " ") != want {
		t.Errorf("track 3 on the right passes %v, want %s (%v)", parts, want, err)
	}
	if c, _ := d.Stage("C1"); len(c.Faults) != 6 || c.Faults[5].Cause != "wrong value from the works: 0.1 uF" || c.Faults[5].CureMin != 15 {
		t.Errorf("C1 fails by %+v, want the five usual ways and its own", c.Faults)
	}
	if h, _ := d.Stage("H"); len(h.Faults) != 0 {
		t.Errorf("the usual faults of a head were written out: %+v", h.Faults)
	}
	if s := d.Speeds; len(s) != 1 || s[0].CmS != 9.525 || s[0].HighUs != 70 || info.Name != "Ostler Fourlane" || info.Builtin || len(d.CheckItems()) != 7 {
		t.Errorf("speeds %+v, name %q, %d controls", s, info.Name, len(d.CheckItems()))
	}
	j, err := b.OpenJob(context.Background(), job.NewJob{Definition: "ostler-4"})
	if err != nil {
		t.Fatal(err)
	}
	return j.ID
}

// page is a page of the definition as a browser without scripts holds it.
type definePage struct {
	t    *testing.T
	h    http.Handler
	at   string
	body string
	form url.Values
}

var (
	defineAction = regexp.MustCompile(`<form method="post" class="define" action="([^"]*)"`)
	inputTag     = regexp.MustCompile(`<input ([^>]*)>`)
	textareaTag  = regexp.MustCompile(`(?s)<textarea ([^>]*)>\n?(.*?)</textarea>`)
	selectTag    = regexp.MustCompile(`(?s)<select ([^>]*)>(.*?)</select>`)
	optionTag    = regexp.MustCompile(`<option([^>]*)>([^<]*)`)
	nameAttr     = regexp.MustCompile(`name="([^"]*)"`)
	valueAttr    = regexp.MustCompile(`value="([^"]*)"`)
)

// take reads what the form of a page would send.
func (p *definePage) take(body string) {
	p.body, p.form = body, url.Values{}
	if m := defineAction.FindStringSubmatch(body); m != nil {
		p.at = m[1]
	}
	attr := func(re *regexp.Regexp, s string) (string, bool) {
		m := re.FindStringSubmatch(s)
		if m == nil {
			return "", false
		}
		return html.UnescapeString(m[1]), true
	}
	for _, m := range inputTag.FindAllStringSubmatch(body, -1) {
		name, _ := attr(nameAttr, m[1])
		value, _ := attr(valueAttr, m[1])
		if strings.Contains(m[1], `type="checkbox"`) && !strings.Contains(m[1], " checked") {
			continue
		}
		p.form.Add(name, value)
	}
	for _, m := range textareaTag.FindAllStringSubmatch(body, -1) {
		name, _ := attr(nameAttr, m[1])
		p.form.Set(name, strings.ReplaceAll(html.UnescapeString(m[2]), "\n", "\r\n"))
	}
	for _, m := range selectTag.FindAllStringSubmatch(body, -1) {
		name, _ := attr(nameAttr, m[1])
		for i, o := range optionTag.FindAllStringSubmatch(m[2], -1) {
			value, ok := attr(valueAttr, o[1])
			if !ok {
				value = html.UnescapeString(o[2])
			}
			if i == 0 || strings.Contains(o[1], " selected") {
				p.form.Set(name, value)
			}
		}
	}
}

func (p *definePage) open(at string) {
	p.t.Helper()
	p.at = at
	w := get(p.t, p.h, at)
	if w.Code != 200 {
		p.t.Fatalf("%s: %d %s", at, w.Code, w.Body)
	}
	p.take(w.Body.String())
}

// press sends the form by one of its buttons.
func (p *definePage) press(do string, status int) {
	p.t.Helper()
	if !strings.Contains(p.body, `name="do" value="`+do+`"`) {
		p.t.Fatalf("there is no button %s on\n%s", do, p.body)
	}
	p.form.Set("do", do)
	w := post(p.t, p.h, p.at, p.form)
	if w.Code != status {
		p.t.Fatalf("%s: %d, want %d: %s", do, w.Code, status, w.Body)
	}
	if status != http.StatusSeeOther {
		p.take(w.Body.String())
	}
}

func (p *definePage) sees(text string) {
	p.t.Helper()
	if !strings.Contains(html.UnescapeString(p.body), text) {
		p.t.Errorf("the page does not say %q:\n%s", text, p.body)
	}
}

func newDefinePage(t *testing.T) (*definePage, *job.Bench) {
	b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{})
	return &definePage{t: t, h: NewServer(b, Options{Patience: time.Minute})}, b
}

// TestDefineByForms describes a recorder from nothing by form posts alone.
func TestDefineByForms(t *testing.T) {
	p, b := newDefinePage(t)
	p.open("/library/definitions/new")
	p.press("save", http.StatusUnprocessableEntity)
	p.sees("Not saved yet")
	for _, s := range fourLane {
		if s.step == "functions" { // the bench is started anew: the draft is in the page
			p.h = NewServer(b, Options{Patience: time.Minute})
		}
		p.press("step:"+s.step, 200)
		for _, item := range s.items {
			for k, v := range item {
				if !p.form.Has(fieldName(k)) {
					t.Fatalf("step %s has no field %s", s.step, k)
				}
				p.form.Set(fieldName(k), v)
			}
			if item["kind"] == "coupling-capacitor" {
				p.press("show", 200) // its faults, not those of the amplifier
				p.sees("dried out: capacitance lost (level \u221210 to \u22120.5\u2009dB, bass \u221220 to \u22124\u2009dB)")
				p.sees("In signal order: H-1, U1-1.") // as far as it is described
			}
			p.press("put", 200)
			if strings.Contains(p.body, "still wrong") {
				t.Errorf("%s %v: %s", s.step, item, p.body)
			}
			if s.step == "stages" && item["id"] == "H" {
				p.sees("This makes stages for tracks 1 to 4: H-1, H-2, H-3, H-4.")
			}
		}
	}
	p.sees("it loads")
	p.form.Set("function", "play")
	p.press("preview", 200)
	p.sees("In signal order: H-1, U1-1, C1-1, VR1-1, U9-L, J9-L.")
	p.press("save", http.StatusSeeOther)
	id := holdFourLane(t, b)
	if body := get(t, p.h, "/jobs/"+id+"/path?function=play&key=2").Body.String(); !strings.Contains(body, "U1-2") || !strings.Contains(body, "J9-L") {
		t.Error("the signal path of a job does not show the stages")
	}
}

// TestDefineNewVersion changes one value of a definition that the bench has: the rest of
// its text stands as it was, and a job that is open keeps its version.
func TestDefineNewVersion(t *testing.T) {
	p, b := newDefinePage(t)
	old := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	p.open("/library/definitions/hexastrand/edit?step=stages")
	was := p.form.Get("yaml")
	p.press("edit:0", 200)
	p.form.Set("f.prior", "0.5")
	p.press("step:points", 200) // going elsewhere puts in what was typed
	now := p.form.Get("yaml")
	differ := 0
	a, c := strings.Split(was, "\n"), strings.Split(now, "\n")
	for i := range min(len(a), len(c)) {
		if a[i] != c[i] {
			differ++
		}
	}
	if len(a) != len(c) || differ != 1 {
		t.Errorf("%d lines became %d, %d differ; want one changed line", len(a), len(c), differ)
	}
	p.press("save", http.StatusSeeOther)
	yaml, _, err := b.DefinitionYAML(t.Context(), "hexastrand")
	if err != nil {
		t.Fatal(err)
	}
	d, err := machine.Load("new", yaml)
	if err != nil || d.Stages[0].Prior != 0.5 {
		t.Errorf("saved: prior %v, %v", d.Stages[0].Prior, err)
	}
	next := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	if v := must(b.View(t.Context(), old.ID)); v.Job.DefinitionSHA == next.DefinitionSHA || v.Def.Stages[0].Prior == 0.5 {
		t.Error("the open job did not keep its version")
	}
}

// TestDefineRefuses sends what is wrong: it comes back as typed, with the error at its
// field, and the draft is as it was.
func TestDefineRefuses(t *testing.T) {
	p, _ := newDefinePage(t)
	p.open("/library/definitions/hexastrand/edit?step=points")
	was := p.form.Get("yaml")
	p.form.Set("f.id", "TP99")
	p.form.Set("f.expect.value", "about 40")
	for _, do := range []string{"put", "step:trims", "save"} {
		p.press(do, http.StatusUnprocessableEntity)
		p.sees(`"about 40" is not a number`)
		if p.form.Get("f.id") != "TP99" || p.form.Get("f.expect.value") != "about 40" || p.form.Get("yaml") != was {
			t.Fatalf("%s: what was typed is gone: %v", do, p.form)
		}
		if !regexp.MustCompile(`id="f-expect-value"[^>]*aria-invalid="true"`).MatchString(p.body) {
			t.Errorf("%s: the error is not at its field", do)
		}
	}
	// A reference to nothing goes into the draft and is told at its field.
	p.form.Set("f.expect.value", "40")
	p.form.Set("f.name", "a point")
	p.form.Set("f.part", "TP99-{track}")
	p.form.Set("f.after", "nothing")
	p.press("put", 200)
	p.sees("still wrong")
	if !regexp.MustCompile(`id="f-after"[^>]*aria-invalid="true"`).MatchString(p.body) {
		t.Errorf("the missing stage is not told at its field: %s", p.body)
	}
	p.press("save", http.StatusUnprocessableEntity)
	p.sees("Not saved yet: ")
	// Text that is no YAML stays, and is told.
	p.form.Set("yaml", "machine: [1")
	p.press("step:boards", http.StatusUnprocessableEntity)
	p.sees("The text is not YAML")
	if got := p.form.Get("yaml"); strings.TrimSpace(got) != "machine: [1" {
		t.Errorf("the text became %q", got)
	}
	p.press("file", 200)
	for _, bad := range []url.Values{{"do": {"remove:99"}}, {"do": {"put"}, "item": {"99999999"}}, {"do": {"go:nowhere:-5"}}, {"do": {"down:x"}}, {}} {
		bad.Set("yaml", was)
		bad.Set("step", "stages")
		bad.Set("was", defineStepOf("stages").digest(posted(defineStepOf("stages"), bad)))
		if w := post(t, p.h, p.at, bad); w.Code >= 500 {
			t.Errorf("%v: %d", bad["do"], w.Code)
		}
	}
	if w := get(t, p.h, "/library/definitions/nothing/edit"); w.Code != 404 {
		t.Errorf("a definition that is not there: %d", w.Code)
	}
}

// TestDefineMoves takes items up, down and out.
func TestDefineMoves(t *testing.T) {
	p, _ := newDefinePage(t)
	p.open("/library/definitions/octogrange/edit?step=stages")
	order := func() []string {
		d := machine.Sketch([]byte(p.form.Get("yaml")))
		var out []string
		for _, s := range d.Stages {
			out = append(out, s.ID)
		}
		return out
	}
	a := order()
	p.press("down:0", 200)
	p.press("up:2", 200)
	p.press("remove:0", 200)
	if b := order(); !slices.Equal(b[:2], []string{a[2], a[0]}) || len(b) != len(a)-1 {
		t.Errorf("%v became %v", a[:3], b[:3])
	}
}

// TestDefineFieldsAreTheFormats holds that each field of the forms is one that the format
// knows, and that no step is without a way to each of its fields.
func TestDefineFieldsAreTheFormats(t *testing.T) {
	schema := string(machine.Schema())
	for _, st := range defineSteps {
		for _, f := range st.Fields {
			for _, key := range strings.Split(f.Key, ".") {
				if st.List != "replicas" && !strings.Contains(schema, `"`+key+`"`) {
					t.Errorf("step %s: the format has no field %s", st.ID, key)
				}
			}
		}
	}
}

// TestDefineShowsWithoutLoss shows every item of the definitions that come with the
// program in its form and takes the form back as it stands: nothing may differ.
func TestDefineShowsWithoutLoss(t *testing.T) {
	for _, id := range machine.BuiltinNames() {
		text, _ := machine.BuiltinSource(id)
		d, err := machine.ParseDraft(id, text)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for i := range defineSteps {
			st := &defineSteps[i]
			for at, item := range st.items(d) {
				form := url.Values{}
				for _, f := range st.Fields {
					v := valueAt(item, f.Key)
					form.Set("f."+f.Key, shownValue(v, f.Kind))
					if f.Kind == fieldFaults {
						own, _ := v.(machine.List)
						kind := shownValue(item.Get("kind"), fieldText)
						form.Del("f.faults")
						form.Set("faultsof", kind)
						for _, o := range faultsOf(kind, own).Offers {
							if o.Ticked {
								form.Add("f.faults", o.Value)
							}
						}
					}
				}
				back, wrong := st.filled(item, form)
				if len(wrong) > 0 {
					t.Errorf("%s, %s %d: %v", id, st.ID, at+1, wrong)
				}
				next, err := st.put(d, at, back)
				if err != nil || string(next.Text()) != string(text) {
					t.Errorf("%s, %s %d: %v became %v (%v)", id, st.ID, at+1, item, back, err)
				}
				n++
			}
		}
		if n < 100 {
			t.Errorf("%s: only %d items", id, n)
		}
	}
}

// TestDefineOnceMore takes the id of another recorder: the page says what that means.
func TestDefineOnceMore(t *testing.T) {
	p, _ := newDefinePage(t)
	p.open("/library/definitions/hexastrand/edit")
	p.form.Set("f.id", "octogrange")
	p.press("put", 200)
	p.sees("The bench has a recorder type of this short name")
	p.form.Set("f.id", "hexastrand-b")
	p.press("put", 200)
	p.sees("it is a recorder type of its own")
	p.form.Set("f.notes", "tab\there, \x01")
	p.press("put", http.StatusUnprocessableEntity)
	p.sees("control character")
}

// TestDefineBrokenTexts puts every broken file of the loader's tests into the text: each
// page comes, says what is wrong or that it loads, and has the text as it was.
func TestDefineBrokenTexts(t *testing.T) {
	p, _ := newDefinePage(t)
	files, err := filepath.Glob("../machine/testdata/broken/*.yaml")
	if err != nil || len(files) < 20 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, name := range files {
		text := string(must(os.ReadFile(name)))
		if len(text) > 60<<10 || !utf8.ValidString(text) || strings.ContainsAny(text, "\x00\r") {
			continue // no browser sends that
		}
		for _, do := range []string{"text", "step:functions", "go:stages:0", "remove:0", "save"} {
			form := url.Values{"yaml": {text}, "step": {"stages"}, "do": {do}}
			form.Set("was", defineStepOf("stages").digest(posted(defineStepOf("stages"), form)))
			w := post(t, p.h, "/library/definitions/new", form)
			body := w.Body.String()
			if do == "save" && w.Code == http.StatusSeeOther {
				continue // the lint finds what is wrong with it, and that is no reason to refuse
			}
			if w.Code != 200 && w.Code != 422 || !strings.Contains(body, "not complete") && !strings.Contains(body, "it loads") {
				t.Errorf("%s, %s: %d", filepath.Base(name), do, w.Code)
			}
			if m := regexp.MustCompile(`(?s)<textarea id="yaml"[^>]*>\n(.*?)</textarea>`).FindStringSubmatch(body); do != "remove:0" && (m == nil || html.UnescapeString(m[1]) != normalText(text)) {
				t.Errorf("%s, %s: the text is another", filepath.Base(name), do)
			}
		}
	}
}
