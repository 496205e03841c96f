package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"headstack/job"
)

type photographVerb struct {
	benchFlag
	Layer   string `default:"now" placeholder:"OPENING" help:"The opening that it shows, by id; closed; or now: the one opened last."`
	Caption string `help:"What is to be seen on it."`
	Case    string `enum:"closed,propped,open,unknown" default:"unknown" help:"Case state: ${enum}. Where openings were recorded it follows from them."`
	JSON    bool   `help:"One JSON object on standard output."`
	Job     string `arg:"" help:"Job id."`
	File    string `arg:"" help:"PNG or JPEG."`
}

func (photographVerb) Help() string {
	return `Example: headstack photograph job-0001 --layer lid --caption "W5 before it was parted" IMG_0417.jpg

The file is kept as given and never altered; page and report show a copy without place, time and
camera. headstack correct changes the caption or takes the photograph back.`
}

func (v *photographVerb) Run(e *env) error {
	f, err := os.Open(v.File)
	if err != nil {
		return err
	}
	defer f.Close()
	return v.with(e, func(b *job.Bench) error {
		x, err := b.AddPhotograph(e.ctx, v.Job, job.PhotographUpload{File: filepath.Base(v.File), Opening: v.Layer, Caption: v.Caption, Case: caseState(v.Case), Data: f})
		var kept *job.UnrecordedError
		if errors.As(err, &kept) {
			return withHint(err, "add the same file again: it is found by its hash")
		}
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, x)
		}
		view, err := b.View(e.ctx, v.Job)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(e.out, "kept as %s (entry %d): %s\n", x.Ref, x.Seq, x.Photograph.Text(view.Def))
		return err
	})
}
