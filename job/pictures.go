package job

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/picture"
)

// Picture is a page of a circuit diagram or a photograph of a board, kept once for all
// machines of a definition.
type Picture struct {
	ID         string // its title as lower-case words with hyphens; unique within the definition
	Definition string // machine.Definition id
	Kind       PictureKind
	Board      string // machine.Board id; empty: of more than one
	Title      string
	File       string // name as given
	Page       int    // of the document that it was drawn from; 0: it was given as a picture
	SHA256     string // of the file as given, or of the page as drawn; it is never altered
	Bytes      int64
	Copy       string // SHA-256 of what is shown: see [picture.Copy]
	Type       string // of the copy: image/png or image/jpeg
	Width      int    // of the copy, pixels
	Height     int
}

// PictureKind says what a picture shows.
type PictureKind string

// The kinds of picture.
const (
	BoardPicture   PictureKind = "board"   // a board as it is seen
	DiagramPicture PictureKind = "diagram" // a circuit diagram or drawing
)

// PictureKinds are the kinds of picture.
func PictureKinds() []PictureKind { return []PictureKind{BoardPicture, DiagramPicture} }

// PictureUpload is a picture to be kept for a definition.
type PictureUpload struct {
	Definition string
	Kind       PictureKind
	Board      string // id or name; empty: of more than one
	Title      string // empty: the file's name
	File       string
	Page       int // of a PDF document; 0: the first, and of a picture nothing
	Data       io.Reader
}

// PictureError says why a picture or photograph was not taken. Nothing was kept of it.
type PictureError struct {
	File string
	Err  *picture.Error
}

func (e *PictureError) Error() string { return e.File + " " + e.Err.Error() }

// Unwrap returns what is wrong with it.
func (e *PictureError) Unwrap() error { return e.Err }

// Hint says what to do.
func (e *PictureError) Hint() string { return e.Err.Advice }

// pictureDocument is a picture as it is listed.
type pictureDocument struct {
	Format     int         `json:"picture"` // of this form: 1
	Definition string      `json:"definition"`
	ID         string      `json:"id"`
	Kind       PictureKind `json:"kind"`
	Board      string      `json:"board,omitempty"`
	Title      string      `json:"title"`
	File       string      `json:"file"`
	Page       int         `json:"page,omitempty"`
	SHA256     string      `json:"sha256"`
	Bytes      int64       `json:"bytes"`
	Copy       string      `json:"copy"`
	Type       string      `json:"type"`
	Width      int         `json:"width"`
	Height     int         `json:"height"`
	Removed    bool        `json:"removed,omitempty"`
}

func (d pictureDocument) picture() Picture {
	return Picture{d.ID, d.Definition, d.Kind, d.Board, d.Title, d.File, d.Page, d.SHA256, d.Bytes, d.Copy, d.Type, d.Width, d.Height}
}

func documentOf(p Picture, removed bool) pictureDocument {
	return pictureDocument{1, p.Definition, p.ID, p.Kind, p.Board, p.Title, p.File, p.Page, p.SHA256, p.Bytes, p.Copy, p.Type, p.Width, p.Height, removed}
}

// Pictures lists the pictures of a definition, boards first, by title.
func (b *Bench) Pictures(ctx context.Context, definition string) ([]Picture, error) {
	info, _, err := b.findDefinition(ctx, definition)
	if err != nil {
		return nil, err
	}
	return b.picturesOf(ctx, info.ID)
}

func (b *Bench) picturesOf(ctx context.Context, definition string) ([]Picture, error) {
	var out []Picture
	err := b.inForce(ctx, PictureDocument, definition, func(_ Listing, data []byte) error {
		var d pictureDocument
		if err := json.Unmarshal(data, &d); err != nil {
			return err
		}
		if !d.Removed {
			out = append(out, d.picture())
		}
		return nil
	})
	slices.SortFunc(out, func(x, y Picture) int {
		return cmp.Or(cmp.Compare(x.Kind, y.Kind), cmp.Compare(x.Title, y.Title), cmp.Compare(x.ID, y.ID))
	})
	return out, err
}

