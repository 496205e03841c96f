package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"headstack/job"
	"headstack/report"
)

type reportVerb struct {
	benchFlag
	Out   string `short:"o" placeholder:"FILE" help:"File to write; - is standard output. Without it JOB.html here."`
	Force bool   `help:"Overwrite the file when it is there."`
	Job   string `arg:"" help:"Job id."`
}

func (reportVerb) Help() string { return "Example: headstack report job-0001 -o hexastrand-0417.html" }

func (v *reportVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		out := v.Out
		if out == "" {
			out = v.Job + ".html"
		}
		html, err := reportHTML(e, b, v.Job)
		if err != nil {
			return err
		}
		if out == "-" {
			_, err = e.out.Write(html)
			return err
		}
		if _, err := os.Stat(out); err == nil && !v.Force {
			return withHint(fmt.Errorf("%s exists; nothing was written: %w", out, fs.ErrExist), "give another name with -o, or --force")
		}
		if err := writeWhole(out, html); err != nil {
			return err
		}
		_, err = fmt.Fprintln(e.out, "report:", out)
		return err
	})
}

// reportHTML is the report of a job as it stands now.
func reportHTML(e *env, b *job.Bench, id string) ([]byte, error) {
	data := report.Data{When: time.Now().UTC().Truncate(time.Second), Program: "headstack"}
	verdict, view, err := b.Diagnose(e.ctx, id)
	data.Verdict, data.View = verdict, view
	var missing *job.NotFoundError
	if err != nil {
		if errors.As(err, &missing) {
			return nil, err
		}
		// A record that cannot be reasoned over still has its report.
		data.NoVerdict = err.Error()
		if data.View, err = b.View(e.ctx, id); err != nil {
			return nil, err
		}
	}
	data.LoopedBack = report.LoopedBack(e.ctx, data.View, b)
	if data.Explained, err = b.ExplainJob(e.ctx, id); err != nil {
		return nil, err
	}
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
