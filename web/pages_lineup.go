package web

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/lineup"
	"headstack/measure"
	"headstack/trim"
	"headstack/unit"
)

type lineUpModel struct {
	jobData
	Root     string // of the job
	Self     string // this page with its step, where its forms return to
	Refused  string // why there is no line-up
	Tally    []tallyMark
	Before   string // what should come before a line-up
	Problems []string
	Now      *stepPanel
	Complete bool
	Phases   []phaseView
	Offsets  []offsetView
	Passes   []passRow
	Waits    []string // the gates that the good test tape waits for
	Tapes    []choice // that can be played
	Output   string   // what the reference output gives at the interface; empty: not recorded
	Typed    string   // for that, where it was refused
	Proof    *proofView
}

// passRow is how often a test tape was played, and how often it must be.
type passRow struct {
	Tape            string
	Played, Planned int
}

// proofView is the closing proof by measure, tracks as rows.
type proofView struct {
	*lineup.Proof
	Tables []proofTable // of what was read
	Unread []proofTable // the rest
	Signed []signedRow
}

type signedRow struct {
	lineup.SignOff
	link
}

type proofTable struct {
	Title, Reference string
	Target           string // where all rows have the same
	Rows             []proofLine
}

type proofLine struct {
	Track                    int
	Href                     string
	Found, Left, Target, Err string
	Mark                     shape
	Why                      string
}

func (s *server) lineUpPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.lineUpModel(r, r.URL.Query().Get("step"))
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "lineup", m)
}

// lineUpModel shows the line-up with one step chosen; an empty one is the next.
func (s *server) lineUpModel(r *http.Request, step string) (lineUpModel, error) {
	d, err := s.jobData(r, "line-up", "Line-up")
	if err != nil {
		return lineUpModel{}, err
	}
	d.Card = nil // here the step chosen says what is next
	m := lineUpModel{jobData: d, Root: jobRoot(d.View)}
	l, v, err := s.bench.LineUp(r.Context(), d.View.Job.ID)
	if e, ok := asNoLineUp(err); ok {
		m.Refused = e.Err.Error()
		return m, nil
	}
	if err != nil {
		return m, err
	}
	if step != "" {
		if step, err = job.ParseStep(v.Def, step); err != nil {
			return m, err
		}
	}
	m.Self = m.Root + "/line-up"
	if step != "" {
		m.Self += "?step=" + url.QueryEscape(step)
	}
	in := &lining{l, cmp.Or(step, l.Status.Next)}
	m.fill(in, v)
	if m.Now != nil {
		m.Now.Stairs = in.stairs(m.Now.LineUpStep, v, m.Self, s.progress.newToken())
	}
	return m, nil
}

func jobRoot(v *job.View) string { return "/jobs/" + url.PathEscape(v.Job.ID) }

func (m *lineUpModel) fill(l *lining, v *job.View) {
	m.Phases = l.phases()
	m.Tally = total(m.Phases)
	if m.Verdict != nil {
		if suspects, _, _ := tally(m.Verdict); len(suspects) > 0 {
			m.Before = plural(len(suspects), "part is", "parts are") + " still suspect. A recorder is lined up when its faults are cured: what is set around a fault is set again after it."
		}
	}
	m.Problems = append(slices.Clone(l.Problems), l.Doubts...)
	m.Now, m.Complete = l.panel(v), l.Status.Complete()
	m.Offsets = offsetViews(l.LineUp, "")
	for _, t := range l.Tapes {
		if !t.Fits && t.Passes == 0 {
			continue
		}
		row := passRow{Tape: t.Name, Played: t.Passes}
		for _, p := range l.LineUp.Passes {
			if p.Tape == t.Name {
				row.Planned++
			}
		}
		m.Passes = append(m.Passes, row)
		if t.ID != "" {
			m.Tapes = append(m.Tapes, choice{t.ID, t.Name, ""})
		}
	}
	if !l.MayPlay {
		for _, w := range l.LineUp.Waits {
			m.Waits = append(m.Waits, l.link(w).Text)
		}
	}
	if o := l.OutputDBFS; o != nil {
		m.Output = lineUpFigure(job.LineUpFigure{Value: o.Value, Lo: o.Value - o.Half, Hi: o.Value + o.Half, Unit: "dBFS"})
	}
	m.Proof = proofOf(l)
}

