package web

import (
	"cmp"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
	"headstack/plot"
	"headstack/report"
)

type pathModel struct {
	jobData
	Functions []choice
	Keys      []string
	Function  string
	Key       string
	Modes     []string
	Plot      template.HTML
	Stages    []diagnosis.StageState
	Points    []pointRow
	Question  *question
	Form      readingForm
	PathError string
	Where     []spotView             // where the test points and the suspects of this path are
	Meters    []diagnosis.Instrument // that can be asked
	SinglePts []choice               // every test point of the definition, for the form
}

// pointRow is one test point on the path with what was read there.
type pointRow struct {
	ID, Key, Part, After, Expect string
	Reading                      string // newest, empty: none
	Ref                          string
	Siblings                     string
	ReTake                       bool
	Next                         bool
}

// readingForm is the form as typed, or as offered.
type readingForm struct {
	Point, Value, Instrument, Session, Tone, Case, Remark string
	Same                                                  bool // probe not lifted since
	Provoked, Minutes                                     string
}

func (s *server) pathPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	m, err := s.pathModel(r, q.Get("function"), q.Get("key"))
	if err != nil {
		return err
	}
	if p := q.Get("point"); p != "" {
		m.Form.Point = p
	}
	if m.Saved != nil {
		for _, e := range m.View.Current {
			if e.Seq == m.Saved.Seq {
				m.Question = questionOf(m.View, e)
				m.ready(q.Get("taken"))
			}
		}
	}
	return render(w, http.StatusOK, "path", m)
}

func (s *server) pathModel(r *http.Request, function, key string) (pathModel, error) {
	d, err := s.jobData(r, "path", "Signal path")
	if err != nil {
		return pathModel{}, err
	}
	m := pathModel{jobData: d}
	for _, f := range d.View.Def.Functions {
		m.Functions = append(m.Functions, choice{Value: f.ID, Text: cmp.Or(f.Name, f.ID)})
	}
	m.choose(function, key)
	m.draw()
	m.where(r.URL.Query().Get("point"))
	m.Form = m.offeredForm()
	m.Meters = metersOf(d.View)
	for _, tp := range d.View.Def.TestPoints {
		for _, k := range d.View.Def.ReplicaKeys(tp.Each) {
			m.SinglePts = append(m.SinglePts, choice{tp.ID + "/" + k, d.View.Def.Designator(tp.Part, tp.Each, k) + ", " + tp.Name, ""})
		}
	}
	return m, nil
}

// choose settles function and track: as asked, else where the next action lies,
// else the first suspect, else the first.
func (m *pathModel) choose(function, key string) {
	def := m.View.Def
	if function == "" {
		function, key = m.whereNext(key)
	}
	f, ok := def.Function(function)
	if !ok && len(def.Functions) > 0 {
		f, ok = &def.Functions[0], true
	}
	if !ok {
		return
	}
	m.Function, m.Keys, m.Modes = f.ID, def.ReplicaKeys(f.Each), f.Modes
	m.Key = key
	if !slices.Contains(m.Keys, key) && len(m.Keys) > 0 {
		m.Key = m.Keys[0]
	}
}

// whereNext finds a function and key whose path passes the place of the next action.
func (m *pathModel) whereNext(key string) (string, string) {
	def := m.View.Def
	if m.Verdict == nil || len(m.View.Current) == 0 {
		return "", key
	}
	a := m.Place
	if a.Function != "" && a.TestPoint == "" {
		return a.Function, a.Key
	}
	if tp, ok := def.TestPoint(a.TestPoint); ok && tp.Function != "" {
		if f, ok := def.Function(tp.Function); ok {
			for _, k := range def.ReplicaKeys(f.Each) {
				if pk, ok := pointKey(def, tp, f.ID, k); ok && pk == a.Key {
					return f.ID, k
				}
			}
		}
	}
	suspects, _, _ := tally(m.Verdict)
	for _, s := range suspects {
		for _, f := range def.Functions {
			for _, k := range def.ReplicaKeys(f.Each) {
				path, err := def.Path(f.ID, k)
				if err == nil && slices.ContainsFunc(path, func(in machine.Instance) bool { return in.Stage.ID == s.Stage && in.Key == s.Key }) {
					return f.ID, k
				}
			}
		}
	}
	return "", key
}

