package web

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
	"headstack/unit"
)

// workKinds name the kinds of work as a person chooses one.
var workKinds = []choice{
	{string(diagnosis.WorkRepair), "repaired or replaced", ""}, {string(diagnosis.WorkClean), "cleaned or exercised", ""},
	{string(diagnosis.WorkReseat), "unplugged and plugged in again", ""}, {string(diagnosis.WorkReflow), "resoldered, the joints of the area", ""},
	{string(diagnosis.WorkSwap), "exchanged with a sibling", ""},
}

var provocations = []choice{
	{"", "left alone", ""}, {string(diagnosis.Pressed), "pressed, flexed or tapped", ""},
	{string(diagnosis.Warm), "warmed up", ""}, {string(diagnosis.Cold), "cold, just switched on", ""},
}

type worksModel struct {
	jobData
	PutBack  []openingTap // open now, innermost first
	Further  []openingTap // that can be made next
	Cautions []string     // of more than one of these
	Swaps    []swapTap
	Form     workForm
	Beside   []string // cautions of any work
	Parts    []string
	Likely   []link // suspects, to be worked on
	Done     []workRow
	Photos   photos
}

// swapTap is an exchange that stands and is undone by one tap.
type swapTap struct{ Stage, Key, With, Parts string }

// workForm is the form as typed, or as offered.
type workForm struct{ Kind, Part, With, Found, Minutes, Case string }

// workRow is a work that was done, with what is not proved of it.
type workRow struct {
	Seq       int64
	Ref, Text string
	Found     string
	Minutes   unit.Minutes
	Unproven  []diagnosis.Unproven
}

// workCautions stand beside the form: what any of the works can do.
func workCautions() []string {
	var out []string
	for _, name := range []string{"unplug", "capacitors", "solder", "solvent"} {
		if s, ok := machine.StandardCaution(name); ok {
			out = append(out, s)
		}
	}
	return out
}

func (s *server) worksModel(r *http.Request) (worksModel, error) {
	d, err := s.jobData(r, "works", "Works and openings")
	if err != nil {
		return worksModel{}, err
	}
	v := d.View
	m := worksModel{jobData: d, Photos: photosOf(v), Form: workForm{Case: string(v.Case)}, Beside: workCautions(), PutBack: openNow(v)}
	for i := range v.Def.Openings {
		o := &v.Def.Openings[i]
		if !slices.Contains(v.Open, o.ID) && (o.From == machine.Closed || slices.Contains(v.Open, o.From)) {
			m.Further = append(m.Further, tapOf(o, false))
		}
	}
	m.shareCautions()
	m.Swaps = swapsNow(v)
	for _, in := range v.Def.Instances() {
		m.Parts = append(m.Parts, in.Part())
	}
	m.Likely = likely(&d)
	m.done()
	return m, nil
}

// openNow is what is open, innermost first, as it is put back.
func openNow(v *job.View) []openingTap {
	var out []openingTap
	for _, id := range slices.Backward(v.Open) {
		if o, ok := v.Def.Opening(id); ok {
			out = append(out, tapOf(o, true))
		}
	}
	return out
}

func swapsNow(v *job.View) []swapTap {
	var out []swapTap
	for _, w := range v.Swaps {
		out = append(out, swapTap{w.Stage, w.Key, w.With, w.Part(v.Def)})
	}
	return out
}

// shareCautions takes a caution that several openings repeat to the head of the list:
// under each of them it would not be read.
func (m *worksModel) shareCautions() {
	count := map[string]int{}
	for _, t := range m.Further {
		for _, c := range t.Cautions {
			count[c]++
			if count[c] == 2 {
				m.Cautions = append(m.Cautions, c)
			}
		}
	}
	for i := range m.Further {
		t := &m.Further[i]
		t.Cautions = slices.DeleteFunc(t.Cautions, func(c string) bool { return count[c] > 1 })
	}
}

