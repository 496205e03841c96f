package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"headstack/handout"
	"headstack/job"
	"headstack/paper"
)

type labelsVerb struct {
	benchFlag
	Of      string         `default:"faults" enum:"faults,cups,connectors,tapes,strips" help:"faults, cups (of screws), connectors (two each), tapes, or strips (along the faders)."`
	All     bool           `help:"Of cups and connectors: those of the whole recorder, not of the planned openings alone."`
	Paper   string         `default:"A4" help:"A4 or letter."`
	Sheet   string         `placeholder:"NAME" help:"A division of a sheet of labels, such as \"3 x 8, 70 x 37 mm, A4\"; --sheets lists them. Without it: plain paper to cut."`
	Sheets  bool           `help:"List the divisions that have a name."`
	Grid    string         `placeholder:"CxR" help:"Your own sheet: columns x rows; with --label, and --pitch and --first where they differ."`
	Label   string         `default:"70x37" placeholder:"WxH" help:"Of one label, mm."`
	Pitch   string         `placeholder:"XxY" help:"From one label to the next, mm; without it they touch."`
	First   string         `placeholder:"XxY" help:"The first label from the left and upper edge of the sheet, mm; without it the sheet is filled evenly."`
	From    int            `default:"1" help:"Begin at this label of a sheet of which some are gone, counted along the rows."`
	Outline bool           `help:"Draw the edges of the labels, to hold a trial on plain paper against the sheet."`
	Width   float64        `default:"20" help:"Of strips: from one channel to the next, mm."`
	Note    map[int]string `placeholder:"TRACK=TEXT" help:"Of strips: what stands in the field of a track; more than one may be given."`
	Out     string         `short:"o" placeholder:"FILE" help:"File to write; - is standard output. Without it JOB-labels.pdf here."`
	Force   bool           `help:"Overwrite the file when it is there."`
	Job     string         `arg:"" optional:"" help:"Job id."`
}

func (labelsVerb) Help() string {
	return `Example: headstack labels job-0001 --of connectors --sheet "3 x 8, 70 x 37 mm, A4" --from 5 -o labels.pdf

Print at 100 %, not fitted to the page: the line of 100 mm at the foot of each sheet tells whether the printer did.`
}

func (v *labelsVerb) Run(e *env) error {
	if v.Sheets {
		for _, g := range handout.Geometries() {
			fmt.Fprintf(e.out, "%s: pitch %g x %g mm, first label %g mm from the left and %g mm from the top\n", g.Name, g.PitchX, g.PitchY, g.Left, g.Top)
		}
		return nil
	}
	if v.Job == "" {
		return usage("no job named; headstack job list has them")
	}
	return v.with(e, func(b *job.Bench) error {
		done, err := v.print(e, b)
		if err != nil {
			if _, none := errors.AsType[*handout.NoLabelsError](err); none {
				return &fault{exitNoJudge, err, "headstack labels --help has the kinds; --all takes those of the whole recorder"}
			}
			return err
		}
		out := v.Out
		if out == "" {
			out = v.Job + "-labels.pdf"
		}
		if err := writeOut(e, out, done.PDF, v.Force); err != nil {
			return err
		}
		if out != "-" {
			fmt.Fprintf(e.out, "labels: %s, sheets: %d\n", out, done.Sheets)
		}
		if len(done.Cut) > 0 {
			fmt.Fprintf(e.err, "not everything fits on: %s (the end is marked …)\n", strings.Join(done.Cut, ", "))
		}
		return nil
	})
}

func (v *labelsVerb) print(e *env, b *job.Bench) (handout.Printed, error) {
	if v.Of == "strips" {
		size, err := paper.SizeNamed(v.Paper)
		if err != nil {
			return handout.Printed{}, usage("%v", err)
		}
		view, err := b.View(e.ctx, v.Job)
		if err != nil {
			return handout.Printed{}, err
		}
		return handout.Strips(view, size, v.Width, v.Note, handout.RecordTime(view))
	}
	g, err := v.geometry()
	if err != nil {
		return handout.Printed{}, usage("%v", err)
	}
	labels, view, err := handout.LabelsOf(e.ctx, b, v.Job, handout.LabelKind(v.Of), v.All)
	if err != nil {
		return handout.Printed{}, err
	}
	return handout.Labels(labels, g, v.From, v.Outline, handout.RecordTime(view))
}

// geometry is the sheet that was asked for: a named one, one's own, or plain paper.
func (v *labelsVerb) geometry() (handout.Geometry, error) {
	if v.Sheet != "" {
		return handout.GeometryNamed(v.Sheet)
	}
	return handout.ParseGeometry(v.Paper, v.Grid, v.Label, v.Pitch, v.First)
}

// writeOut writes a file whole, and over another only where that was asked for; - is
// standard output.
func writeOut(e *env, out string, data []byte, force bool) error {
	if out == "-" {
		_, err := e.out.Write(data)
		return err
	}
	if _, err := os.Stat(out); err == nil && !force {
		return withHint(fmt.Errorf("%s exists; nothing was written: %w", out, fs.ErrExist), "give another name with -o, or --force")
	}
	return writeWhole(out, data)
}
