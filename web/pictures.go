package web

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/machine"
)

// pictureBench is what pictures, marks and photographs need of the domain.
type pictureBench interface {
	Pictures(ctx context.Context, definition string) ([]job.Picture, error)
	Picture(ctx context.Context, definition, id string) (job.Picture, error)
	AddPicture(ctx context.Context, up job.PictureUpload) (job.Picture, error)
	RemovePicture(ctx context.Context, definition, id string) error
	PictureImage(ctx context.Context, definition, id string, width int) (job.Image, error)
	SpotImage(ctx context.Context, definition, id, part string) (job.Image, error)
	Marks(ctx context.Context, definition string) ([]job.Mark, error)
	MarkHistory(ctx context.Context, definition, id string) ([]job.MarkChange, error)
	SetMark(ctx context.Context, definition string, m job.Mark) (job.Mark, error)
	RemoveMark(ctx context.Context, definition, id, part string) error
	Unmarked(ctx context.Context, definition, id string) ([]job.Target, error)
	Spots(ctx context.Context, def *machine.Definition) (*job.Spots, error)
	WriteBundle(ctx context.Context, definition string, w io.Writer) error
	AddBundle(ctx context.Context, name string, data []byte) (job.Bundled, error)
	AddPhotograph(ctx context.Context, jobID string, up job.PhotographUpload) (job.Entry, error)
	PhotographImage(ctx context.Context, jobID string, seq int64, width int) (job.Image, error)
}

type route = func(pattern string, h func(w http.ResponseWriter, r *http.Request) error)

// picturePages registers the pages of pictures and photographs.
func (s *server) picturePages(page route) {
	const all = "/library/definitions/{definition}/pictures"
	const one = all + "/{picture}"
	page("GET "+all, s.picturesPage)
	page("POST "+all, s.addPicture)
	page("GET "+one, s.picturePage)
	page("POST "+one+"/removal", s.removePicture)
	page("GET "+one+"/image", s.pictureImage)
	page("GET "+one+"/spot", s.spotImage)
	page("GET "+one+"/marks", s.marksPage)
	page("POST "+one+"/marks", s.setMark)
	page("POST "+one+"/marks/removal", s.removeMark)
	page("GET /library/definitions/{definition}/bundle.zip", s.bundle)
	page("POST /library/bundles", s.addBundle)
	page("POST /jobs/{job}/photographs", s.addPhotograph)
	page("GET /jobs/{job}/photographs/{seq}", s.photographImage)
}

// sendImage answers with a picture and nothing that a browser could run. An address with
// the picture's hash never means another one.
func sendImage(w http.ResponseWriter, r *http.Request, i job.Image, err error) error {
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", i.Type)
	h.Set("Content-Length", strconv.Itoa(len(i.Data)))
	h.Set("Content-Security-Policy", "default-src 'none'; sandbox")
	if r.URL.Query().Has("v") {
		h.Set("Cache-Control", "private, max-age=31536000, immutable")
	}
	_, _ = w.Write(i.Data)
	return nil
}

// widthOf reads the width of an image that is asked for; empty is its own.
func widthOf(r *http.Request) (int, error) {
	q := r.URL.Query().Get("width")
	if q == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(q)
	if err != nil {
		return 0, &job.InvalidError{Field: "width", Value: q, Problem: "is not a number of pixels"}
	}
	return n, nil
}

func (s *server) pictureImage(w http.ResponseWriter, r *http.Request) error {
	width, err := widthOf(r)
	if err != nil {
		return err
	}
	i, err := s.bench.PictureImage(r.Context(), r.PathValue("definition"), r.PathValue("picture"), width)
	return sendImage(w, r, i, err)
}

func (s *server) spotImage(w http.ResponseWriter, r *http.Request) error {
	i, err := s.bench.SpotImage(r.Context(), r.PathValue("definition"), r.PathValue("picture"), r.URL.Query().Get("part"))
	return sendImage(w, r, i, err)
}

func (s *server) photographImage(w http.ResponseWriter, r *http.Request) error {
	seq, err := seqParam(r)
	if err != nil {
		return err
	}
	width, err := widthOf(r)
	if err != nil {
		return err
	}
	i, err := s.bench.PhotographImage(r.Context(), r.PathValue("job"), seq, width)
	return sendImage(w, r, i, err)
}

func (s *server) bundle(w http.ResponseWriter, r *http.Request) error {
	var whole bytes.Buffer // an error in the middle would be a broken archive
	if err := s.bench.WriteBundle(r.Context(), r.PathValue("definition"), &whole); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/zip")
	w.Header().Set("Content-Disposition", `attachment; filename="definition.zip"`)
	_, _ = w.Write(whole.Bytes())
	return nil
}

// spotView is the part of a picture around a mark, as a page shows it.
type spotView struct {
	Part, Src, Href, Alt, Title string
	Width, Height               int
}

func pictureRoot(p job.Picture) string {
	return "/library/definitions/" + url.PathEscape(p.Definition) + "/pictures/" + url.PathEscape(p.ID)
}

// spotViews are at most most of the places of a designator.
func spotViews(spots []job.Spot, most int) []spotView {
	var out []spotView
	for _, x := range spots {
		if len(out) == most {
			break
		}
		q := url.Values{"part": {x.Part}}
		v := spotView{Part: x.Of, Href: pictureRoot(x.On) + "?" + q.Encode() + "#here", Title: x.On.Title, Width: job.CutWidth, Height: job.CutHeight}
		// The address changes with the place, so that a kept image is never an old one.
		q.Set("v", x.On.Copy[:12]+"-"+strconv.FormatFloat(x.X, 'g', -1, 64)+"-"+strconv.FormatFloat(x.Y, 'g', -1, 64))
		v.Src = pictureRoot(x.On) + "/spot?" + q.Encode()
		v.Alt = "Part of " + x.On.Title + "; the ring is on " + x.Part
		if x.Of != x.Part {
			v.Alt += ", the connector of " + x.Of
		}
		out = append(out, v)
	}
	return out
}

// SpotsOf is where a designator is: on one picture, for it is looked at with a tool in hand. A
// connector of a replica is named with a slash in a plan.
func (d jobData) SpotsOf(part string) []spotView {
	if found := d.Spots.At(part); len(found) > 0 {
		return spotViews(found, 1)
	}
	return spotViews(d.Spots.At(strings.Replace(part, "/", "-", 1)), 1)
}

// cardSpots shows on the card where the next action is done.
func (s *server) cardSpots(r *http.Request, d *jobData) error {
	d.Spots = &job.Spots{}
	def := d.View.Def
	spots, err := s.bench.Spots(r.Context(), def)
	if err != nil {
		return err
	}
	d.Spots = spots
	c := d.Card
	switch tp, ok := def.TestPoint(d.Place.TestPoint); {
	case c == nil:
	case ok:
		c.Spots = spotViews(spots.Point(tp, d.Place.Key), 1)
	case c.Work != nil:
		if st, ok := def.Stage(c.Work.Stage); ok {
			c.Spots = spotViews(spots.At(def.Designator(st.Part, st.Each, c.Work.Key)), 1)
		}
	}
	return nil
}