// pointKey is the replica of a test point that the path of function at key passes.
func pointKey(def *machine.Definition, tp *machine.TestPoint, function, key string) (string, bool) {
	path, err := def.Path(function, key)
	if err != nil {
		return "", false
	}
	for _, k := range def.ReplicaKeys(tp.Each) {
		if _, ok := seenAt(def, tp, k, path); ok {
			return k, true
		}
	}
	return "", false
}

// seenAt is the index of the last stage of path that a test point sees; ok is
// false when the point does not lie on it.
func seenAt(def *machine.Definition, tp *machine.TestPoint, key string, path []machine.Instance) (int, bool) {
	seen, err := def.TestPointPath(tp, key)
	if err != nil || len(seen) == 0 {
		return 0, false
	}
	for _, in := range seen {
		if !slices.Contains(path, in) {
			return 0, false
		}
	}
	i := slices.Index(path, seen[len(seen)-1])
	return i, i >= 0
}

func (m *pathModel) draw() {
	def := m.View.Def
	states := map[machine.Instance]diagnosis.StageState{}
	if m.Verdict != nil {
		for _, s := range m.Verdict.Stages {
			if st, ok := def.Stage(s.Stage); ok {
				states[machine.Instance{Stage: st, Key: s.Key}] = s
			}
		}
	}
	path, err := def.Path(m.Function, m.Key)
	if err != nil {
		m.PathError = err.Error()
		return
	}
	for _, in := range path {
		m.Stages = append(m.Stages, stateOf(def, in, states))
	}
	p := plot.PathPlot{Title: m.functionName(), Main: laneOf(m.Key, path, states)}
	if m.Key != "" {
		p.Title += ", " + keyWord(m.Key)
	}
	for _, k := range m.Keys {
		if k == m.Key {
			p.Above = len(p.Siblings)
			continue
		}
		if other, err := def.Path(m.Function, k); err == nil {
			p.Siblings = append(p.Siblings, laneOf(k, other, states))
		}
	}
	m.points(path, &p)
	m.Plot = plot.Path(p)
}

func stateOf(def *machine.Definition, in machine.Instance, states map[machine.Instance]diagnosis.StageState) diagnosis.StageState {
	s, ok := states[in]
	if !ok {
		s = diagnosis.StageState{Stage: in.Stage.ID, Key: in.Key, Status: diagnosis.Unknown}
	}
	s.Part, s.Name = cmp.Or(s.Part, in.Part()), cmp.Or(s.Name, in.Stage.Name)
	s.Board = cmp.Or(s.Board, in.Stage.Board)
	return s
}

func laneOf(key string, path []machine.Instance, states map[machine.Instance]diagnosis.StageState) plot.Lane {
	l := plot.Lane{Key: key}
	for _, in := range path {
		s := states[in]
		st := plot.PathStage{ID: in.Stage.ID + "/" + in.Key, Part: in.Part(), P: s.P}
		switch s.Status {
		case diagnosis.Proved:
			st.Mark = plot.MarkProved
		case diagnosis.Suspect:
			st.Mark = plot.MarkSuspect
		}
		l.Stages = append(l.Stages, st)
	}
	return l
}

