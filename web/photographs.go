package web

import (
	"cmp"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"headstack/job"
	"headstack/machine"
)

// photos are the photographs of a job with the form for another.
type photos struct {
	Taken   []photoLayer
	Layers  []choice
	Layer   string // offered
	Caption string // as typed
}

// photoLayer is what was taken of one layer, in the order of the definition's openings.
type photoLayer struct {
	Name string
	List []photoView
}

type photoView struct {
	Seq           int64
	Ref, Caption  string
	Src, Whole    string
	Width, Height int
}

// photoWidth is that of a photograph on a page, in pixels.
const photoWidth = 320

func photosOf(v *job.View) photos {
	p := photos{Layers: []choice{{Value: machine.Closed, Text: "closed, nothing opened"}}, Layer: machine.Closed}
	for _, o := range v.Def.Openings {
		p.Layers = append(p.Layers, choice{Value: o.ID, Text: o.Name})
	}
	if n := len(v.Open); n > 0 {
		p.Layer = v.Open[n-1]
	}
	for _, l := range p.Layers {
		layer := photoLayer{Name: l.Text}
		for _, e := range v.Photographs() {
			if cmp.Or(e.Photograph.Opening, machine.Closed) == l.Value {
				layer.List = append(layer.List, photoOf(v.Job.ID, e))
			}
		}
		if len(layer.List) > 0 {
			p.Taken = append(p.Taken, layer)
		}
	}
	return p
}

func photoOf(jobID string, e job.Entry) photoView {
	x := e.Photograph
	root := "/jobs/" + url.PathEscape(jobID) + "/photographs/" + strconv.FormatInt(e.Seq, 10) + "?v=" + x.Copy[:min(12, len(x.Copy))]
	v := photoView{Seq: e.Seq, Ref: e.Ref, Caption: x.Caption, Src: root + "&width=" + strconv.Itoa(photoWidth), Whole: root}
	v.Width, v.Height = shownSize(job.Picture{Width: max(1, x.Width), Height: x.Height}, photoWidth)
	return v
}

// addPhotograph keeps a photograph and goes back to where it was taken.
func (s *server) addPhotograph(w http.ResponseWriter, r *http.Request) error {
	fields, e, err := s.takePhotograph(w, r)
	if err == nil {
		return goTo(w, r, cmp.Or(fields["back"], "/jobs/"+url.PathEscape(e.Job)+"/works#photographs"), e)
	}
	if explain(err).status == statusClientGone {
		return err
	}
	w.Header().Set("Connection", "close") // the rest of the upload was not read
	m, err2 := s.worksModel(r)
	if err2 != nil {
		return err
	}
	if slices.ContainsFunc(m.Photos.Layers, func(c choice) bool { return c.Value == fields["layer"] }) {
		m.Photos.Layer = fields["layer"]
	}
	m.Photos.Caption = fields["caption"]
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "works", m)
}

// takePhotograph streams a photograph to the bench.
func (s *server) takePhotograph(w http.ResponseWriter, r *http.Request) (fields map[string]string, e job.Entry, err error) {
	fields, err = s.streamForm(w, r, func(fields map[string]string, part *multipart.Part) error {
		state, err := parseCase(fields["case"])
		if err != nil {
			return err
		}
		e, err = s.bench.AddPhotograph(r.Context(), r.PathValue("job"), job.PhotographUpload{File: part.FileName(), Opening: cmp.Or(fields["layer"], job.LayerNow),
			Caption: fields["caption"], Case: state, Data: part})
		return err
	})
	return fields, e, err
}

// takeBundle reads a bundle from a form or the bare body.
func (s *server) takeBundle(w http.ResponseWriter, r *http.Request) (job.Bundled, error) {
	r.Body = http.MaxBytesReader(w, r.Body, job.MaxBundle+maxForm)
	var from io.Reader = r.Body
	name := cmp.Or(r.URL.Query().Get("name"), "bundle.zip")
	if mr, err := r.MultipartReader(); err == nil {
		part, err := mr.NextPart()
		for err == nil && (part.FormName() != "file" || part.FileName() == "") {
			part, err = mr.NextPart()
		}
		if err == io.EOF {
			return job.Bundled{}, &job.InvalidError{Field: "file", Problem: "was not chosen"}
		}
		if err != nil {
			return job.Bundled{}, formError(err)
		}
		from, name = part, part.FileName()
	}
	data, err := io.ReadAll(from)
	if err != nil {
		return job.Bundled{}, err
	}
	return s.bench.AddBundle(r.Context(), name, data)
}