func proofOf(l *lining) *proofView {
	p := &proofView{Proof: l.LineUp.Proof}
	var all []proofTable
	for _, s := range p.Proof.SignOffs {
		p.Signed = append(p.Signed, signedRow{s, *l.link(s.Step)})
	}
	for i := range p.Proof.Rows {
		row := &p.Proof.Rows[i]
		title := row.Title
		if row.ToneHz > 0 {
			title += " at " + unit.Frequency(unit.Hertz(row.ToneHz))
		}
		if row.SpeedCmS > 0 {
			title += ", " + strconv.FormatFloat(row.SpeedCmS, 'g', -1, 64) + "\u2009cm/s"
		}
		i := slices.IndexFunc(all, func(t proofTable) bool { return t.Title == title })
		if i < 0 {
			i = len(all)
			all = append(all, proofTable{Title: title, Reference: row.Target.Reference, Target: row.Target.Text()})
		}
		x := proofLineOf(row)
		all[i].Rows = append(all[i].Rows, x)
		if x.Target != all[i].Target {
			all[i].Target = ""
		}
	}
	for _, t := range all {
		if slices.ContainsFunc(t.Rows, func(x proofLine) bool { return x.Found != "" || x.Left != "" || x.Mark.Word == "signed off" }) {
			p.Tables = append(p.Tables, t)
		} else {
			p.Unread = append(p.Unread, t)
		}
	}
	return p
}

// readText is a figure, or the level below which it is lost in the noise.
func readText(r *measure.Result) string {
	if most, ok := r.Bound(); ok {
		return "below " + unit.Signed(most, 1) + unit.ThinSpace + r.Unit
	}
	return r.Figure().String()
}

func proofLineOf(row *lineup.ProofRow) proofLine {
	x := proofLine{Track: row.Track, Href: stepHref(row.Step), Target: row.Target.Text(), Mark: verdictMark(row.Verdict), Why: row.Why}
	if row.AsFound != nil {
		x.Found = readText(row.AsFound)
	}
	if row.AsLeft != nil {
		x.Left = readText(row.AsLeft)
	}
	if row.Left.Verdict != lineup.NotMeasured {
		x.Err = errorText(&row.Left)
	}
	if row.Signed != nil {
		x.Mark = shape{"unproven", "◧", "signed off"}
	}
	return x
}

// Writes of the line-up: each is one entry, and comes back to the page with it.

func (s *server) recordFigure(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	form := stepForm{Value: r.PostFormValue("value"), Half: r.PostFormValue("half"), Instrument: r.PostFormValue("instrument"), Case: r.PostFormValue("case")}
	return s.recordLineUp(w, r, form, func(ctx context.Context, id string) (job.Entry, error) {
		state, err := parseCase(form.Case)
		if err != nil {
			return job.Entry{}, err
		}
		l, _, err := s.bench.LineUp(ctx, id)
		if err != nil {
			return job.Entry{}, err
		}
		understood := []string{"dBFS"} // of the reference output
		if st, ok := l.Step(r.PostFormValue("step")); ok {
			understood = []string{st.Target.Unit}
			if st.Target.At != nil {
				understood = append(understood, st.Target.At.Unit)
			}
		}
		f := job.Figure{Step: r.PostFormValue("step"), Instrument: form.Instrument}
		if f.Value, f.Unit, err = typedFigure("value", form.Value, understood...); err != nil {
			return job.Entry{}, err
		}
		if f.Half, err = typedHalf(form.Half, f.Unit); err != nil {
			return job.Entry{}, err
		}
		return job.Entry{Figure: &f, Case: state}, nil
	})
}

// typedFigure reads a value in one of the units understood; a number alone is in the
// first. Units that only a line-up reads, such as arcminutes, are taken as written.
func typedFigure(field, text string, understood ...string) (v float64, name string, err error) {
	number := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), understood[0]))
	if v, err = strconv.ParseFloat(strings.NewReplacer(",", ".", unit.Minus, "-").Replace(number), 64); err == nil {
		return v, understood[0], nil
	}
	for _, u := range slices.Backward(understood) { // what is said of a refusal names the first
		if v, name, err = job.ParseValue(field, text, u); err == nil {
			return v, name, nil
		}
	}
	return 0, "", err
}

func (s *server) recordTurn(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	form := stepForm{By: r.PostFormValue("by"), Way: r.PostFormValue("way"), Stopped: r.PostFormValue("stopped") != "", Travel: r.PostFormValue("travel")}
	return s.recordLineUp(w, r, form, func(context.Context, string) (job.Entry, error) {
		t := job.Turn{Trim: r.PostFormValue("trim"), Key: r.PostFormValue("key")}
		if err := form.turn(&t); err != nil {
			return job.Entry{}, err
		}
		return job.Entry{Turn: &t}, nil
	})
}

