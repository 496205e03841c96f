package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"headstack/job"
)

type pictureVerb struct {
	Add    pictureAddVerb    `cmd:"" help:"Keep a picture of a board or a page of a circuit diagram for a recorder type."`
	List   pictureListVerb   `cmd:"" help:"List the pictures of a recorder type with their marks."`
	Show   pictureShowVerb   `cmd:"" help:"Write a picture, or the part around a mark, to a file."`
	Remove pictureRemoveVerb `cmd:"" help:"Take a picture off the list; file and marks stay kept."`
	Export pictureExportVerb `cmd:"" help:"Write a definition with its pictures and marks as one ZIP file, for another bench."`
	Import pictureImportVerb `cmd:"" help:"Keep the definition, pictures and marks of such a file."`
}

type pictureAddVerb struct {
	benchFlag
	Board string `placeholder:"ID" help:"The board that it shows; without it, more than one."`
	Kind  string `enum:"board,diagram" default:"board" help:"What it is: ${enum}."`
	Title string `help:"What it is called; without it the file's name."`
	Page  int    `placeholder:"N" help:"Page of a PDF document, counted from 1; without it the first."`
	JSON  bool   `help:"One JSON object on standard output."`
	Def   string `arg:"" name:"def" help:"Recorder type: a YAML file, or the id of one that the bench knows."`
	File  string `arg:"" help:"PNG, JPEG or PDF."`
}

func (pictureAddVerb) Help() string {
	return `Example: headstack picture add --board Tape --title "Tape, parts side" hexastrand tape.jpg
         headstack picture add --kind diagram --page 7 hexastrand manual.pdf

The file is kept as given; shown is a copy without place, time and camera. A page of a PDF
document is kept as it was drawn; drawing one takes some seconds.`
}

// pictureJSON is a picture for scripts.
type pictureJSON struct {
	ID         string          `json:"id"`
	Definition string          `json:"definition"`
	Kind       job.PictureKind `json:"kind"`
	Board      string          `json:"board"`
	Title      string          `json:"title"`
	File       string          `json:"file"`
	Page       int             `json:"page"`
	SHA256     string          `json:"sha256"`
	Width      int             `json:"width"`
	Height     int             `json:"height"`
	Marks      []markJSON      `json:"marks"`
}

func pictureOut(p job.Picture, marks []job.Mark) pictureJSON {
	out := pictureJSON{p.ID, p.Definition, p.Kind, p.Board, p.Title, p.File, p.Page, p.SHA256, p.Width, p.Height, []markJSON{}}
	for _, m := range marks {
		if m.Picture == p.ID {
			out.Marks = append(out.Marks, markOut(m))
		}
	}
	return out
}

func (v *pictureAddVerb) Run(e *env) error {
	f, err := os.Open(v.File)
	if err != nil {
		return err
	}
	defer f.Close()
	return v.with(e, func(b *job.Bench) error {
		id, err := definitionID(e, b, v.Def)
		if err != nil {
			return err
		}
		p, err := b.AddPicture(e.ctx, job.PictureUpload{Definition: id, Kind: job.PictureKind(v.Kind), Board: v.Board, Title: v.Title, File: filepath.Base(v.File), Page: v.Page, Data: f})
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, pictureOut(p, nil))
		}
		_, err = fmt.Fprintf(e.out, "kept as %s: %s, %d by %d pixels\n", p.ID, p.Title, p.Width, p.Height)
		return err
	})
}

type pictureListVerb struct {
	benchFlag
	JSON bool   `help:"A JSON array."`
	Def  string `arg:"" name:"def" help:"Recorder type, by id."`
}

func (v *pictureListVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		list, err := b.Pictures(e.ctx, v.Def)
		if err != nil {
			return err
		}
		marks, err := b.Marks(e.ctx, v.Def)
		if err != nil {
			return err
		}
		if v.JSON {
			out := []pictureJSON{}
			for _, p := range list {
				out = append(out, pictureOut(p, marks))
			}
			return printJSON(e.out, out)
		}
		if len(list) == 0 {
			fmt.Fprintln(e.out, "no picture yet: headstack picture add keeps one")
			return nil
		}
		w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "id\tkind\tboard\tpixels\tmarks")
		for _, p := range list {
			fmt.Fprintf(w, "%s\t%s\t%s\t%d×%d\t%d\n", p.ID, p.Kind, orNone(p.Board), p.Width, p.Height, len(pictureOut(p, marks).Marks))
		}
		return w.Flush()
	})
}

type pictureShowVerb struct {
	benchFlag
	Part    string `placeholder:"PART" help:"Only what is around the mark of this designator."`
	Width   int    `placeholder:"PX" help:"Width in pixels; without it the picture's own."`
	Out     string `short:"o" required:"" placeholder:"FILE" help:"File to write; - is standard output."`
	Def     string `arg:"" name:"def" help:"Recorder type, by id."`
	Picture string `arg:"" help:"Picture, by id."`
}

func (v *pictureShowVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		var i job.Image
		var err error
		if v.Part != "" {
			i, err = b.SpotImage(e.ctx, v.Def, v.Picture, v.Part)
		} else {
			i, err = b.PictureImage(e.ctx, v.Def, v.Picture, v.Width)
		}
		if err != nil {
			return err
		}
		if v.Out == "-" {
			_, err = e.out.Write(i.Data)
			return err
		}
		if err := writeWhole(v.Out, i.Data); err != nil {
			return err
		}
		_, err = fmt.Fprintf(e.out, "%s: %s, %d by %d pixels\n", v.Out, strings.TrimPrefix(i.Type, "image/"), i.Width, i.Height)
		return err
	})
}

type pictureRemoveVerb struct {
	benchFlag
	Def     string `arg:"" name:"def" help:"Recorder type, by id."`
	Picture string `arg:"" help:"Picture, by id."`
}

func (v *pictureRemoveVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		if err := b.RemovePicture(e.ctx, v.Def, v.Picture); err != nil {
			return err
		}
		_, err := fmt.Fprintf(e.out, "%s is off the list; its file and marks stay kept, and the same file under its title has them again\n", v.Picture)
		return err
	})
}

type pictureExportVerb struct {
	benchFlag
	Def string `arg:"" name:"def" help:"Recorder type, by id."`
	Out string `arg:"" name:"file" help:"ZIP file to write; - is standard output."`
}

func (v *pictureExportVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		var buf bytes.Buffer
		if err := b.WriteBundle(e.ctx, v.Def, &buf); err != nil {
			return err
		}
		if v.Out == "-" {
			_, err := io.Copy(e.out, &buf)
			return err
		}
		if err := writeWhole(v.Out, buf.Bytes()); err != nil {
			return err
		}
		_, err := fmt.Fprintln(e.out, "bundle:", v.Out)
		return err
	})
}

type pictureImportVerb struct {
	benchFlag
	File string `arg:"" help:"ZIP file that headstack picture export wrote."`
}

func (v *pictureImportVerb) Run(e *env) error {
	f, err := os.Open(v.File)
	if err != nil {
		return err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, job.MaxBundle+1))
	if err != nil {
		return err
	}
	return v.with(e, func(b *job.Bench) error {
		got, err := b.AddBundle(e.ctx, filepath.Base(v.File), data)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(e.out, "%s: %d pictures, %d marks\n", got.Definition.ID, got.Pictures, got.Marks)
		return err
	})
}