// inForce visits the last document of each id of a kind that belongs to a definition: its
// listing's id begins with the definition's and a slash.
func (b *Bench) inForce(ctx context.Context, kind DocumentKind, definition string, visit func(l Listing, data []byte) error) error {
	all, err := b.rec.Listings(ctx, kind)
	if err != nil {
		return err
	}
	last := map[string]int{}
	for i, l := range all {
		if strings.HasPrefix(l.ID, definition+"/") {
			last[l.ID] = i
		}
	}
	for i, l := range all {
		if n, ok := last[l.ID]; !ok || n != i {
			continue
		}
		data, err := b.pictures.document(ctx, b.rec, l.SHA256)
		if err == nil {
			err = visit(l, data)
		}
		if err != nil {
			return fmt.Errorf("the %s %s: %w", kind, l.ID, err)
		}
	}
	return nil
}

// Picture returns one picture of a definition; the error is a [NotFoundError] with those
// that there are.
func (b *Bench) Picture(ctx context.Context, definition, id string) (Picture, error) {
	list, err := b.Pictures(ctx, definition)
	if err != nil {
		return Picture{}, err
	}
	var ids []string
	for _, p := range list {
		if p.ID == id {
			return p, nil
		}
		ids = append(ids, p.ID)
	}
	return Picture{}, &NotFoundError{What: "picture", ID: id, Nearest: nearest(id, ids)}
}

// AddPicture keeps a picture for a definition: PNG, JPEG, or a page of a PDF document.
// The file is kept as given under its hash, a page as it was drawn; shown is a copy of it
// without what else it carries. The same file under the same title again changes nothing.
// Errors: [NotFoundError], [InvalidError], [PictureError]; nothing is listed then.
func (b *Bench) AddPicture(ctx context.Context, up PictureUpload) (Picture, error) {
	def, err := b.definitionOf(ctx, up.Definition)
	if err != nil {
		return Picture{}, err
	}
	p := Picture{Definition: def.ID, Kind: up.Kind, Title: up.Title, File: path.Base(strings.ReplaceAll(up.File, `\`, "/")), Page: up.Page}
	if strings.TrimSpace(p.Title) == "" {
		p.Title = strings.TrimSuffix(p.File, path.Ext(p.File))
	}
	if p.Kind == "" {
		p.Kind = BoardPicture
	}
	err = firstError(cleanText("title", &p.Title, maxLine, oneLine), cleanText("file name", &p.File, maxLine, oneLine))
	if err != nil {
		return Picture{}, err
	}
	switch p.ID = slug(p.Title); {
	case !slices.Contains(PictureKinds(), p.Kind):
		return Picture{}, &InvalidError{Field: "kind of picture", Value: shorten(string(p.Kind)), Problem: "is not known", Nearest: names(PictureKinds())}
	case p.ID == "":
		return Picture{}, &InvalidError{Field: "title", Value: p.Title, Problem: "has no letter or figure to call the picture by"}
	case p.Page < 0:
		return Picture{}, &InvalidError{Field: "page", Value: fmt.Sprint(p.Page), Problem: "is not the number of a page, counted from 1"}
	}
	if p.Board, err = parseBoard(def, up.Board); err != nil {
		return Picture{}, err
	}
	data, err := b.pictureBytes(ctx, &p, up.Data)
	if err != nil {
		return Picture{}, err
	}
	p.SHA256, p.Bytes = hashOf(data), int64(len(data))
	list, err := b.picturesOf(ctx, def.ID)
	if err != nil {
		return Picture{}, err
	}
	for _, old := range list {
		switch {
		case old.ID == p.ID && old.SHA256 == p.SHA256:
			return old, nil
		case old.ID == p.ID:
			return Picture{}, &InvalidError{Field: "title", Value: p.Title, Problem: "is that of another picture of this recorder, with marks that are its own; give this one another title, or remove the other first"}
		}
	}
	made, err := b.keepPicture(ctx, p.File, data)
	if err != nil {
		return Picture{}, err
	}
	p.Copy, p.Type, p.Width, p.Height = made.sha, made.Type, made.Width, made.Height
	return p, b.listPicture(ctx, p, false)
}

// pictureBytes reads a picture whole, and draws the page of a document.
func (b *Bench) pictureBytes(ctx context.Context, p *Picture, r io.Reader) ([]byte, error) {
	data, err := readPicture(p.File, r)
	if err != nil {
		return nil, err
	}
	if !picture.IsPDF(data) {
		if p.Page != 0 {
			return nil, &InvalidError{Field: "page", Value: fmt.Sprint(p.Page), Problem: "does not go with a file that is no PDF document; leave it out"}
		}
		return data, nil
	}
	if b.opt.PDFPage == nil {
		return nil, &PictureError{p.File, &picture.Error{Problem: "is a PDF document, of which this program draws no pages", Advice: "Save the page as a picture, PNG at 200 dots per inch or more, and add that."}}
	}
	p.Page = max(1, p.Page)
	b.pictures.drawing.Lock() // one at a time
	defer b.pictures.drawing.Unlock()
	data, err = b.opt.PDFPage(ctx, data, p.Page)
	return data, asPictureError(p.File, err)
}

func readPicture(file string, r io.Reader) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, picture.MaxBytes+1))
	if err == nil && len(data) > picture.MaxBytes {
		err = asPictureError(file, picture.TooManyBytes())
	}
	return data, err
}

func asPictureError(file string, err error) error {
	if e, ok := errors.AsType[*picture.Error](err); ok {
		return &PictureError{file, e}
	}
	return err
}

// keptCopy is what is shown of a kept picture.
type keptCopy struct {
	picture.Info
	sha string
}

// keepPicture puts a picture away as it is given, and the copy that is shown beside it.
func (b *Bench) keepPicture(ctx context.Context, file string, data []byte) (keptCopy, error) {
	b.pictures.one.Lock() // one at a time: each may take [picture.MaxMemory]
	out, info, err := picture.Copy(data)
	b.pictures.one.Unlock()
	if err != nil {
		return keptCopy{}, asPictureError(file, err)
	}
	for _, d := range [][]byte{data, out} {
		if _, _, err := b.files.Put(ctx, bytes.NewReader(d)); err != nil {
			return keptCopy{}, fmt.Errorf("%s was not kept: %w", file, err)
		}
	}
	return keptCopy{info, hashOf(out)}, nil
}

func (b *Bench) listPicture(ctx context.Context, p Picture, removed bool) error {
	data, err := json.Marshal(documentOf(p, removed))
	if err != nil {
		return err
	}
	return b.list(ctx, PictureDocument, p.Definition+"/"+p.ID, p.Title, data)
}

// list appends a document to the list of its kind.
func (b *Bench) list(ctx context.Context, kind DocumentKind, id, name string, data []byte) error {
	sha, err := b.rec.PutDocument(ctx, data)
	if err != nil {
		return err
	}
	return b.rec.AppendListing(ctx, Listing{Kind: kind, ID: id, Name: name, SHA256: sha, Added: b.opt.Now()})
}

// RemovePicture takes a picture off the list of its definition. File and marks stay kept:
// the same picture added again under its title has its marks.
func (b *Bench) RemovePicture(ctx context.Context, definition, id string) error {
	p, err := b.Picture(ctx, definition, id)
	if err != nil {
		return err
	}
	return b.listPicture(ctx, p, true)
}

// definitionOf loads the definition in force under an id, or any version by its SHA-256.
func (b *Bench) definitionOf(ctx context.Context, id string) (*machine.Definition, error) {
	info, yaml, err := b.findDefinition(ctx, id)
	if err != nil {
		return nil, err
	}
	b.mu.Lock()
	d := b.defs[info.SHA]
	b.mu.Unlock()
	if d != nil {
		return d, nil
	}
	if d, err = machine.Load(info.ID+".yaml", yaml); err != nil {
		return nil, err
	}
	b.mu.Lock()
	b.defs[info.SHA] = d
	b.mu.Unlock()
	return d, nil
}

// parseBoard finds a board by id or name; case does not matter.
func parseBoard(def *machine.Definition, s string) (string, error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return "", nil
	}
	var ids []string
	for _, x := range def.Boards {
		if strings.EqualFold(x.ID, s) || strings.EqualFold(x.Name, s) {
			return x.ID, nil
		}
		ids = append(ids, x.ID)
	}
	return "", &InvalidError{Field: "board", Value: shorten(s), Problem: "is not in the definition", Nearest: nearest(s, ids)}
}