// parseTravel reads how far a trim was turned, as typed: "30", "30°", "1/4 turn", "1.5
// turns". A number without unit is in the trim's own; empty is not noted.
func parseTravel(text string) (by float64, u trim.TravelUnit, err error) {
	t := strings.TrimSpace(strings.Replace(text, ",", ".", 1))
	for suffix, is := range map[string]trim.TravelUnit{"°": trim.Degrees, "deg": trim.Degrees, "degrees": trim.Degrees, "turn": trim.Turns, "turns": trim.Turns} {
		if rest, ok := strings.CutSuffix(t, suffix); ok {
			t, u = strings.TrimSpace(rest), is
			break
		}
	}
	if t == "" && u == "" {
		return 0, "", nil
	}
	over := 1.0
	if a, b, ok := strings.Cut(t, "/"); ok {
		if over, err = strconv.ParseFloat(strings.TrimSpace(b), 64); err != nil || over == 0 {
			over, t = 1, "?"
		} else {
			t = strings.TrimSpace(a)
		}
	}
	by, err = strconv.ParseFloat(t, 64)
	if err != nil || by < 0 {
		return 0, "", &job.InvalidError{Field: "turn", Value: text, Problem: "is not how far a trim was turned; which way is said by the button", Nearest: []string{"30°", "1/4 turn", "1.5 turns"}}
	}
	return by / over, u, nil
}

func (s *server) recordGate(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	return s.recordLineUp(w, r, stepForm{}, func(context.Context, string) (job.Entry, error) {
		return job.Entry{Gate: &job.Gate{Step: r.PostFormValue("step"), Lost: r.PostFormValue("lost") != ""}}, nil
	})
}

func (s *server) recordSignOff(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	form := stepForm{Reason: r.PostFormValue("reason"), Initials: r.PostFormValue("by")}
	return s.recordLineUp(w, r, form, func(context.Context, string) (job.Entry, error) {
		return job.Entry{SignOff: &job.SignOff{Step: r.PostFormValue("step"), Reason: form.Reason, By: form.Initials}}, nil
	})
}

func (s *server) recordPass(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	return s.recordLineUp(w, r, stepForm{}, func(context.Context, string) (job.Entry, error) {
		return job.Entry{Pass: &job.Pass{Tape: r.PostFormValue("tape")}}, nil
	})
}

// recordLineUp keeps an entry and goes back to where the form was, or shows the step again
// with what was typed.
func (s *server) recordLineUp(w http.ResponseWriter, r *http.Request, typed stepForm, make func(context.Context, string) (job.Entry, error)) error {
	e, err := make(r.Context(), r.PathValue("job"))
	if err == nil {
		e, err = s.bench.Record(r.Context(), r.PathValue("job"), e)
	}
	if err == nil {
		return goTo(w, r, cmp.Or(r.PostFormValue("back"), "/jobs/"+url.PathEscape(e.Job)+"/line-up"), e)
	}
	m, err2 := s.lineUpModel(r, s.stepOfForm(r))
	if err2 != nil {
		return err
	}
	if r.PostFormValue("step") == job.ReferenceOutput {
		m.Typed = typed.Value
	} else if m.Now != nil {
		typed.Case = cmp.Or(typed.Case, m.Now.Form.Case)
		m.Now.Form = typed
	}
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "lineup", m)
}

// stepOfForm is the step whose form was refused; empty where that is the trouble.
func (s *server) stepOfForm(r *http.Request) string {
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return ""
	}
	step := r.PostFormValue("step")
	if step == "" && r.PostFormValue("trim") != "" {
		if l, _, err := s.bench.LineUp(r.Context(), r.PathValue("job")); err == nil {
			if st, ok := l.Order.Trim(r.PostFormValue("trim"), r.PostFormValue("key")); ok {
				return st.ID
			}
		}
	}
	id, err := job.ParseStep(v.Def, step)
	if err != nil {
		return ""
	}
	return id
}

// lineUpStep is the step that an entry of a line-up belongs to; empty where it has none.
func lineUpStep(v *job.View, e job.Entry) string {
	switch {
	case e.Figure != nil && e.Figure.Step != job.ReferenceOutput:
		return e.Figure.Step
	case e.Gate != nil:
		return e.Gate.Step
	case e.SignOff != nil:
		return e.SignOff.Step
	case e.Turn != nil:
		id, err := job.ParseStep(v.Def, e.Turn.Part(v.Def))
		if err == nil {
			return id
		}
	}
	return ""
}
