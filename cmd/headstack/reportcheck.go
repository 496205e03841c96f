package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"headstack/handout"
	"headstack/job"
)

// mostReport bounds a report that is read back, bytes.
const mostReport = 256 << 20

type reportCheckVerb struct {
	benchFlag
	File string `arg:"" help:"A report as HTML or PDF, or a card; - is standard input."`
}

func (reportCheckVerb) Help() string {
	return `Example: headstack report check hexastrand-0417.pdf

The report names its job, how many entries the record had, and the SHA-256 of it. Exit 0: the record is that one, or that
one with entries added since; 3: it is another; 4: the file names no record, or the bench does not have the job. Changes
to the file itself are not seen: of those tell two files made from one record, which are the same to the byte (PDF).`
}

func (v *reportCheckVerb) Run(e *env) error {
	data, err := readReport(e, v.File)
	if err != nil {
		return err
	}
	stamp, err := handout.ReadStamp(data)
	if err != nil {
		return &fault{exitNoJudge, fmt.Errorf("%s: %w", v.File, err), "headstack report JOB writes one that does; one of an earlier version prints the hash at its foot"}
	}
	return v.with(e, func(b *job.Bench) error {
		view, err := b.View(e.ctx, stamp.Job)
		if missing, ok := errors.AsType[*job.NotFoundError](err); ok {
			return &fault{exitNoJudge, fmt.Errorf("%s was made from %s: %w", v.File, stamp.Job, missing), "name the folder of its bench with --bench"}
		}
		if err != nil {
			return err
		}
		held, more, err := stamp.Check(view)
		if err != nil {
			return err
		}
		switch held {
		case handout.Same:
			fmt.Fprintf(e.out, "same: %s has the record of %d entries that %s was made from (SHA-256 %s)\n", stamp.Job, stamp.Entries, v.File, stamp.SHA256)
		case handout.Grown:
			fmt.Fprintf(e.out, "grown: %s has the record of %d entries that %s was made from, and %d added since; a new report would say more\n", stamp.Job, stamp.Entries, v.File, more)
		default:
			return &fault{exitNotInOrder, fmt.Errorf("%s was made from another record of %s: %d entries with the SHA-256 %s; the bench has %d entries", v.File, stamp.Job, stamp.Entries, stamp.SHA256, len(view.Entries)),
				"it is of another bench, or a backup older than the report was put back"}
		}
		return nil
	})
}

func readReport(e *env, name string) ([]byte, error) {
	in := e.in
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
	}
	data, err := io.ReadAll(io.LimitReader(in, mostReport+1))
	if err == nil && len(data) > mostReport {
		err = fmt.Errorf("%s is larger than %d MiB: no report of ours", name, mostReport>>20)
	}
	return data, err
}