// likely names the most probable suspects, as links that fill in the form.
func likely(d *jobData) []link {
	const most = 5
	var out []link
	add := func(part string, p float64) {
		if len(out) < most && part != "" {
			out = append(out, link{"?part=" + url.QueryEscape(part) + "#work", part + " " + unit.Probability(p)})
		}
	}
	switch {
	case d.Advice != nil:
		for _, s := range d.Advice.Suspects {
			add(s.Part, s.Probability)
		}
	case d.Verdict != nil:
		suspects, _, _ := tally(d.Verdict)
		for _, s := range suspects {
			add(s.Part, s.P)
		}
	}
	return out
}

func (m *worksModel) done() {
	for _, e := range slices.Backward(m.View.Current) {
		if e.Work == nil {
			continue
		}
		row := workRow{Seq: e.Seq, Ref: e.Ref, Text: e.Work.Text(m.View.Def), Found: e.Remark, Minutes: e.Minutes}
		for _, u := range m.unproven() {
			if u.Work == e.Ref {
				row.Unproven = append(row.Unproven, u)
			}
		}
		m.Done = append(m.Done, row)
	}
}

// unproven are the cures that nobody has shown the cause of, where advice is there.
func (d *jobData) unproven() []diagnosis.Unproven {
	if d.Advice == nil {
		return nil
	}
	return d.Advice.Unproven
}

func (s *server) worksPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.worksModel(r)
	if err != nil {
		return err
	}
	m.Form.Part = r.URL.Query().Get("part")
	return render(w, http.StatusOK, "works", m)
}

func (s *server) recordWork(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	form := workForm{r.PostFormValue("kind"), r.PostFormValue("part"), r.PostFormValue("with"), r.PostFormValue("found"),
		r.PostFormValue("minutes"), r.PostFormValue("case")}
	// A tap names stage and key, a person types what is printed.
	work := job.Work{Kind: diagnosis.WorkKind(form.Kind), Stage: cmp.Or(r.PostFormValue("stage"), form.Part), Key: r.PostFormValue("key"),
		With: form.With, Back: r.PostFormValue("back_again") != ""}
	if work.Kind != diagnosis.WorkSwap {
		work.With = "" // the field stands beside all kinds
	}
	state, err := parseCase(form.Case)
	minutes, err2 := parseMinutes(form.Minutes)
	err = cmp.Or(err, err2)
	var e job.Entry
	if err == nil {
		e, err = s.bench.Record(r.Context(), r.PathValue("job"), job.Entry{Work: &work, Case: state, Remark: form.Found, Minutes: minutes})
	}
	return s.afterWork(w, r, e, err, func(m *worksModel) { m.Form = form })
}

func (s *server) recordOpening(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	e, err := s.bench.Record(r.Context(), r.PathValue("job"), job.Entry{
		Opening: &job.Opening{Opening: r.PostFormValue("opening"), Closed: r.PostFormValue("closed") != ""}})
	return s.afterWork(w, r, e, err, nil)
}

// afterWork goes back to where the tap came from, or shows the works with what was
// refused.
func (s *server) afterWork(w http.ResponseWriter, r *http.Request, e job.Entry, err error, typed func(*worksModel)) error {
	if err == nil {
		return goTo(w, r, cmp.Or(r.PostFormValue("back"), "/jobs/"+url.PathEscape(e.Job)+"/works"), e)
	}
	m, err2 := s.worksModel(r)
	if err2 != nil {
		return err
	}
	if typed != nil {
		typed(&m)
	}
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "works", m)
}

// parseMinutes reads a time as typed; empty is not said.
func parseMinutes(s string) (unit.Minutes, error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return 0, nil
	}
	v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil {
		return 0, &job.InvalidError{Field: "minutes", Value: s, Problem: "are not a number", Nearest: []string{"7", "12.5"}}
	}
	return unit.Minutes(v), nil
}
