package main

import (
	"fmt"

	"headstack/handout"
	"headstack/job"
	"headstack/paper"
)

type blankVerb struct {
	benchFlag
	Paper string `default:"A4" help:"A4 or letter."`
	Out   string `short:"o" placeholder:"FILE" help:"File to write; - is standard output. Without it JOB-SHEET.pdf here."`
	Force bool   `help:"Overwrite the file when it is there."`
	Sheet string `arg:"" enum:"check,line-up" help:"check: the controls and functions with boxes; line-up: a page a round."`
	Job   string `arg:"" help:"Job id."`
}

func (blankVerb) Help() string {
	return "Example: headstack blank check job-0001 --paper letter -o check.pdf"
}

func (v *blankVerb) Run(e *env) error {
	size, err := paper.SizeNamed(v.Paper)
	if err != nil {
		return usage("%v", err)
	}
	return v.with(e, func(b *job.Bench) error {
		var pdf []byte
		if v.Sheet == "check" {
			view, err := b.View(e.ctx, v.Job)
			if err != nil {
				return err
			}
			if pdf, err = handout.CheckSheet(view, size); err != nil {
				return err
			}
		} else {
			l, view, err := b.LineUp(e.ctx, v.Job)
			if err != nil {
				return err
			}
			if pdf, err = handout.LineUpSheetOf(view, l, size); err != nil {
				return err
			}
		}
		out := v.Out
		if out == "" {
			out = v.Job + "-" + v.Sheet + ".pdf"
		}
		if err := writeOut(e, out, pdf, v.Force); err != nil || out == "-" {
			return err
		}
		_, err := fmt.Fprintln(e.out, "sheet:", out)
		return err
	})
}
