package web

import (
	"cmp"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"headstack/job"
)

type pictureModel struct {
	base
	Picture       job.Picture
	Root, All     string
	Src           string
	Width, Height int // as shown
	Zooms         []zoom
	Marks         []markView
	Edit          bool
	Left          []job.Target
	Form          markForm
	CursorX       string
	CursorY       string
	Took          string
}

// zoom is a width at which a picture is shown: a tap on it is as fine as its pixels.
type zoom struct {
	Href, Text string
	Here       bool
}

// markView is a mark as it is drawn and listed.
type markView struct {
	job.Mark
	Text         string // its label, or the designator
	CX, CY       string // pixels of the picture as shown
	TX, Anchor   string // where its text begins, or ends
	Across, Down string // percent
	Here         bool
}

// markForm is a mark as typed.
type markForm struct{ Part, Label, Across, Down string }

// zoomWidths are those of a telephone, of a page, and for tight boards.
var zoomWidths = []int{340, 720, 1200, 2000, 4096}

func (s *server) pictureModel(r *http.Request, edit bool) (pictureModel, error) {
	p, err := s.bench.Picture(r.Context(), r.PathValue("definition"), r.PathValue("picture"))
	if err != nil {
		return pictureModel{}, err
	}
	root := pictureRoot(p)
	m := pictureModel{base: base{Title: p.Title, Here: "library"}, Picture: p, Root: root, All: strings.TrimSuffix(root, "/"+url.PathEscape(p.ID)), Edit: edit}
	width := 720
	if n, err := strconv.Atoi(r.FormValue("zoom")); err == nil {
		width = min(max(n, zoomWidths[0]), zoomWidths[len(zoomWidths)-1])
	}
	m.Width, m.Height = shownSize(p, width)
	m.Src = imageSrc(p, m.Width)
	part := r.URL.Query().Get("part")
	for i, z := range zoomWidths {
		if i > 0 && zoomWidths[i-1] >= p.Width {
			break
		}
		q := url.Values{"zoom": {strconv.Itoa(z)}}
		if part != "" {
			q.Set("part", part)
		}
		m.Zooms = append(m.Zooms, zoom{"?" + q.Encode(), strconv.Itoa(min(z, p.Width)), z == width})
	}
	marks, err := s.bench.Marks(r.Context(), p.Definition)
	if err != nil {
		return m, err
	}
	for _, k := range marks {
		if k.Picture == p.ID {
			m.Marks = append(m.Marks, m.view(k, part))
		}
	}
	slices.SortStableFunc(m.Marks, func(a, b markView) int { return cmp.Compare(a.Part, b.Part) })
	if edit {
		m.Left, err = s.bench.Unmarked(r.Context(), p.Definition, p.ID)
		m.offer(part)
	}
	return m, err
}

func (m *pictureModel) view(k job.Mark, part string) markView {
	x, y := k.X*float64(m.Width), k.Y*float64(m.Height)
	v := markView{Mark: k, Text: cmp.Or(k.Label, k.Part), CX: coord(x), CY: coord(y), Across: percentText(k.X), Down: percentText(k.Y), Here: k.Part == part,
		TX: coord(x + 13), Anchor: "start"}
	if k.X > 0.85 { // the text would run over the edge
		v.TX, v.Anchor = coord(x-13), "end"
	}
	return v
}

// offer fills in the form: what was asked for, else what is not marked yet.
func (m *pictureModel) offer(part string) {
	x, y := 0.5, 0.5
	m.Form.Part = part
	if part == "" && len(m.Left) > 0 {
		m.Form.Part = m.Left[0].Part
	}
	for _, k := range m.Marks {
		if k.Part == m.Form.Part {
			x, y = k.X, k.Y
			m.Form.Label = k.Label
		}
	}
	m.Form.Across, m.Form.Down = percentText(x), percentText(y)
	m.cursor(x, y)
}

func (m *pictureModel) cursor(x, y float64) {
	m.CursorX, m.CursorY = coord(x*float64(m.Width)), coord(y*float64(m.Height))
}

func percentText(v float64) string { return strconv.FormatFloat(math.Round(1e4*v)/100, 'f', -1, 64) }

func (s *server) picturePage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.pictureModel(r, false)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "picture", m)
}

func (s *server) marksPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.pictureModel(r, true)
	if err != nil {
		return err
	}
	m.Took = r.URL.Query().Get("set")
	return render(w, http.StatusOK, "picture", m)
}

// setMark marks what was chosen where the picture was tapped, or where the fields say: a
// browser sends 0, 0 for a picture that was pressed with a key.
func (s *server) setMark(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	m, err := s.pictureModel(r, true)
	if err != nil {
		return err
	}
	form := markForm{r.PostFormValue("part"), r.PostFormValue("label"), r.PostFormValue("across"), r.PostFormValue("down")}
	x, y, err := m.tapped(r, form)
	var kept job.Mark
	if err == nil {
		kept, err = s.bench.SetMark(r.Context(), m.Picture.Definition, job.Mark{Picture: m.Picture.ID, Part: form.Part, X: x, Y: y, Label: form.Label})
	}
	if err == nil {
		q := url.Values{"set": {kept.Part}, "zoom": {strconv.Itoa(m.Width)}}
		if next := m.after(kept.Part); next != "" {
			q.Set("part", next)
		}
		http.Redirect(w, r, m.Root+"/marks?"+q.Encode()+"#place", http.StatusSeeOther)
		return nil
	}
	m.Form = form
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "picture", m)
}

// tapped is the place that a form names: fractions of width and height.
func (m *pictureModel) tapped(r *http.Request, form markForm) (x, y float64, err error) {
	px, errX := strconv.Atoi(r.PostFormValue("at.x"))
	py, errY := strconv.Atoi(r.PostFormValue("at.y"))
	if errX == nil && errY == nil && (px > 0 || py > 0) {
		// The middle of the pixel.
		return min(1, max(0, (float64(px)+0.5)/float64(m.Width))), min(1, max(0, (float64(py)+0.5)/float64(m.Height))), nil
	}
	x, err = parsePercent("across", form.Across)
	if err == nil {
		y, err = parsePercent("down", form.Down)
	}
	if err == nil {
		m.cursor(x, y)
	}
	return x, y, err
}

func parsePercent(field, s string) (float64, error) {
	v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(s), "%")), ",", ".", 1), 64)
	if err != nil || !(v >= 0 && v <= 100) {
		return 0, &job.InvalidError{Field: field, Value: s, Problem: "is not a percentage of the picture between 0 and 100"}
	}
	return v / 100, nil
}

// after is what is to be marked after a designator: the next one that is not yet.
func (m *pictureModel) after(part string) string {
	i := slices.IndexFunc(m.Left, func(t job.Target) bool { return t.Part == part })
	switch {
	case i >= 0 && i+1 < len(m.Left):
		return m.Left[i+1].Part
	case i != 0 && len(m.Left) > 0:
		return m.Left[0].Part
	}
	return ""
}

func (s *server) removeMark(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	part := r.PostFormValue("part")
	if err := s.bench.RemoveMark(r.Context(), r.PathValue("definition"), r.PathValue("picture"), part); err != nil {
		return err
	}
	root := "/library/definitions/" + url.PathEscape(r.PathValue("definition")) + "/pictures/" + url.PathEscape(r.PathValue("picture"))
	http.Redirect(w, r, root+"/marks?"+url.Values{"part": {part}, "zoom": {r.PostFormValue("zoom")}}.Encode(), http.StatusSeeOther)
	return nil
}
