package web

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/lineup"
	"headstack/unit"
)

type proveModel struct {
	jobData
	Refused string // why there is no line-up
	Opens   []openThing
	Proof   *proofView
	Soak    soakView
}

// openThing is something that keeps a job from being proved or handed over.
type openThing struct {
	Mark       shape
	Text       string
	Href, Link string
}

// soakView is a soak with the form for its next readings.
type soakView struct {
	Begun   bool
	State   lineup.SoakState
	Hours   string
	Between string
	Points  []soakPoint
	Changes []soakChange
	At      string // minutes that the form offers, or as typed
	Fields  []soakField
}

type soakPoint struct {
	Minutes string
	What    string
	Missing int
	Done    bool
	Next    bool
}

type soakChange struct {
	Of, At, Change string
	Mark           shape
}

// soakField is one figure of a set of readings.
type soakField struct {
	Name, Label, Unit, Value string
	measure                  string
	track                    int
}

var errSoakEmpty = &job.InvalidError{Field: "figures", Problem: "are all empty; type at least one"}

func (s *server) proveModel(r *http.Request, at string, typed func(name string) string) (proveModel, error) {
	d, err := s.jobData(r, "prove", "Prove")
	if err != nil {
		return proveModel{}, err
	}
	m := proveModel{jobData: d}
	l, v, err := s.bench.LineUp(r.Context(), d.View.Job.ID)
	if e, ok := asNoLineUp(err); ok {
		m.Refused = e.Err.Error()
		v, err = d.View, nil
	}
	if err != nil {
		return m, err
	}
	m.Opens = unproved(&d)
	var log []lineup.Event
	if l != nil {
		m.Proof = proofOf(&lining{l, l.Status.Next})
		log = l.Log
	}
	m.Soak = soakOf(v, log, at, typed)
	return m, nil
}

func (s *server) provePage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.proveModel(r, "", func(string) string { return "" })
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "prove", m)
}

// unproved lists what the record leaves open before a recorder is proved: what stands
// open, what failed and was not tried again, cures without a cause, the capture.
func unproved(d *jobData) []openThing {
	v, root := d.View, jobRoot(d.View)
	var out []openThing
	for _, t := range openNow(v) {
		out = append(out, openThing{shape{"suspect", "▲", "open"}, t.Name + " is still open", root + "/works", "put it back"})
	}
	for _, f := range v.Faults() {
		if !f.Cured {
			text := f.Name + ": " + string(f.Entry.Check.Outcome)
			if f.Number > 0 {
				text = fmt.Sprintf("fault %d, %s", f.Number, text)
			}
			out = append(out, openThing{outcomeMark(f.Entry.Check.Outcome), text + " when it was last tried (" + f.Entry.Ref + ")", root + "/sheet", "try it again"})
		}
	}
	if d.Advice != nil {
		for _, u := range d.Advice.Unproven {
			out = append(out, openThing{shape{"unproven", "◨", "unproven"}, fmt.Sprintf("%s was gone after %s and no cause was shown; it comes back with %s", u.Symptom, u.Work, unit.Probability(u.Returns)), root + "/works#done", "what would prove it"})
		}
	}
	if d.Verdict != nil && len(v.Current) > 0 {
		if suspects, _, _ := tally(d.Verdict); len(suspects) > 0 {
			out = append(out, openThing{statusMark(diagnosis.Suspect), plural(len(suspects), "part is", "parts are") + " suspect", root + "/path", "find"})
		}
	}
	if !closedAgain(v) {
		out = append(out, openThing{shape{"unknown", "○", "missing"}, "no capture of the test tape with the case closed follows the work; the as-found one does not count", root + "/captures", "capture it"})
	}
	return out
}

func soakOf(v *job.View, log []lineup.Event, at string, typed func(string) string) soakView {
	plan := lineup.NewSoak(v.Def, 0)
	s := soakView{State: plan.State(log), Hours: strconv.FormatFloat(plan.Hours, 'g', -1, 64), Between: plan.Between, At: at}
	for _, e := range log {
		s.Begun = s.Begun || e.Kind == lineup.Soaked
	}
	for i, p := range s.State.Points {
		s.Points = append(s.Points, soakPoint{number(p.AtMinutes), plan.Points[i].What, len(p.Missing), p.Done, !s.State.Done && p.AtMinutes == s.State.Next})
	}
	if s.At == "" && s.State.Next >= 0 {
		s.At = number(s.State.Next)
	}
	for _, l := range plan.Limits {
		for t := range max(1, l.Tracks) {
			f := soakField{Name: l.Measure, Label: soakLabel(l), Unit: l.Unit, measure: l.Measure}
			if l.Tracks > 0 {
				f.track = t + 1
				f.Name += "/" + strconv.Itoa(f.track)
				f.Label += ", track " + strconv.Itoa(f.track)
			}
			f.Value = typed(f.Name)
			s.Fields = append(s.Fields, f)
		}
	}
	for _, c := range s.State.Changes {
		x := soakChange{Of: strings.ReplaceAll(c.Measure, "_", " "), At: number(c.AtMinutes), Mark: verdictMark(c.Judgement.Verdict)}
		if c.Track > 0 {
			x.Of += ", track " + strconv.Itoa(c.Track)
		}
		if c.Judgement.Verdict != lineup.NotMeasured {
			x.Change = errorText(&c.Judgement)
		}
		s.Changes = append(s.Changes, x)
	}
	return s
}

func soakLabel(l lineup.SoakLimit) string {
	name := map[string]string{"speed_error": "speed error", "azimuth_line": "azimuth", "level": "level", "response": "treble"}[l.Measure]
	if l.ToneHz > 0 {
		name += " at " + unit.Frequency(unit.Hertz(l.ToneHz))
	}
	return name
}

// recordSoak records each figure of a set that was typed: all are read before any is kept.
func (s *server) recordSoak(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	at, err := soakMinutes(r.PostFormValue("at"))
	var list []job.Soak
	for _, f := range soakOf(v, nil, "", r.PostFormValue).Fields {
		text := strings.TrimSpace(f.Value)
		if text == "" || err != nil {
			continue
		}
		var value float64
		if value, err = parseSigned(text); err != nil {
			err = &job.InvalidError{Field: f.Label, Value: text, Problem: "is not a number in " + f.Unit}
		}
		list = append(list, job.Soak{AtMinutes: at, Measure: f.measure, Track: f.track, Value: value, Unit: f.Unit})
	}
	if err == nil && len(list) == 0 {
		err = errSoakEmpty
	}
	var e job.Entry
	for i := range list {
		if err == nil {
			e, err = s.bench.Record(r.Context(), v.Job.ID, job.Entry{Soak: &list[i], Case: v.Case})
		}
	}
	if err == nil {
		return goTo(w, r, jobRoot(v)+"/prove#soak", e)
	}
	m, err2 := s.proveModel(r, r.PostFormValue("at"), r.PostFormValue)
	if err2 != nil {
		return errors.Join(err, err2)
	}
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "prove", m)
}

func soakMinutes(s string) (float64, error) {
	v, err := parseSigned(s)
	if err != nil || v < 0 {
		return 0, &job.InvalidError{Field: "minutes since the soak began", Value: s, Problem: "are not a number from 0 up"}
	}
	return v, nil
}

// parseSigned reads a number with either minus.
func parseSigned(s string) (float64, error) {
	return strconv.ParseFloat(strings.NewReplacer("\u2212", "-", ",", ".").Replace(strings.TrimSpace(s)), 64)
}
