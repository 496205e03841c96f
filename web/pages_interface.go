package web

import (
	"fmt"
	"net/http"

	"headstack/job"
	"headstack/measure"
	"headstack/plot"
	"headstack/report"
)

type interfaceModel struct {
	base
	ID     string
	L      job.Loopback
	When   string
	Plot   plot.Drawing
	Drawn  bool
	Tables []report.Table
	Refuse []string
}

func (s *server) interfacePage(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("interface")
	l, err := s.bench.Loopback(r.Context(), id)
	if err != nil {
		return err
	}
	m := interfaceModel{base: base{Title: l.Response.Name, Here: "library"}, ID: id, L: l, When: whenText(l.Response.When)}
	var figures []measure.Result
	var courses []measure.Trace
	for _, c := range l.Response.Channels {
		if c.Refused != "" {
			m.Refuse = append(m.Refuse, fmt.Sprintf("input %d: not measured: %s", c.Channel, c.Refused))
			continue
		}
		for _, p := range c.Points {
			figures = append(figures, measure.Result{Name: "response", Track: c.Channel, ToneHz: p.X, Value: p.Y, Lo: p.Lo, Hi: p.Hi, Unit: "dB"})
		}
		courses = append(courses, measure.Trace{Name: "interface_response", Section: fmt.Sprintf("input %d", c.Channel), Points: c.Points,
			X: measure.Axis{Label: "frequency", Unit: "Hz", Log: true}, Y: measure.Axis{Label: "gain", Unit: "dB"}, Reference: "the input’s gain at the reference tone"})
	}
	for _, t := range report.Tables(figures) {
		t.Title, t.About, t.RowHead, t.Reference = "Response of the interface", "from its outputs back to its inputs", "input", "each input’s gain at the programme’s reference tone"
		m.Tables = append(m.Tables, t)
	}
	if len(courses) > 0 {
		m.Plot, m.Drawn = plot.Traces(courses, plot.Options{ID: "loop", Title: "Response of the interface"}), true
	}
	return render(w, http.StatusOK, "interface", m)
}
