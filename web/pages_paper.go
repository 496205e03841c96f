package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/handout"
	"headstack/job"
	"headstack/paper"
	"headstack/teardown"
)

// paperPages are the page of labels and paper, and the files that it links to.
func (s *server) paperPages(page func(pattern string, h func(w http.ResponseWriter, r *http.Request) error)) {
	page("GET /jobs/{job}/labels", s.labelsPage)
	page("GET /jobs/{job}/labels.pdf", s.labelsFile)
	page("GET /jobs/{job}/check-sheet.pdf", s.checkSheetFile)
	page("GET /jobs/{job}/line-up/sheet.pdf", s.lineUpSheetFile)
	page("GET /jobs/{job}/report.pdf", s.handOverFile)
	page("GET /jobs/{job}/card.pdf", s.cardFile)
}

// paperAPI are the same files.
func (s *server) paperAPI(route func(method, path string, h func(w http.ResponseWriter, r *http.Request) error)) {
	route("GET", "/jobs/{job}/labels.pdf", func(w http.ResponseWriter, r *http.Request) error {
		p, err := s.printLabels(r)
		return sendPDF(w, r, "labels", p.PDF, err)
	})
	route("GET", "/jobs/{job}/check-sheet.pdf", s.checkSheetFile)
	route("GET", "/jobs/{job}/line-up/sheet.pdf", s.lineUpSheetFile)
	route("GET", "/jobs/{job}/report.pdf", s.handOverFile)
	route("GET", "/jobs/{job}/card.pdf", s.cardFile)
}

type labelsModel struct {
	jobData
	Form   labelsForm
	Kinds  []choice
	Sheets []choice
	Papers []choice
	Faults []handout.Fault
	Tracks []trackNote
}

// labelsForm is what was typed.
type labelsForm struct {
	Of, Sheet, Paper, Grid, Label, Pitch, First, From, Width string
	All, Outline                                             bool
}

// trackNote is the field for the note of a track.
type trackNote struct {
	Track int
	Note  string
}

// The choices of a sheet that are no named division.
const plainSheet, ownSheet = "plain", "own"

var labelKinds = []choice{{string(handout.OfFaults), "faults that stand", ""}, {string(handout.OfCups), "cups of screws", ""},
	{string(handout.OfConnectors), "connectors, both sides", ""}, {string(handout.OfTapes), "test tapes", ""}}

func (s *server) labelsPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.labelsModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "labels", m)
}

func (s *server) labelsModel(r *http.Request) (labelsModel, error) {
	d, err := s.jobData(r, "labels", "Labels and paper")
	if err != nil {
		return labelsModel{}, err
	}
	m := labelsModel{jobData: d, Kinds: labelKinds, Faults: handout.Faults(d.View), Form: labelsFormOf(r),
		Sheets: []choice{{plainSheet, "plain paper, to cut", ""}, {ownSheet, "my own, as typed below", ""}}}
	for _, g := range handout.Geometries() {
		m.Sheets = append(m.Sheets, choice{g.Name, g.Name, ""})
	}
	for _, p := range paper.Sizes() {
		m.Papers = append(m.Papers, choice{p.Name, p.Name, ""})
	}
	for t := 1; t <= d.View.Def.Tracks.Count; t++ {
		m.Tracks = append(m.Tracks, trackNote{t, r.FormValue("note" + strconv.Itoa(t))})
	}
	return m, nil
}

func labelsFormOf(r *http.Request) labelsForm {
	or := func(name, otherwise string) string {
		if s := strings.TrimSpace(r.FormValue(name)); s != "" {
			return s
		}
		return otherwise
	}
	return labelsForm{Of: or("of", string(handout.OfFaults)), Sheet: or("sheet", plainSheet), Paper: or("paper", paper.A4.Name), Grid: or("grid", ""), Label: or("label", "70x37"),
		Pitch: or("pitch", ""), First: or("first", ""), From: or("from", "1"), Width: or("width", "20"), All: r.FormValue("all") != "", Outline: r.FormValue("outline") != ""}
}

// labelsFile sends the labels; where they cannot be printed it shows the page again with
// what was typed.
func (s *server) labelsFile(w http.ResponseWriter, r *http.Request) error {
	p, err := s.printLabels(r)
	refused, ok := errors.AsType[*pageError](err)
	if !ok {
		return sendPDF(w, r, "labels", p.PDF, err)
	}
	m, err := s.labelsModel(r)
	if err != nil {
		return err
	}
	m.Back = "/jobs/" + m.View.Job.ID + "/labels"
	m.Problem = &problem{refused.title, refused.what, refused.hint, refused.kept, refused.field}
	return render(w, refused.status, "labels", m)
}

// unprinted says why there is no file.
func unprinted(field string, err error, hint string) error {
	return &pageError{status: http.StatusUnprocessableEntity, title: "Nothing was printed", what: err.Error(), hint: hint, kept: "The record is as it was.", field: field, err: err}
}

func (s *server) printLabels(r *http.Request) (handout.Printed, error) {
	f, id := labelsFormOf(r), r.PathValue("job")
	if f.Of == "strips" {
		return s.printStrips(r, f)
	}
	var g handout.Geometry
	var err error
	switch f.Sheet {
	case plainSheet:
		g, err = handout.ParseGeometry(f.Paper, "", f.Label, "", "")
	case ownSheet:
		if f.Grid == "" {
			err = errors.New("no columns and rows were typed")
			break
		}
		g, err = handout.ParseGeometry(f.Paper, f.Grid, f.Label, f.Pitch, f.First)
	default:
		g, err = handout.GeometryNamed(f.Sheet)
	}
	if err != nil {
		return handout.Printed{}, unprinted("sheet", err, "Measure the sheet with a ruler and type what it says.")
	}
	from, err := strconv.Atoi(f.From)
	if err != nil {
		return handout.Printed{}, unprinted("from", fmt.Errorf("label %q to begin with is not a whole number", f.From), "Count along the rows, from 1.")
	}
	labels, v, err := handout.LabelsOf(r.Context(), planningBench{s}, id, handout.LabelKind(f.Of), f.All)
	if _, none := errors.AsType[*handout.NoLabelsError](err); none {
		return handout.Printed{}, unprinted("of", err, "Choose other labels.")
	}
	if err != nil {
		return handout.Printed{}, err
	}
	p, err := handout.Labels(labels, g, from, f.Outline, handout.RecordTime(v))
	if err != nil {
		return p, unprinted("from", err, "Begin at another label, or choose another sheet.")
	}
	return p, nil
}

