package web

import (
	"cmp"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/machine"
	"headstack/plot"
)

type defineModel struct {
	base
	Name     string // of the definition that gets a new version; empty: a new one
	Draft    job.Draft
	Others   []job.Draft // that could be gone on with instead
	Tabs     []defineTab
	Step     *defineStep
	Next     *defineStep
	Item     int
	Was      string
	Fields   []fieldView
	Rows     []defineRow
	Cautions []string
	Done     string
	Text     string
	TextBad  string
	Lines    int
	Errors   []checkLine
	Findings []checkLine
	Sound    bool // it loads
	Replaces bool // the bench has this id, and it is not the one that gets a new version
	Renamed  bool // it is no longer the one that was to get a new version
	Preview  *definePreview
}

// defineTab is a step on the line of steps.
type defineTab struct {
	ID, Name string
	Count    string
	Errors   int
	Here     bool
}

type fieldView struct {
	defineField
	ID, Value, Error string
	Said             string // what can be named here
	Options          []choice
	Focus            bool
	Faults           *faultsView
}

// defineRow is an item of the list at hand.
type defineRow struct {
	N            int
	Title, Words string
	Makes        string
	Here         bool
	First, Last  bool
	Errors       int
}

// checkLine is an error or finding of the check, with the way to its field.
type checkLine struct {
	Line, Column int
	Path, Text   string
	Want         string
	Source       string // the line of the text
	Go           string // value of the button that leads there
	Mark, Word   string
}

func (s *server) defineModel(r *http.Request, e *defineEdit) (*defineModel, error) {
	name, title := "", "New recorder type"
	if id := e.draft.Definition; id != "" {
		_, info, err := s.bench.DefinitionYAML(r.Context(), id)
		if err != nil {
			return nil, err
		}
		name, title = info.Name, "New version of "+info.Name
	}
	m := &defineModel{base: base{Title: title, Here: "library", Problem: e.problem}, Name: name, Draft: e.draft, Step: e.step, Item: e.item, Done: e.done,
		Text: e.text, TextBad: e.wrong["yaml"], Lines: min(40, max(12, strings.Count(e.text, "\n")+1))}
	if e.problem != nil {
		m.Done = ""
	}
	for _, c := range e.step.Cautions {
		if text, ok := machine.StandardCaution(c); ok {
			m.Cautions = append(m.Cautions, text)
		}
	}
	draft := e.tree
	if draft == nil {
		draft, _ = machine.ParseDraft("draft.yaml", []byte(e.text))
	}
	sketch := machine.Sketch([]byte(e.text))
	if sketch == nil {
		sketch = &machine.Definition{}
	}
	m.check(e.text)
	m.tabs(e, draft)
	m.rows(e, draft, sketch)
	m.fields(e, draft, sketch)
	m.Preview = previewOf(sketch, cmp.Or(e.shows, e.form.Get("function")), e.form.Get("track"))
	var err error
	if id := e.draft.Definition; sketch.ID != "" && id != sketch.ID {
		m.Renamed = id != ""
		if m.Replaces, err = s.inBench(r.Context(), sketch.ID); err != nil {
			return nil, err
		}
	}
	if e.form == nil && e.draft.ID == "" {
		m.Others, err = s.draftsOf(r.Context(), e.draft.Definition)
	}
	return m, err
}

// check runs the check that a saved definition has to pass, and the lint.
func (m *defineModel) check(text string) {
	lines := strings.Split(text, "\n")
	source := func(n int) string {
		if n < 1 || n > len(lines) {
			return ""
		}
		s := []rune(strings.TrimSpace(lines[n-1]))
		return string(s[:min(len(s), 90)])
	}
	def, err := machine.Load("draft.yaml", []byte(text))
	if list, ok := errors.AsType[machine.ErrorList](err); ok {
		for _, x := range list {
			m.Errors = append(m.Errors, checkLine{Line: x.Line, Column: x.Column, Path: x.Path, Text: x.Problem, Want: x.Want, Source: source(x.Line), Go: wayTo(x.Path), Mark: "✕", Word: "wrong,"})
		}
	}
	if m.Sound = def != nil; m.Sound {
		for _, f := range def.Lint() {
			mark, word := "▲", "probably wrong,"
			if f.Severity == machine.SeverityHint {
				mark, word = "○", "a hint,"
			}
			m.Findings = append(m.Findings, checkLine{Line: f.Line, Column: f.Column, Path: f.Path, Text: f.Text, Want: f.Hint, Source: source(f.Line), Go: wayTo(f.Path), Mark: mark, Word: word})
		}
	}
}

// placeOf is the step, item and field that a path of the check is about: "stages[3].part".
func placeOf(path string) (st *defineStep, item int, key string) {
	list, rest, indexed := strings.Cut(path, "[")
	list, after, _ := strings.Cut(list, ".")
	for i := range defineSteps {
		s := &defineSteps[i]
		if s.List != list || list == "" {
			continue
		}
		if !indexed || list == "replicas" {
			return s, -1, after
		}
		at, key, _ := strings.Cut(rest, "]")
		n, err := strconv.Atoi(at)
		if err != nil {
			n = -1
		}
		key, _, _ = strings.Cut(strings.TrimPrefix(key, "."), "[")
		return s, n, key
	}
	return &defineSteps[0], -1, path
}

