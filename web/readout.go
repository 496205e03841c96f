package web

import (
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/lineup"
	"headstack/unit"
)

// readOut is one step as it is seen from two metres: one number, one arrow, few words.
type readOut struct {
	Step   string `json:"step"`
	Name   string `json:"name"`
	Part   string `json:"part,omitempty"` // that is turned
	Target string `json:"target,omitempty"`
	// Error is the latest reading less the target, with its 95 % interval; nil where
	// nothing was read.
	Error     *job.LineUpFigure `json:"error,omitempty"`
	Tolerance float64           `json:"tolerance,omitempty"`
	Side      lineup.Side       `json:"side,omitempty"`
	Verdict   lineup.Verdict    `json:"verdict"`
	// Before says that the reading is from before something moved, Ref which entry it is.
	Before bool   `json:"before_a_move,omitempty"`
	Ref    string `json:"ref,omitempty"`
	// Turn is what to do about the trim now.
	Turn *job.LineUpTurn `json:"turn,omitempty"`
	// Words say the same, for a person.
	Words string `json:"words"`
}

func readOutOf(l *lining) (readOut, bool) {
	s, ok := l.Step(l.here)
	if !ok {
		return readOut{}, false
	}
	x := s.Standing
	o := readOut{Step: s.ID, Name: stepLabel(&s.Step), Part: s.Part, Target: targetText(s), Tolerance: s.Target.Tolerance, Side: s.Target.Side, Verdict: lineup.NotMeasured, Ref: s.Last, Turn: s.Turn}
	if j := x.Judgement; j != nil {
		o.Verdict = j.Verdict
		if j.Verdict != lineup.NotMeasured {
			o.Error = &job.LineUpFigure{Value: j.Error, Lo: j.Lo, Hi: j.Hi, Unit: j.Unit}
		}
	}
	o.Before = o.Error != nil && (x.State == lineup.StateStale || l.turnedSince(s))
	o.Words = o.words(s)
	return o, true
}

func (o *readOut) words(s *job.LineUpStep) string {
	switch {
	case o.Before:
		return "something moved since it was read: read it again"
	case o.Turn != nil:
		return strings.TrimSuffix(o.Turn.Text, ".")
	case o.Error == nil && s.Target.Refused != "":
		return "see to it: " + s.Name
	case o.Error == nil && s.Target.At != nil:
		return "read it: a meter is to show " + s.Target.At.Text() + " at " + s.Target.At.Point
	case o.Error == nil:
		return "read it: it is to read " + o.Target
	case o.Verdict == lineup.In:
		return "inside: leave it"
	case o.Verdict == lineup.Doubt:
		return "about at the limit: read it once more"
	}
	return "outside"
}

type readOutModel struct {
	jobData
	readOut
	Root, Self string
	Is         bool // there is a step to show
	Still      bool // the page does not renew itself
	Renew      bool // it does without scripts too: only where it was asked for, as a reader may need the time
	Number     string
	Spread     string
	Arrow      *turnView
	Mark       shape
	Bar        template.HTML
	Cautions   []string

	Events    string   // where the read-out as the tape runs comes from
	Listening bool     // the bench hears a tape for this job
	Unread    string   // why this step is not read from it
	Live      *liveNow // what it says now
	Ambiguous string   // what a phase cannot tell
}

