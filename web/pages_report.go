package web

import (
	"bytes"
	"net/http"
	"strings"

	"headstack/report"
)

// reportPolicy is that of the pages, with the report's own style sheet, which
// lies inside it and is named by its hash.
func reportPolicy() string {
	p := strings.Replace(policy, "style-src 'self'", "style-src 'sha256-"+report.StyleHash()+"'", 1)
	return strings.Replace(p, "img-src 'self'", "img-src 'self' data:", 1) // photographs lie inside it
}

func (s *server) reportPage(w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	d := report.Data{View: v, When: s.opt.Now(), Program: s.opt.Program, LoopedBack: report.LoopedBack(r.Context(), v, s.bench)}
	if d.Verdict, err = s.verdicts.of(r.Context(), s.bench, v); err != nil {
		d.NoVerdict = err.Error()
	}
	if d.Explained, err = s.bench.ExplainJob(r.Context(), v.Job.ID); err != nil {
		return err
	}
	d.Photographs = report.PhotographsOf(r.Context(), v, s.bench)
	var b bytes.Buffer
	if err := report.HTML(&b, d); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", reportPolicy())
	if r.URL.Query().Has("download") {
		h.Set("Content-Disposition", `attachment; filename="`+v.Job.ID+`-report.html"`)
	}
	_, _ = w.Write(b.Bytes())
	return nil
}