func (s *server) printStrips(r *http.Request, f labelsForm) (handout.Printed, error) {
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return handout.Printed{}, err
	}
	size, err := paper.SizeNamed(f.Paper)
	if err != nil {
		return handout.Printed{}, unprinted("paper", err, "Choose one of them.")
	}
	width, err := strconv.ParseFloat(strings.Replace(f.Width, ",", ".", 1), 64)
	if err != nil {
		return handout.Printed{}, unprinted("width", fmt.Errorf("the width %q of a channel is not a number of mm", f.Width), "Measure from the middle of one fader to the next.")
	}
	notes := map[int]string{}
	for t := 1; t <= v.Def.Tracks.Count; t++ {
		notes[t] = strings.TrimSpace(r.FormValue("note" + strconv.Itoa(t)))
	}
	p, err := handout.Strips(v, size, width, notes, handout.RecordTime(v))
	if err != nil {
		return p, unprinted("width", err, "Measure from the middle of one fader to the next.")
	}
	return p, nil
}

// planningBench plans openings once for all who ask.
type planningBench struct{ s *server }

func (b planningBench) View(ctx context.Context, id string) (*job.View, error) {
	return b.s.bench.View(ctx, id)
}

func (b planningBench) LineUp(ctx context.Context, id string) (*job.LineUp, *job.View, error) {
	return b.s.bench.LineUp(ctx, id)
}

func (b planningBench) Openings(ctx context.Context, id string, _ job.OpeningOptions) (*teardown.Plan, *job.View, error) {
	v, err := b.s.bench.View(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	p, err := b.s.plans[""].of(ctx, b.s.bench, v)
	return p, v, err
}

func (b planningBench) Loopback(ctx context.Context, id string) (job.Loopback, error) {
	return b.s.bench.Loopback(ctx, id)
}

func (b planningBench) PhotographImage(ctx context.Context, id string, seq int64, width int) (job.Image, error) {
	return b.s.bench.PhotographImage(ctx, id, seq, width)
}

func (b planningBench) Tapes(ctx context.Context) ([]job.TapeInfo, error) {
	return b.s.bench.Tapes(ctx)
}

func (b planningBench) TapeYAML(ctx context.Context, id string) ([]byte, job.TapeInfo, error) {
	return b.s.bench.TapeYAML(ctx, id)
}

func sizeOf(r *http.Request) (paper.Size, error) {
	size, err := paper.SizeNamed(r.URL.Query().Get("paper"))
	if err != nil {
		return size, unprinted("paper", err, "Choose one of them.")
	}
	return size, nil
}

// sendPDF sends a document under the name of its job.
func sendPDF(w http.ResponseWriter, r *http.Request, name string, pdf []byte, err error) error {
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "application/pdf")
	h.Set("Content-Disposition", fmt.Sprintf(`attachment; filename="%s-%s.pdf"`, fileName(r.PathValue("job")), name))
	h.Set("Content-Length", strconv.Itoa(len(pdf)))
	_, _ = w.Write(pdf)
	return nil
}

// fileName keeps of an id what any file system takes.
func fileName(id string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || slices.Contains([]rune("-_"), r) {
			return r
		}
		return '-'
	}, id)
}

func (s *server) checkSheetFile(w http.ResponseWriter, r *http.Request) error {
	size, err := sizeOf(r)
	if err != nil {
		return err
	}
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	pdf, err := handout.CheckSheet(v, size)
	return sendPDF(w, r, "check-sheet", pdf, err)
}

func (s *server) lineUpSheetFile(w http.ResponseWriter, r *http.Request) error {
	size, err := sizeOf(r)
	if err != nil {
		return err
	}
	l, v, err := s.bench.LineUp(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	var list []choice
	sheet, err := paperSheet(l, v, r.URL.Query().Get("hear"), &list)
	if err != nil {
		return unprinted("hear", err, "Choose another way in which the tracks are heard.")
	}
	pdf, err := handout.LineUpSheet(v, sheet, size)
	return sendPDF(w, r, "line-up", pdf, err)
}

func (s *server) handOverFile(w http.ResponseWriter, r *http.Request) error {
	return s.handoutFile(w, r, "hand-over", handout.HandOver)
}

func (s *server) cardFile(w http.ResponseWriter, r *http.Request) error {
	return s.handoutFile(w, r, "card", handout.Card)
}

func (s *server) handoutFile(w http.ResponseWriter, r *http.Request, name string, document func(handout.Data, paper.Size) ([]byte, error)) error {
	size, err := sizeOf(r)
	if err != nil {
		return err
	}
	d, err := handout.Gather(r.Context(), planningBench{s}, r.PathValue("job"), s.opt.Program, func(ctx context.Context, v *job.View) (*diagnosis.Advice, error) {
		return s.advices.of(ctx, s.bench, v)
	})
	if err != nil {
		return err
	}
	pdf, err := document(d, size)
	return sendPDF(w, r, name, pdf, err)
}