// points lists the test points on the path, in signal order, and hangs them
// below the drawing.
func (m *pathModel) points(path []machine.Instance, p *plot.PathPlot) {
	def := m.View.Def
	type at struct {
		row pointRow
		i   int
	}
	var list []at
	for i := range def.TestPoints {
		tp := &def.TestPoints[i]
		for _, k := range def.ReplicaKeys(tp.Each) {
			if n, ok := seenAt(def, tp, k, path); ok {
				list = append(list, at{m.pointRow(tp, k, path[n].Part()), n})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b at) int { return a.i - b.i })
	for _, a := range list {
		m.Points = append(m.Points, a.row)
		p.Ticks = append(p.Ticks, plot.Tick{After: a.i, Part: a.row.Part, Read: a.row.Reading != "", Next: a.row.Next})
	}
}

func (m *pathModel) pointRow(tp *machine.TestPoint, key, after string) pointRow {
	def := m.View.Def
	row := pointRow{ID: tp.ID, Key: key, Part: def.Designator(tp.Part, tp.Each, key), After: after, Expect: quantityText(tp.Expect)}
	for _, e := range slices.Backward(m.View.Current) {
		if e.Reading != nil && e.Reading.TestPoint == tp.ID && e.Reading.Key == key {
			row.Reading, row.Ref = report.Typed(*e.Reading), e.Ref
			row.ReTake = questionOf(m.View, e) != nil
			break
		}
	}
	if values, _, _ := siblings(m.View, job.Reading{TestPoint: tp.ID, Key: key, Unit: tp.Expect.Unit, ToneHz: tp.ToneHz}); len(values) > 0 {
		base := baseOf(tp.Expect.Unit)
		row.Siblings = engineering(slices.Min(values), base)
		if len(values) > 1 {
			row.Siblings += " to " + engineering(slices.Max(values), base)
		}
	}
	row.Next = m.Place.TestPoint == tp.ID && m.Place.Key == key
	return row
}

// spotsOnPath is how many places of a path are shown; each is a picture to be sent.
const spotsOnPath = 12

// where finds the places of this path for the track at hand: the point that was asked for and the
// next one first, then the suspects, then the other points.
func (m *pathModel) where(asked string) {
	def := m.View.Def
	var first, rest []spotView
	for _, p := range m.Points {
		tp, ok := def.TestPoint(p.ID)
		if !ok {
			continue
		}
		if spots := spotViews(m.Spots.Point(tp, p.Key), 1); p.Next || asked == p.ID+"/"+p.Key {
			first = append(first, spots...)
		} else {
			rest = append(rest, spots...)
		}
	}
	for _, s := range m.Stages {
		if s.Status == diagnosis.Suspect {
			first = append(first, m.SpotsOf(s.Part)...)
		}
	}
	m.Where = append(first, rest...)
	m.Where = m.Where[:min(spotsOnPath, len(m.Where))]
}

func (m *pathModel) functionName() string {
	for _, f := range m.Functions {
		if f.Value == m.Function {
			return f.Text
		}
	}
	return m.Function
}

func keyWord(key string) string {
	if _, err := strconv.Atoi(key); err == nil {
		return "track " + key
	}
	return key
}

func (m *pathModel) offeredForm() readingForm {
	f := readingForm{Case: string(m.View.Case)}
	if last := lastReading(m.View); last != nil {
		f.Instrument, f.Session = last.Instrument, last.Session
	}
	if c := m.Card; c != nil && c.Reading != nil {
		f.Point = c.Reading.TestPoint + "/" + c.Reading.Key
	}
	return f
}

func (s *server) recordReading(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	id := r.PathValue("job")
	v, err := s.bench.View(r.Context(), id)
	if err != nil {
		return err
	}
	rd, err := s.readingOf(r, v)
	state, err2 := parseCase(r.PostFormValue("case"))
	minutes, err3 := parseMinutes(r.PostFormValue("minutes"))
	err = cmp.Or(err, err2, err3)
	var e job.Entry
	if err == nil {
		e, err = s.bench.Record(r.Context(), id, job.Entry{Reading: &rd, Case: state, Remark: r.PostFormValue("remark"), Minutes: minutes})
	}
	if err == nil {
		// The path page asks at once when the reading is far from its siblings.
		to := url.Values{"function": {r.PostFormValue("show")}, "key": {r.PostFormValue("show_key")}}
		return goTo(w, r, "/jobs/"+url.PathEscape(id)+"/path?"+to.Encode(), e)
	}
	m, err2 := s.pathModel(r, r.PostFormValue("show"), r.PostFormValue("show_key"))
	if err2 != nil {
		return err
	}
	m.Form = typedForm(r)
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "path", m)
}

// typedForm is the form of a reading as it was typed.
func typedForm(r *http.Request) readingForm {
	return readingForm{Point: r.PostFormValue("point"), Value: r.PostFormValue("value"), Instrument: r.PostFormValue("instrument"),
		Session: r.PostFormValue("session"), Tone: r.PostFormValue("tone"), Case: r.PostFormValue("case"), Remark: r.PostFormValue("remark"), Same: r.PostFormValue("same") != "",
		Provoked: r.PostFormValue("provoked"), Minutes: r.PostFormValue("minutes")}
}

// ready puts the focus on taking the next reading where the last one came from a meter
// and raised no question: both hands stay at the probe but for one key.
func (m *pathModel) ready(taken string) {
	if m.Card != nil && m.Card.Reading != nil && taken != "" && m.Question == nil {
		m.Card.Reading.Ready = true
	}
}
