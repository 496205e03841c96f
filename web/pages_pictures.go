package web

import (
	"mime/multipart"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/machine"
)

type picturesModel struct {
	base
	Def      job.DefinitionInfo
	Root     string
	Boards   []choice
	Pictures []pictureRow
	Form     pictureForm
	Took     string // title of what was just kept or taken off
	Off      bool
}

// pictureRow lists a picture with its marks.
type pictureRow struct {
	job.Picture
	Href, Src     string
	Marked, Left  int
	Width, Height int // as shown
}

// pictureForm is a picture to be kept, as typed; a browser does not give the file back.
type pictureForm struct{ Title, Board, Kind, Page string }

// thumbWidth is the width of a picture in a list, in pixels.
const thumbWidth = 240

func (s *server) picturesModel(r *http.Request) (picturesModel, error) {
	yaml, info, err := s.bench.DefinitionYAML(r.Context(), r.PathValue("definition"))
	if err != nil {
		return picturesModel{}, err
	}
	root := "/library/definitions/" + url.PathEscape(info.ID) + "/pictures"
	m := picturesModel{base: base{Title: "Pictures of " + info.Name, Here: "library", Back: root}, Def: info, Root: root}
	def, err := machine.Load(info.ID+".yaml", yaml)
	if err != nil {
		return m, err
	}
	for _, b := range def.Boards {
		m.Boards = append(m.Boards, choice{Value: b.ID, Text: b.ID + ", " + b.Name})
	}
	list, err := s.bench.Pictures(r.Context(), info.ID)
	if err != nil {
		return m, err
	}
	marks, err := s.bench.Marks(r.Context(), info.ID)
	if err != nil {
		return m, err
	}
	for _, p := range list {
		row := pictureRow{Picture: p, Href: pictureRoot(p), Src: imageSrc(p, thumbWidth)}
		row.Width, row.Height = shownSize(p, thumbWidth)
		for _, k := range marks {
			if k.Picture == p.ID {
				row.Marked++
			}
		}
		left, err := s.bench.Unmarked(r.Context(), info.ID, p.ID)
		if err != nil {
			return m, err
		}
		row.Left = len(left)
		m.Pictures = append(m.Pictures, row)
	}
	return m, nil
}

// imageSrc is the address of a picture at a width; it changes with the picture.
func imageSrc(p job.Picture, width int) string {
	return pictureRoot(p) + "/image?width=" + strconv.Itoa(width) + "&v=" + p.Copy[:12]
}

// shownSize is the size at which a picture comes at a width.
func shownSize(p job.Picture, width int) (w, h int) {
	if width >= p.Width {
		return p.Width, p.Height
	}
	return width, max(1, (p.Height*width+p.Width/2)/p.Width)
}

func (s *server) picturesPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.picturesModel(r)
	if err != nil {
		return err
	}
	m.Took, m.Off = r.URL.Query().Get("added"), false
	if off := r.URL.Query().Get("removed"); off != "" {
		m.Took, m.Off = off, true
	}
	return render(w, http.StatusOK, "pictures", m)
}

func (s *server) addPicture(w http.ResponseWriter, r *http.Request) error {
	fields, p, err := s.takePicture(w, r)
	if err == nil {
		http.Redirect(w, r, pictureRoot(p)+"/marks", http.StatusSeeOther)
		return nil
	}
	if explain(err).status == statusClientGone {
		return err
	}
	w.Header().Set("Connection", "close") // the rest of the upload was not read
	m, err2 := s.picturesModel(r)
	if err2 != nil {
		return err
	}
	m.Form = pictureForm{fields["title"], fields["board"], fields["kind"], fields["page"]}
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "pictures", m)
}

// takePicture streams a picture to the bench.
func (s *server) takePicture(w http.ResponseWriter, r *http.Request) (fields map[string]string, p job.Picture, err error) {
	fields, err = s.streamForm(w, r, func(fields map[string]string, part *multipart.Part) error {
		up, err := pictureUpload(r, func(name string) string { return fields[name] })
		if err != nil {
			return err
		}
		up.File, up.Data = part.FileName(), part
		p, err = s.bench.AddPicture(r.Context(), up)
		return err
	})
	return fields, p, err
}

func pictureUpload(r *http.Request, field func(string) string) (job.PictureUpload, error) {
	up := job.PictureUpload{Definition: r.PathValue("definition"), Kind: job.PictureKind(field("kind")), Board: field("board"), Title: field("title")}
	if page := strings.TrimSpace(field("page")); page != "" {
		n, err := strconv.Atoi(page)
		if err != nil || n < 1 {
			return up, &job.InvalidError{Field: "page", Value: page, Problem: "is not the number of a page, counted from 1"}
		}
		up.Page = n
	}
	return up, nil
}

func (s *server) removePicture(w http.ResponseWriter, r *http.Request) error {
	p, err := s.bench.Picture(r.Context(), r.PathValue("definition"), r.PathValue("picture"))
	if err == nil {
		err = s.bench.RemovePicture(r.Context(), p.Definition, p.ID)
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/library/definitions/"+url.PathEscape(p.Definition)+"/pictures?removed="+url.QueryEscape(p.Title), http.StatusSeeOther)
	return nil
}

func (s *server) addBundle(w http.ResponseWriter, r *http.Request) error {
	got, err := s.takeBundle(w, r)
	if err == nil {
		http.Redirect(w, r, "/library/definitions/"+url.PathEscape(got.Definition.ID)+"/pictures", http.StatusSeeOther)
		return nil
	}
	w.Header().Set("Connection", "close")
	p, status := documentProblem(err)
	return s.refusedShelf(w, r, p, status, nil)
}
