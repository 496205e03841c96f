package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"headstack/export"
	"headstack/halfmade"
	"headstack/job"
	"headstack/store"
)

type exportVerb struct {
	benchFlag
	NoReports bool   `help:"Leave out the reports: the record alone, sooner."`
	Damaged   bool   `help:"Write what can be read and list what cannot, where else nothing is written. Exit code 3 then."`
	To        string `arg:"" name:"folder-or-zip" help:"The folder to write, or a FILE.zip; neither may be there yet." type:"path"`
}

func (exportVerb) Help() string {
	return `Examples: headstack export ~/usb/bench-2031-03-04
headstack export ~/usb/bench-2031-03-04.zip

Everything that the bench keeps, to be read without this program: a page that leads to all, the
report of each job, tables as CSV, the record as JSON, sound and pictures as the files that they
were, and their hashes for sha256sum -c. The bench may be in use meanwhile. The same record gives
the same bytes. Phones that have joined are not in it: their tokens are secrets of this machine.
headstack import puts it back; a backup is smaller and only for this program.`
}

func (v *exportVerb) Run(e *env) error {
	clearHalfMade(e, filepath.Dir(filepath.Clean(v.To)))
	var w export.Written
	var err error
	if strings.EqualFold(filepath.Ext(v.To), ".zip") {
		err = writeAnew(v.To, func(f io.Writer) error {
			w, err = exportTo(e.ctx, v.benchFlag, export.Options{Tolerate: v.Damaged}, !v.NoReports, func(s job.Contents, opt export.Options) (export.Written, error) {
				return export.ToZip(e.ctx, s, f, opt)
			})
			return err
		})
	} else {
		w, err = exportTo(e.ctx, v.benchFlag, export.Options{Tolerate: v.Damaged}, !v.NoReports, func(s job.Contents, opt export.Options) (export.Written, error) {
			return export.ToFolder(e.ctx, s, v.To, opt)
		})
	}
	if err != nil {
		return withHint(err, cmp.Or(hintOf(err), "nothing was exported and the bench is as it was; headstack verify names what is wrong in it, and --damaged exports the rest"))
	}
	fmt.Fprintf(e.out, "%s: %d files, %s\n", v.To, w.Exported, w.Content)
	for _, l := range w.Lost {
		fmt.Fprintf(e.out, "✕ %s %s: %s\n", l.What, l.ID, l.Reason)
	}
	if n := len(w.Lost); n > 0 {
		return &fault{exitNotInOrder, fmt.Errorf("%d parts could not be read and are not in %s", n, v.To), "they are named in its " + export.LostName + "; a backup may have them"}
	}
	return nil
}

// exportTo gives a bench, as it stands now, to be exported with its reports.
func exportTo(ctx context.Context, at benchFlag, opt export.Options, reports bool, to func(job.Contents, export.Options) (export.Written, error)) (export.Written, error) {
	s, err := at.snapshot(ctx)
	if err != nil {
		return export.Written{}, err
	}
	if reports {
		b := job.NewBench(s, s, job.BenchOptions{})
		opt.Report = func(ctx context.Context, id string, when time.Time) ([]byte, error) {
			return reportAsOf(ctx, b, id, when)
		}
	}
	w, err := to(s, opt)
	return w, errors.Join(err, s.Close())
}

// exportZip is an export for the pages.
func exportZip(at benchFlag) func(context.Context, io.Writer) error {
	return func(ctx context.Context, w io.Writer) error {
		_, err := exportTo(ctx, at, export.Options{}, true, func(s job.Contents, opt export.Options) (export.Written, error) {
			return export.ToZip(ctx, s, w, opt)
		})
		return err
	}
}

// writeAnew writes a file that is not there yet, whole or not at all.
func writeAnew(path string, fill func(io.Writer) error) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already; give another name", path)
	}
	f, err := os.CreateTemp(filepath.Dir(path), halfmade.Pattern("export"))
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // after the rename there is nothing to remove
	if err = fill(f); err == nil {
		err = errors.Join(f.Chmod(0o644), f.Sync())
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	if err := halfmade.Settle(filepath.Dir(path)); err != nil {
		return errors.Join(err, os.Rename(path, f.Name()))
	}
	return nil
}

// printContent says what a bench holds.
func printContent(e *env, s *store.Snapshot) error {
	c, err := export.ContentOf(e.ctx, s)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(e.out, c)
	return err
}

type importVerb struct {
	benchFlag
	Check      bool   `help:"Only look through the export; no bench is made."`
	Incomplete bool   `help:"Take an export that says that parts of it are lost."`
	From       string `arg:"" name:"folder-or-zip" help:"The export." type:"path"`
}

func (importVerb) Help() string {
	return `Examples: headstack import --bench ~/bench-anew ~/usb/bench-2031-03-04.zip
headstack import --check ~/usb/bench-2031-03-04

Makes a bench of an export, exactly as it was: numbers, times, hashes. Only in a bench that is empty
or not there. Every byte is held against its hash first, and the record against its own rules; when
anything does not fit, the bench stays as it was.`
}

func (v *importVerb) Run(e *env) error {
	t, err := export.Open(v.From)
	if err != nil {
		return inExport(v.From, err)
	}
	defer t.Close()
	// Before a bench is made: a folder for an export that is refused would be one too much.
	c, err := export.Check(e.ctx, t, export.ImportOptions{Incomplete: v.Incomplete || v.Check})
	if err != nil {
		return inExport(v.From, err)
	}
	if v.Check {
		return v.say(e, v.From, "whole: ", c)
	}
	s, err := v.open(e.ctx)
	if err != nil {
		return err
	}
	if err := errors.Join(c.Import(e.ctx, s), s.Close()); err != nil {
		return inExport(v.From, err)
	}
	return v.say(e, s.Place(), "", c)
}

func (v *importVerb) say(e *env, what, how string, c *export.Checked) error {
	fmt.Fprintf(e.out, "%s: %s%s\n", what, how, c.Content)
	for _, l := range c.Lost {
		fmt.Fprintf(e.out, "✕ lost before it was exported: %s %s: %s\n", l.What, l.ID, l.Reason)
	}
	for _, n := range c.Unknown {
		fmt.Fprintf(e.out, "– not part of the export, left alone: %s\n", n)
	}
	return nil
}

// inExport names the export in an error, with the exit code and what to do.
func inExport(path string, err error) error {
	f := &fault{exitError, fmt.Errorf("%s: %w", path, err), hintOf(err)}
	if _, bad := errors.AsType[*export.BadError](err); bad {
		f.code = exitNotInOrder
	}
	return f
}

// hintOf is what an error itself says to do, "" when nothing.
func hintOf(err error) string {
	if h, ok := errors.AsType[interface {
		error
		Hint() string
	}](err); ok {
		return h.Hint()
	}
	return ""
}
