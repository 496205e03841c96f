package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"headstack/job"
	"headstack/picture/pdf"
	"headstack/store"
)

// benchFlag names the folder of the bench; every verb that keeps a record has it.
type benchFlag struct {
	Bench string `short:"b" placeholder:"DIR" env:"HEADSTACK_BENCH" help:"Folder of the bench; made when it is not there. Without it: headstack in the user's data folder."`
}

// folder is the given folder or the user's own.
func (f benchFlag) folder() (string, error) {
	if f.Bench != "" {
		return f.Bench, nil
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", withHint(fmt.Errorf("no folder for the bench: %w", err), "name one with --bench DIR")
	}
	return filepath.Join(dir, "headstack"), nil
}

// with opens the bench, runs do and closes it.
func (f benchFlag) with(e *env, do func(*job.Bench) error) error {
	dir, err := f.folder()
	if err != nil {
		return err
	}
	s, err := store.Open(dir, store.Options{})
	if err != nil {
		return err
	}
	err = do(job.NewBench(s, s, job.BenchOptions{PDFPage: pdf.Page}))
	if cerr := s.Close(); err == nil {
		err = cerr
	}
	return err
}

func printJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	return enc.Encode(v)
}
