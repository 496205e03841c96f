package main

import (
	"cmp"
	"context"
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
	// Of a shop; see doc/SHOP.md.
	Record string `name:"record-at" placeholder:"ADDRESS" env:"HEADSTACK_RECORD" help:"Record on a PostgreSQL server that several share: postgres://USER@HOST/DATABASE; the password in the password file."`
	Files  string `name:"files" placeholder:"DIR" env:"HEADSTACK_FILES" help:"Folder of captures and photographs that goes with such a record; without it, that of the bench."`
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

// open opens the bench: the folder, or the record on a server with the folder that is shared.
func (f benchFlag) open(ctx context.Context) (*store.Store, error) {
	dir, err := f.folder()
	if err != nil {
		return nil, err
	}
	if f.Record == "" {
		return store.Open(dir, store.Options{})
	}
	return store.OpenShared(ctx, f.shared(dir))
}

// snapshot reads the bench that open opens, as it stands now; others may have it open.
func (f benchFlag) snapshot(ctx context.Context) (*store.Snapshot, error) {
	dir, err := f.folder()
	if err != nil {
		return nil, err
	}
	if f.Record == "" {
		return store.OpenSnapshot(ctx, dir)
	}
	return store.OpenSharedSnapshot(ctx, f.shared(dir))
}

// shared is where the record on a server is and the files that go with it; dir is the folder of
// the bench.
func (f benchFlag) shared(dir string) store.Shared {
	return store.Shared{Address: f.Record, Dir: cmp.Or(f.Files, dir)}
}

// inFolder refuses a record on a server where a verb works on the folder of a bench alone.
func (f benchFlag) inFolder(what, instead string) error {
	if f.Record == "" {
		return nil
	}
	return withHint(fmt.Errorf("%s works on a bench in a folder, and this record is on a PostgreSQL server", what), instead)
}

// dumpInstead is how a record on a server is copied.
const dumpInstead = "headstack export writes all of it, to be read without a server; pg_dump and a copy of the folder of captures are sooner: see doc/SHOP.md"

// with opens the bench, runs do and closes it.
func (f benchFlag) with(e *env, do func(*job.Bench) error) error {
	s, err := f.open(e.ctx)
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
