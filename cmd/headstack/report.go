package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"headstack/diagnosis"
	"headstack/handout"
	"headstack/job"
	"headstack/paper"
	"headstack/report"
)

type reportVerb struct {
	Write reportWriteVerb `cmd:"" default:"withargs" help:"Write the report of a job: HTML, PDF, or the card for a buyer."`
	Check reportCheckVerb `cmd:"" help:"Whether the bench still has the record that a report was made from."`
}

type reportWriteVerb struct {
	benchFlag
	Out   string `short:"o" placeholder:"FILE" help:"File to write; - is standard output. Without it JOB.html, JOB.pdf or JOB-card.pdf here."`
	PDF   bool   `name:"pdf" help:"The hand-over as PDF: as found and as left against tolerance, what was changed, what was not done. So is a FILE ending in .pdf." xor:"form"`
	Card  bool   `help:"One page for who buys the recorder, as PDF." xor:"form"`
	Paper string `default:"A4" help:"Of PDF: A4 or letter."`
	Force bool   `help:"Overwrite the file when it is there."`
	Job   string `arg:"" help:"Job id."`
}

func (reportWriteVerb) Help() string {
	return `Examples: headstack report job-0001 -o hexastrand-0417.html
headstack report job-0001 -o hexastrand-0417.pdf
headstack report job-0001 --card`
}

func (v *reportWriteVerb) Run(e *env) error {
	size, err := paper.SizeNamed(v.Paper)
	if err != nil {
		return usage("%v", err)
	}
	return v.with(e, func(b *job.Bench) error {
		write, out := reportHTML, v.Job+".html"
		switch {
		case v.Card:
			write, out = handoutPDF(handout.Card, size), v.Job+"-card.pdf"
		case v.PDF, strings.EqualFold(filepath.Ext(v.Out), ".pdf"):
			write, out = handoutPDF(handout.HandOver, size), v.Job+".pdf"
		}
		if v.Out != "" {
			out = v.Out
		}
		data, err := write(e, b, v.Job)
		if err != nil {
			return err
		}
		if err := writeOut(e, out, data, v.Force); err != nil || out == "-" {
			return err
		}
		_, err = fmt.Fprintln(e.out, "report:", out)
		return err
	})
}

// handoutPDF writes a document of a job as PDF.
func handoutPDF(document func(handout.Data, paper.Size) ([]byte, error), size paper.Size) func(*env, *job.Bench, string) ([]byte, error) {
	return func(e *env, b *job.Bench, id string) ([]byte, error) {
		d, err := handout.Gather(e.ctx, b, id, "headstack", func(ctx context.Context, v *job.View) (*diagnosis.Advice, error) {
			a, _, err := b.Advise(ctx, v.Job.ID)
			return a, err
		})
		if err != nil {
			return nil, err
		}
		return document(d, size)
	}
}

// reportHTML is the report of a job as it stands now.
func reportHTML(e *env, b *job.Bench, id string) ([]byte, error) {
	return reportAsOf(e.ctx, b, id, time.Now().UTC().Truncate(time.Second))
}

// reportAsOf is the report of a job with a date of its own.
func reportAsOf(ctx context.Context, b *job.Bench, id string, when time.Time) ([]byte, error) {
	data := report.Data{When: when, Program: "headstack"}
	verdict, view, err := b.Diagnose(ctx, id)
	data.Verdict, data.View = verdict, view
	var missing *job.NotFoundError
	if err != nil {
		if errors.As(err, &missing) {
			return nil, err
		}
		// A record that cannot be reasoned over still has its report.
		data.NoVerdict = err.Error()
		if data.View, err = b.View(ctx, id); err != nil {
			return nil, err
		}
	}
	data.LoopedBack = report.LoopedBack(ctx, data.View, b)
	if data.Explained, err = b.ExplainJob(ctx, id); err != nil {
		return nil, err
	}
	data.Photographs = report.PhotographsOf(ctx, data.View, b)
	var buf bytes.Buffer
	if err := report.HTML(&buf, data); err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}

// writeWhole writes a file whole or not at all: temporary in the same folder,
// sync, rename.
func writeWhole(path string, data []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".headstack-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(data); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	if err = os.Chmod(f.Name(), 0o644); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
