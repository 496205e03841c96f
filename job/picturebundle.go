package job

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"path"
	"time"

	"headstack/picture"
)

// The files of a bundle: a definition with its pictures and marks, for another bench.
const (
	bundleDefinition = "definition.yaml"
	bundlePictures   = "pictures.json"
	bundleFolder     = "pictures/"
	// MaxBundle bounds a bundle in bytes, and maxBundled its pictures in number.
	MaxBundle  = 256 << 20
	maxBundled = 200
	maxMarked  = 20_000
)

// bundleIndex is pictures.json.
type bundleIndex struct {
	Format   int             `json:"pictures_of_a_definition"` // of this form: 1
	ID       string          `json:"definition"`
	Pictures []bundlePicture `json:"pictures"`
}

type bundlePicture struct {
	Name    string         `json:"name"` // in the folder pictures/
	Kind    PictureKind    `json:"kind"`
	Board   string         `json:"board,omitempty"`
	Title   string         `json:"title"`
	Marks   []bundleMark   `json:"marks"`
	History []bundleChange `json:"history"` // as it was marked, the oldest first
}

type bundleMark struct {
	Part  string  `json:"part"`
	X     float64 `json:"x"` // fractions of width and height from the upper left
	Y     float64 `json:"y"`
	Label string  `json:"label,omitempty"`
}

type bundleChange struct {
	bundleMark
	Removed bool      `json:"removed,omitempty"`
	At      time.Time `json:"at"`
}

// WriteBundle writes a definition with its pictures and marks as a ZIP archive. Pictures
// are the copies that are shown: what else the files carried stays on this bench.
func (b *Bench) WriteBundle(ctx context.Context, definition string, w io.Writer) error {
	info, yaml, err := b.findDefinition(ctx, definition)
	if err != nil {
		return err
	}
	list, err := b.picturesOf(ctx, info.ID)
	if err != nil {
		return err
	}
	marks, err := b.marksOf(ctx, info.ID)
	if err != nil {
		return err
	}
	index := bundleIndex{Format: 1, ID: info.ID, Pictures: []bundlePicture{}}
	z := zip.NewWriter(w)
	if err := zipped(z, bundleDefinition, zip.Deflate, yaml); err != nil {
		return err
	}
	for _, p := range list {
		i, err := b.rawCopy(ctx, p.Copy, p.Type, p.Width, p.Height)
		if err != nil {
			return err
		}
		x := bundlePicture{Name: p.ID + map[string]string{picture.PNG: ".png", picture.JPEG: ".jpg"}[p.Type], Kind: p.Kind, Board: p.Board, Title: p.Title, Marks: []bundleMark{}, History: []bundleChange{}}
		for _, m := range marks {
			if m.Picture == p.ID {
				x.Marks = append(x.Marks, bundleMark{m.Part, m.X, m.Y, m.Label})
			}
		}
		history, err := b.MarkHistory(ctx, info.ID, p.ID)
		if err != nil {
			return err
		}
		for _, h := range history {
			x.History = append(x.History, bundleChange{bundleMark{h.Part, h.X, h.Y, h.Label}, h.Removed, h.At})
		}
		index.Pictures = append(index.Pictures, x)
		if err := zipped(z, bundleFolder+x.Name, zip.Store, i.Data); err != nil { // it is packed already
			return err
		}
	}
	data, err := json.MarshalIndent(index, "", " ")
	if err != nil {
		return err
	}
	if err := zipped(z, bundlePictures, zip.Deflate, data); err != nil {
		return err
	}
	return z.Close()
}

func zipped(z *zip.Writer, name string, method uint16, data []byte) error {
	f, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: method})
	if err == nil {
		_, err = f.Write(data)
	}
	return err
}

// Bundled says what of a bundle was kept.
type Bundled struct {
	Definition DefinitionInfo
	Pictures   int
	Marks      int
}

// AddBundle keeps the definition, pictures and marks of a bundle that [Bench.WriteBundle]
// wrote. name is the file's name, for errors. What is there already stays; a picture of
// the same title that is another one is an [InvalidError]. What came before an error is kept, and the
// same bundle can be added again.
func (b *Bench) AddBundle(ctx context.Context, name string, data []byte) (Bundled, error) {
	bad := func(problem string) error {
		return &InvalidError{Field: "bundle", Value: shorten(name), Problem: problem}
	}
	if len(data) > MaxBundle {
		return Bundled{}, bad(fmt.Sprintf("has more than %d MiB", MaxBundle>>20))
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return Bundled{}, bad("is no ZIP archive: " + err.Error())
	}
	files := map[string]*zip.File{}
	for _, f := range z.File {
		files[f.Name] = f
	}
	read := func(file string, limit int64) ([]byte, error) {
		f, ok := files[file]
		if !ok {
			return nil, bad("has no file " + file)
		}
		r, err := f.Open()
		if err != nil {
			return nil, bad(file + " cannot be read: " + err.Error())
		}
		defer r.Close()
		out, err := io.ReadAll(io.LimitReader(r, limit+1))
		switch {
		case err != nil:
			return nil, bad(file + " cannot be read: " + err.Error())
		case int64(len(out)) > limit:
			return nil, bad(fmt.Sprintf("%s has more than %d MiB", file, limit>>20))
		}
		return out, nil
	}
	yaml, err := read(bundleDefinition, maxDocument)
	if err != nil {
		return Bundled{}, err
	}
	text, err := read(bundlePictures, 8<<20)
	if err != nil {
		return Bundled{}, err
	}
	var index bundleIndex
	if err := json.Unmarshal(text, &index); err != nil {
		return Bundled{}, bad(bundlePictures + ": " + err.Error())
	}
	if index.Format != 1 || len(index.Pictures) > maxBundled {
		return Bundled{}, bad(fmt.Sprintf("is of form %d with %d pictures; read are form 1 and at most %d", index.Format, len(index.Pictures), maxBundled))
	}
	var out Bundled
	if out.Definition, err = b.AddDefinition(ctx, path.Base(name)+"/"+bundleDefinition, yaml); err != nil {
		return out, err
	}
	for _, x := range index.Pictures {
		if len(x.Marks) > maxMarked {
			return out, bad(fmt.Sprintf("has %d marks on %s; at most %d are read", len(x.Marks), shorten(x.Title), maxMarked))
		}
		image, err := read(bundleFolder+x.Name, picture.MaxBytes)
		if err != nil {
			return out, err
		}
		p, err := b.AddPicture(ctx, PictureUpload{Definition: out.Definition.ID, Kind: x.Kind, Board: x.Board, Title: x.Title, File: x.Name, Data: bytes.NewReader(image)})
		if err != nil {
			return out, err
		}
		out.Pictures++
		for _, m := range x.Marks {
			if _, err := b.SetMark(ctx, p.Definition, Mark{Picture: p.ID, Part: m.Part, X: m.X, Y: m.Y, Label: m.Label}); err != nil {
				return out, err
			}
			out.Marks++
		}
	}
	return out, nil
}