// wayTo is the value of the button that leads to what a path of the check is about.
func wayTo(path string) string {
	if path == "" {
		return ""
	}
	st, i, _ := placeOf(path)
	return fmt.Sprintf("go:%s:%d", st.ID, i)
}

// errorsAt are the errors about one item, by the key of the field.
func errorsAt(text []byte, st *defineStep, item int) map[string]string {
	out := map[string]string{}
	_, err := machine.Load("draft.yaml", text)
	list, _ := errors.AsType[machine.ErrorList](err)
	for _, x := range list {
		at, i, key := placeOf(x.Path)
		if at != st || i != item && st.List != "" || x.Path == "" || st.List == "" && x.Path == "machine" {
			continue
		}
		said := x.Problem
		if x.Want != "" {
			said += "; " + x.Want
		}
		if _, ok := out[key]; !ok {
			out[key] = said
		}
	}
	return out
}

func (m *defineModel) tabs(e *defineEdit, d *machine.Draft) {
	wrong := map[string]int{}
	for _, x := range m.Errors {
		if x.Path != "" {
			st, _, _ := placeOf(x.Path)
			wrong[st.ID]++
		}
	}
	for i := range defineSteps {
		st := &defineSteps[i]
		t := defineTab{ID: st.ID, Name: st.Name, Errors: wrong[st.ID], Here: st == e.step}
		if st.List != "" && d != nil {
			t.Count = strconv.Itoa(len(st.items(d)))
		}
		m.Tabs = append(m.Tabs, t)
		if st == e.step && i+1 < len(defineSteps) {
			m.Next = &defineSteps[i+1]
		}
	}
}

func (m *defineModel) rows(e *defineEdit, d *machine.Draft, sketch *machine.Definition) {
	if e.step.List == "" || d == nil {
		return
	}
	items := e.step.items(d)
	wrong := map[int]int{}
	for _, x := range m.Errors {
		if st, i, _ := placeOf(x.Path); st == e.step {
			wrong[i]++
		}
	}
	for i, item := range items {
		row := defineRow{N: i, Here: i == e.item, First: i == 0, Last: i == len(items)-1, Errors: wrong[i], Makes: strings.TrimSpace(makes(sketch, e.step, item))}
		if e.step.List == "replicas" { // their order says nothing
			row.First, row.Last = true, true
		}
		var words []string
		for k, f := range e.step.Fields {
			s := f.withUnit(shownValue(valueAt(item, f.Key), f.Kind))
			switch {
			case k == 0:
				row.Title = cmp.Or(s, "no "+f.Key)
			case s != "" && len(words) < 4 && f.Key != "each" && f.Kind != fieldFaults && f.Kind != fieldTick:
				words = append(words, s)
			}
		}
		row.Words = strings.Join(words, " · ")
		m.Rows = append(m.Rows, row)
	}
}

// fields fills the form: with what was typed where that was refused, else with the item
// at hand, else with what is usual.
func (m *defineModel) fields(e *defineEdit, d *machine.Draft, sketch *machine.Definition) {
	st := e.step
	var item machine.Fields
	isNew := true
	if d != nil {
		if items := st.items(d); st.List == "" {
			item, isNew = items[0], false
		} else if e.item >= 0 && e.item < len(items) {
			item, isNew = items[e.item], false
		}
	}
	typed := e.form != nil && !e.fresh
	wrong := e.wrong
	if !typed && !isNew {
		at := e.item
		if st.List == "" {
			at = -1
		}
		wrong = errorsAt([]byte(e.text), st, at)
		if st.List == "" && e.form == nil && m.Name == "" {
			wrong = nil // nothing was typed yet: what is missing is no mistake
		}
	}
	usual := false // something shown stands not in the draft yet
	for _, f := range st.Fields {
		v := fieldView{defineField: f, ID: "f-" + strings.ReplaceAll(f.Key, ".", "-"), Error: wrong[f.Key]}
		old := valueAt(item, f.Key)
		switch {
		case typed:
			v.Value = e.form.Get("f." + f.Key)
		case old != nil:
			v.Value = shownValue(old, f.Kind)
		case f.Default != nil && (isNew || st.List == ""):
			if v.Value = f.Default(sketch); v.Value != "" && st.List == "" {
				usual = true
			}
		}
		if f.Offer != nil {
			v.Options = f.Offer(sketch)
			if v.Value != "" && !slices.ContainsFunc(v.Options, func(c choice) bool { return c.Value == v.Value }) {
				v.Options = append(v.Options, choice{v.Value, v.Value + " (not defined)", ""})
			}
		}
		if f.Note != nil {
			v.Said = f.Note(sketch)
		}
		if f.Kind == fieldFaults {
			v.Faults = m.faults(e, old, typed)
		}
		m.Fields = append(m.Fields, v)
	}
	m.Was = m.digest()
	switch {
	case typed:
		m.Was = e.form.Get("was")
	case usual:
		m.Was = ""
	}
	m.placeFocus(e)
}

