package job

import (
	"context"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/measure"
)

// Photograph records a picture taken at the bench, of the recorder as it lay open: which
// lead went where, the screws, what was found. The file is known by its hash and never
// altered; it may say where and when it was taken, so that only the copy is ever shown.
type Photograph struct {
	File   string // name as given
	SHA256 string // of the file as given
	Bytes  int64
	Copy   string // SHA-256 of what is shown: see picture.Copy
	Type   string // of the copy: image/png or image/jpeg
	Width  int    // of the copy, pixels
	Height int
	// Opening is the layer: the machine.Opening that it shows; empty for the recorder closed.
	Opening string `json:",omitempty"`
	Caption string `json:",omitempty"`
}

// LayerNow, as the layer of an upload, stands for what is open: see [PhotographUpload].
const LayerNow = "now"

// PhotographUpload is a photograph to be kept in a job.
type PhotographUpload struct {
	File string
	// Opening is its layer by id or name; empty or "closed": the recorder closed; [LayerNow]:
	// the one opened last of those that are open.
	Opening string
	Caption string
	Case    measure.CaseState
	Data    io.Reader
}

// AddPhotograph keeps a photograph, PNG or JPEG, and enters it in the record. Errors:
// [NotFoundError], [InvalidError] and [PictureError], after which nothing is kept;
// [UnrecordedError], after which the file is.
func (b *Bench) AddPhotograph(ctx context.Context, jobID string, up PhotographUpload) (Entry, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return Entry{}, err
	}
	p := Photograph{File: path.Base(strings.ReplaceAll(up.File, `\`, "/")), Opening: up.Opening, Caption: up.Caption}
	if strings.EqualFold(strings.TrimSpace(p.Opening), LayerNow) {
		p.Opening = ""
		if n := len(v.Open); n > 0 {
			p.Opening = v.Open[n-1]
		}
	}
	// Before the file is read: what was typed wrong is told at once.
	if err := firstError(checkPhotograph(v.Def, &p), checkCase(up.Case)); err != nil {
		return Entry{}, err
	}
	data, err := readPicture(p.File, up.Data)
	if err != nil {
		return Entry{}, err
	}
	made, err := b.keepPicture(ctx, p.File, data)
	if err != nil {
		return Entry{}, err
	}
	p.SHA256, p.Bytes = hashOf(data), int64(len(data))
	p.Copy, p.Type, p.Width, p.Height = made.sha, made.Type, made.Width, made.Height
	e, err := b.record(ctx, jobID, Entry{Kind: KindPhotograph, Case: up.Case, Photograph: &p})
	if err != nil {
		return Entry{}, &UnrecordedError{File: p.File, SHA256: p.SHA256, Err: err}
	}
	return e, nil
}

// checkPhotograph completes layer and caption.
func checkPhotograph(def *machine.Definition, p *Photograph) error {
	err := firstError(cleanText("caption", &p.Caption, maxText, manyLines), cleanText("file name", &p.File, maxLine, oneLine))
	if err != nil {
		return err
	}
	if o := strings.TrimSpace(p.Opening); o == "" || strings.EqualFold(o, machine.Closed) {
		p.Opening = ""
		return nil
	}
	p.Opening, err = ParseOpening(def, p.Opening)
	return err
}

// sameFile puts the file of a photograph into its correction: corrected is what is said
// of it, and another file is another photograph.
func (b *Bench) sameFile(ctx context.Context, jobID string, seq int64, e *Entry) error {
	entries, err := b.rec.Entries(ctx, jobID)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(entries, func(o Entry) bool { return o.Seq == seq })
	if i < 0 || entries[i].Photograph == nil {
		return nil // the record says what is wrong
	}
	old, said := entries[i].Photograph, e.Photograph
	if said.SHA256 != "" && said.SHA256 != old.SHA256 {
		return &InvalidError{Field: "correction", Value: said.File, Problem: "is another file; take the photograph back and add the right one"}
	}
	p := *old
	p.Opening, p.Caption = said.Opening, said.Caption
	e.Photograph = &p
	return nil
}

// PhotographImage returns a photograph as it is shown, at a width in pixels; 0: its own.
func (b *Bench) PhotographImage(ctx context.Context, jobID string, seq int64, width int) (Image, error) {
	entries, err := b.rec.Entries(ctx, jobID)
	if err != nil {
		return Image{}, err
	}
	for _, e := range entries {
		if p := e.Photograph; p != nil && e.Seq == seq {
			return b.shownCopy(ctx, p.Copy, p.Type, p.Width, p.Height, width)
		}
	}
	return Image{}, &NotFoundError{What: "photograph", ID: fmt.Sprint(seq)}
}

// Text says of what layer a photograph is, with its caption.
func (p Photograph) Text(def *machine.Definition) string {
	s := p.Layer(def)
	if p.Caption != "" {
		s += ": " + p.Caption
	}
	return s
}

// Layer is the name of the opening that a photograph shows; of a definition that has no
// such opening any more its id. def may be nil.
func (p Photograph) Layer(def *machine.Definition) string {
	if p.Opening == "" {
		return "closed"
	}
	if def != nil {
		if o, ok := def.Opening(p.Opening); ok && o.Name != "" {
			return o.Name
		}
	}
	return p.Opening
}

// Photographs are those that count, in the order in which they were taken.
func (v *View) Photographs() []Entry {
	var out []Entry
	for _, e := range v.Current {
		if e.Photograph != nil {
			out = append(out, e)
		}
	}
	return out
}