func (s *server) readOutPage(w http.ResponseWriter, r *http.Request) error {
	l, v, err := s.bench.LineUp(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	here := l.Status.Next
	if q := r.URL.Query().Get("step"); q != "" {
		if here, err = job.ParseStep(v.Def, q); err != nil {
			return err
		}
	}
	m := readOutModel{Root: jobRoot(v), Still: r.URL.Query().Get("still") != "", Renew: r.URL.Query().Get("renew") != ""}
	m.base = base{Title: "Read-out, " + v.Job.Name, Here: "line-up", Job: &v.Job}
	m.Self = m.Root + "/line-up/read-out?"
	if q := r.URL.Query().Get("step"); q != "" {
		m.Self += "step=" + url.QueryEscape(here) + "&"
	}
	m.readOut, m.Is = readOutOf(&lining{l, here})
	if m.Is {
		st, _ := l.Step(m.Step)
		m.Cautions = st.Cautions
		m.show()
		if !m.Still {
			m.Events = m.Root + "/line-up/read-out/events?step=" + url.QueryEscape(m.Step)
			s.hearNow(r, &m)
		}
	}
	if q := r.URL.Query().Get("saved"); q != "" {
		m.Saved = savedOf(v, q)
		m.Back = m.Self
	}
	return render(w, http.StatusOK, "readout", m)
}

// hearNow puts what the tape that runs now says into the place of the latest reading.
func (s *server) hearNow(r *http.Request, m *readOutModel) {
	f, h, why, err := s.follow(r.Context(), r.PathValue("job"), m.Step)
	if m.Listening = err == nil && h != nil; !m.Listening {
		return
	}
	if m.Unread = why; f == nil {
		return
	}
	if now, ok := s.readNow(r.Context(), f); ok {
		m.readOut, m.Number, m.Spread, m.Arrow, m.Mark, m.Bar, m.Live, m.Ambiguous = now.readOut, now.Number, now.Spread, now.Arrow, now.Mark, now.Bar, now.Live, now.Ambiguous
	}
}

// show sets the number, the bar and the arrow of a read-out.
func (m *readOutModel) show() {
	m.Bar, m.Arrow, m.Spread = "", nil, ""
	m.Number, m.Mark = "–", verdictMark(m.readOut.Verdict)
	if e := m.Error; e != nil {
		m.Number, m.Spread = unit.Figure{Value: e.Value, Lo: e.Lo, Hi: e.Hi, Unit: e.Unit, Difference: true}.Parts()
		if m.Side == lineup.Both {
			m.Bar = readOutBar(*e, m.Tolerance)
		}
	}
	if m.Turn != nil && !m.Before {
		m.Arrow = turnOf(m.Turn)
	}
}

// readOutBar draws the reading, a mark with its interval, on a scale of four tolerances to
// either side; the tolerance is a hatched border, and what is beyond the scale an arrow at
// its end.
func readOutBar(e job.LineUpFigure, tolerance float64) template.HTML {
	if !(tolerance > 0) {
		return ""
	}
	const half, scale = 480.0, 4.0
	at := func(v float64) float64 { return 500 + max(-half, min(half, v/tolerance/scale*half)) }
	var b strings.Builder
	lo, hi := at(-tolerance), at(tolerance)
	b.WriteString(`<svg class="bar" viewBox="0 0 1000 90" role="img" aria-label="` + template.HTMLEscapeString("the reading against target and tolerance: off by "+lineUpFigure(e)) + `">`)
	line := func(class string, x1, y1, x2, y2 float64) {
		b.WriteString(`<line class="` + class + `" x1="` + coord(x1) + `" y1="` + coord(y1) + `" x2="` + coord(x2) + `" y2="` + coord(y2) + `"/>`)
	}
	line("axis", 20, 45, 980, 45)
	for x := lo; x <= hi+0.01; x += (hi - lo) / 16 {
		line("hatch", x, 20, min(hi, x+8), 12)
		line("hatch", x, 78, min(hi, x+8), 70)
	}
	line("edge", lo, 12, lo, 78)
	line("edge", hi, 12, hi, 78)
	line("aim", 500, 5, 500, 85)
	line("spread", at(e.Lo), 45, at(e.Hi), 45)
	x := at(e.Value)
	points := []float64{x, 28, x + 17, 45, x, 62, x - 17, 45}
	switch {
	case e.Value/tolerance > scale:
		points = []float64{x - 22, 25, x + 18, 45, x - 22, 65}
	case e.Value/tolerance < -scale:
		points = []float64{x + 22, 25, x - 18, 45, x + 22, 65}
	}
	b.WriteString(`<polygon class="is" points="`)
	for i, p := range points {
		if i > 0 {
			b.WriteByte(" ,"[i%2])
		}
		b.WriteString(coord(p))
	}
	b.WriteString(`"/></svg>`)
	return template.HTML(b.String())
}

func coord(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }
