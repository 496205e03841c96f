package web

import (
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"headstack/job"
)

// pictureAPI registers the routes of pictures, marks and photographs.
func (s *server) pictureAPI(route func(method, path string, h func(w http.ResponseWriter, r *http.Request) error)) {
	const all = "/definitions/{definition}/pictures"
	const one = all + "/{picture}"
	route("GET", all, s.apiPictures)
	route("POST", all, s.apiAddPicture)
	route("GET", one, s.apiPicture)
	route("POST", one+"/removal", s.apiRemovePicture)
	route("GET", one+"/image", s.pictureImage)
	route("GET", one+"/spot", s.spotImage)
	route("GET", one+"/marks", s.apiMarks)
	route("POST", one+"/marks", s.apiSetMark)
	route("POST", one+"/marks/removal", s.apiRemoveMark)
	route("GET", "/definitions/{definition}/bundle.zip", s.bundle)
	route("POST", "/bundles", s.apiAddBundle)
	route("POST", "/jobs/{job}/photographs", s.apiAddPhotograph)
	route("GET", "/jobs/{job}/photographs/{seq}/image", s.photographImage)
}

type apiPicture struct {
	ID         string          `json:"id"`
	Definition string          `json:"definition"`
	Kind       job.PictureKind `json:"kind"`
	Board      string          `json:"board"`
	Title      string          `json:"title"`
	File       string          `json:"file"`
	Page       int             `json:"page"`
	SHA        string          `json:"sha256"`
	Bytes      int64           `json:"bytes"`
	Type       string          `json:"type"` // of the copy that is shown, as its size
	Width      int             `json:"width"`
	Height     int             `json:"height"`
}

// apiMark has its place as fractions of width and height from the upper left corner.
type apiMark struct {
	Part  string  `json:"part"`
	X     float64 `json:"x"`
	Y     float64 `json:"y"`
	Label string  `json:"label"`
}

type apiMarkChange struct {
	apiMark
	Removed bool      `json:"removed"`
	At      time.Time `json:"at"`
}

type apiTarget struct {
	Part   string   `json:"part"`
	Name   string   `json:"name"`
	Kind   string   `json:"kind"`
	Boards []string `json:"boards"`
}

type newMarkJSON struct {
	Part  string   `json:"part"`
	X     *float64 `json:"x"` // missing is not zero
	Y     *float64 `json:"y"`
	Label string   `json:"label"`
}

type removeMarkJSON struct {
	Part string `json:"part"`
}

type apiPhotograph struct {
	File    string `json:"file"`
	SHA     string `json:"sha256"`
	Bytes   int64  `json:"bytes"`
	Type    string `json:"type"` // of the copy that is shown, as its size
	Width   int    `json:"width"`
	Height  int    `json:"height"`
	Layer   string `json:"layer"` // id of an opening; empty: closed
	Caption string `json:"caption"`
}

type correctPhotographJSON struct {
	Opening string `json:"layer"`
	Caption string `json:"caption"`
}

func photographJSON(p *job.Photograph) *apiPhotograph {
	if p == nil {
		return nil
	}
	return &apiPhotograph{p.File, p.SHA256, p.Bytes, p.Type, p.Width, p.Height, p.Opening, p.Caption}
}

func pictureJSON(p job.Picture) apiPicture {
	return apiPicture{p.ID, p.Definition, p.Kind, p.Board, p.Title, p.File, p.Page, p.SHA256, p.Bytes, p.Type, p.Width, p.Height}
}

func (s *server) apiPictures(w http.ResponseWriter, r *http.Request) error {
	list, err := s.bench.Pictures(r.Context(), r.PathValue("definition"))
	if err != nil {
		return err
	}
	out := []apiPicture{}
	for _, p := range list {
		out = append(out, pictureJSON(p))
	}
	return sendJSON(w, http.StatusOK, map[string]any{"pictures": out})
}

// isForm tells a multipart form from a bare body.
func isForm(r *http.Request) bool {
	t, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return t == "multipart/form-data"
}

// bareName is the name of a file that is the body.
func bareName(q url.Values) (string, error) {
	if q.Get("name") == "" {
		return "", &job.InvalidError{Field: "name", Problem: "is missing: the file's name"}
	}
	return q.Get("name"), nil
}

// apiAddPicture takes a picture as a multipart form, its file last, or as the bare body
// with its fields in the query.
func (s *server) apiAddPicture(w http.ResponseWriter, r *http.Request) error {
	var p job.Picture
	var err error
	if isForm(r) {
		_, p, err = s.takePicture(w, r)
	} else {
		var up job.PictureUpload
		if up, err = pictureUpload(r, r.URL.Query().Get); err == nil {
			up.File, err = bareName(r.URL.Query())
		}
		if err == nil {
			up.Data = http.MaxBytesReader(w, r.Body, s.opt.MaxUpload)
			p, err = s.bench.AddPicture(r.Context(), up)
		}
	}
	if err != nil {
		w.Header().Set("Connection", "close") // the rest of the body was not read
		return err
	}
	w.Header().Set("Location", apiRoot+"/definitions/"+url.PathEscape(p.Definition)+"/pictures/"+url.PathEscape(p.ID))
	return sendJSON(w, http.StatusCreated, pictureJSON(p))
}

func (s *server) apiPicture(w http.ResponseWriter, r *http.Request) error {
	p, err := s.bench.Picture(r.Context(), r.PathValue("definition"), r.PathValue("picture"))
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, pictureJSON(p))
}

func (s *server) apiRemovePicture(w http.ResponseWriter, r *http.Request) error {
	if err := s.bench.RemovePicture(r.Context(), r.PathValue("definition"), r.PathValue("picture")); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// apiMarks answers with the marks of a picture, what is not marked yet, and all that was
// ever marked.
func (s *server) apiMarks(w http.ResponseWriter, r *http.Request) error {
	p, err := s.bench.Picture(r.Context(), r.PathValue("definition"), r.PathValue("picture"))
	if err != nil {
		return err
	}
	all, err := s.bench.Marks(r.Context(), p.Definition)
	if err != nil {
		return err
	}
	left, err := s.bench.Unmarked(r.Context(), p.Definition, p.ID)
	if err != nil {
		return err
	}
	history, err := s.bench.MarkHistory(r.Context(), p.Definition, p.ID)
	if err != nil {
		return err
	}
	marks, targets, changes := []apiMark{}, []apiTarget{}, []apiMarkChange{}
	for _, m := range all {
		if m.Picture == p.ID {
			marks = append(marks, apiMark{m.Part, m.X, m.Y, m.Label})
		}
	}
	for _, t := range left {
		targets = append(targets, apiTarget{t.Part, t.Name, t.Kind, list(t.Board)})
	}
	for _, h := range history {
		changes = append(changes, apiMarkChange{apiMark{h.Part, h.X, h.Y, h.Label}, h.Removed, h.At.UTC()})
	}
	return sendJSON(w, http.StatusOK, map[string]any{"marks": marks, "not_marked": targets, "history": changes})
}

func (s *server) apiSetMark(w http.ResponseWriter, r *http.Request) error {
	var in newMarkJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	if in.X == nil || in.Y == nil {
		return &job.InvalidError{Field: "x and y", Problem: "are missing: fractions of width and height from the upper left corner"}
	}
	m, err := s.bench.SetMark(r.Context(), r.PathValue("definition"), job.Mark{Picture: r.PathValue("picture"), Part: in.Part, X: *in.X, Y: *in.Y, Label: in.Label})
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusCreated, apiMark{m.Part, m.X, m.Y, m.Label})
}

func (s *server) apiRemoveMark(w http.ResponseWriter, r *http.Request) error {
	var in removeMarkJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	if err := s.bench.RemoveMark(r.Context(), r.PathValue("definition"), r.PathValue("picture"), in.Part); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (s *server) apiAddBundle(w http.ResponseWriter, r *http.Request) error {
	got, err := s.takeBundle(w, r)
	if err != nil {
		w.Header().Set("Connection", "close")
		return documentError(err)
	}
	return sendJSON(w, http.StatusCreated, map[string]any{"definition": apiDefinition(got.Definition), "pictures": got.Pictures, "marks": got.Marks})
}

// apiAddPhotograph takes a photograph as a multipart form, its file last, or as the bare
// body with its fields in the query.
func (s *server) apiAddPhotograph(w http.ResponseWriter, r *http.Request) error {
	var e job.Entry
	var err error
	if isForm(r) {
		_, e, err = s.takePhotograph(w, r)
	} else {
		e, err = s.takeBarePhotograph(w, r)
	}
	if err != nil {
		w.Header().Set("Connection", "close") // the rest of the body was not read
		return err
	}
	w.Header().Set("Location", apiRoot+"/jobs/"+url.PathEscape(e.Job)+"/photographs/"+strconv.FormatInt(e.Seq, 10)+"/image")
	return created(w, e, nil)
}

func (s *server) takeBarePhotograph(w http.ResponseWriter, r *http.Request) (job.Entry, error) {
	q := r.URL.Query()
	name, err := bareName(q)
	if err != nil {
		return job.Entry{}, err
	}
	state, err := parseCase(q.Get("case"))
	if err != nil {
		return job.Entry{}, err
	}
	layer := job.LayerNow
	if q.Has("layer") {
		layer = q.Get("layer")
	}
	return s.bench.AddPhotograph(r.Context(), r.PathValue("job"), job.PhotographUpload{File: name, Opening: layer, Caption: q.Get("caption"), Case: state,
		Data: http.MaxBytesReader(w, r.Body, s.opt.MaxUpload)})
}