func (m *defineModel) faults(e *defineEdit, old machine.Value, typed bool) *faultsView {
	own, _ := old.(machine.List)
	kind := ""
	for _, f := range m.Fields {
		if f.Key == "kind" {
			kind = f.Value
		}
	}
	v := faultsOf(kind, own)
	if !typed {
		return v
	}
	v.Family, v.Cause, v.Cure, v.Minutes = e.form.Get("own.family"), e.form.Get("own.cause"), e.form.Get("own.cure"), e.form.Get("own.minutes")
	if e.form.Get("faultsof") == kind {
		for i := range v.Offers {
			v.Offers[i].Ticked = slices.Contains(e.form["f.faults"], v.Offers[i].Value)
		}
	}
	return v
}

// digest is that of the form as it is shown.
func (m *defineModel) digest() string {
	return m.Step.digest(func(key string) string {
		for _, f := range m.Fields {
			if f.Key != key {
				continue
			}
			if f.Faults != nil {
				return f.Faults.ticked()
			}
			if f.Kind == fieldChoice && len(f.Options) > 0 && !slices.ContainsFunc(f.Options, func(c choice) bool { return c.Value == f.Value }) {
				return f.Options[0].Value // what the browser chooses
			}
			return f.Value
		}
		return ""
	})
}

// placeFocus gives the focus to the first field that is wrong, else to the first.
func (m *defineModel) placeFocus(e *defineEdit) {
	if !e.focus && e.problem == nil || m.TextBad != "" {
		return
	}
	for i := range m.Fields {
		if m.Fields[i].Error != "" {
			m.Fields[i].Focus = true
			return
		}
	}
	if len(m.Fields) > 0 {
		m.Fields[0].Focus = true
	}
}

// definePreview is the path of one track as far as it is described.
type definePreview struct {
	Functions []choice
	Keys      []string
	Function  string
	Key       string
	Plot      template.HTML
	Problem   string
	Stages    []string
}

func previewOf(def *machine.Definition, function, key string) *definePreview {
	if len(def.Functions) == 0 {
		if def = provisional(def); def == nil {
			return nil
		}
	}
	p := &definePreview{}
	at := 0
	for i, f := range def.Functions {
		p.Functions = append(p.Functions, choice{Value: f.ID, Text: cmp.Or(f.Name, f.ID)})
		if f.ID == function {
			at = i
		}
	}
	f := def.Functions[at]
	p.Function, p.Keys = f.ID, def.ReplicaKeys(f.Each)
	if len(p.Keys) == 0 {
		p.Problem = "nothing says which " + cmp.Or(f.Each, "track") + "s there are"
		return p
	}
	p.Key = p.Keys[0]
	if slices.Contains(p.Keys, key) {
		p.Key = key
	}
	path, err := def.Path(f.ID, p.Key)
	if err != nil {
		p.Problem = err.Error()
		return p
	}
	if len(path) == 0 {
		p.Problem = "the function passes no stage yet"
		return p
	}
	draw := plot.PathPlot{ID: "preview", Title: p.Functions[at].Text, Main: laneOf(p.Key, path, nil)}
	if p.Key != "" {
		draw.Title += ", " + keyWord(p.Key)
	}
	for _, in := range path {
		p.Stages = append(p.Stages, in.Part())
	}
	for _, k := range p.Keys {
		if k == p.Key {
			draw.Above = len(draw.Siblings)
		} else if other, err := def.Path(f.ID, k); err == nil {
			draw.Siblings = append(draw.Siblings, laneOf(k, other, nil))
		}
	}
	for i := range def.TestPoints {
		tp := &def.TestPoints[i]
		for _, k := range def.ReplicaKeys(tp.Each) {
			if n, ok := seenAt(def, tp, k, path); ok {
				draw.Ticks = append(draw.Ticks, plot.Tick{After: n, Part: def.Designator(tp.Part, tp.Each, k)})
			}
		}
	}
	slices.SortStableFunc(draw.Ticks, func(a, b plot.Tick) int { return a.After - b.After })
	p.Plot = plot.Path(draw)
	return p
}

// provisional is a path over all stages in the order of their list, as long as no
// function says how they follow.
func provisional(def *machine.Definition) *machine.Definition {
	if len(def.Stages) == 0 {
		return nil
	}
	f := machine.Function{ID: "stages", Name: "all stages in the order of the list", Each: machine.EachTrack, With: map[string]string{}}
	for _, s := range def.Stages {
		f.Through = append(f.Through, s.ID)
		if keys := def.ReplicaKeys(s.Each); s.Each != "" && s.Each != machine.EachTrack && len(keys) > 0 {
			f.With[s.Each] = keys[0]
		}
	}
	return &machine.Definition{Tracks: def.Tracks, Replicas: def.Replicas, Groups: def.Groups, Stages: def.Stages, Functions: []machine.Function{f}}
}
