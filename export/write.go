package export

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"headstack/job"
)

// writer writes one export, file by file.
type writer struct {
	ctx     context.Context
	src     job.Contents
	opt     Options
	put     func(name string, fill func(io.Writer) error) error
	content *tally
	tables  *tables
	sums    []sum
	out     Written
	index   index

	listings  []job.Listing
	documents map[string]string // name in the export, by hash
	uses      map[string][]use  // of files, by hash
}

// use is what names a kept file.
type use struct {
	Name string // as it was given: "as found.wav"
	What string // "capture 1 of job-0001"
}

func write(ctx context.Context, src job.Contents, opt Options, put func(string, func(io.Writer) error) error) (_ Written, err error) {
	w := &writer{ctx: ctx, src: src, opt: opt, put: put, content: newTally(),
		documents: map[string]string{}, uses: map[string][]use{}}
	if w.tables, err = newTables(); err != nil {
		return Written{}, err
	}
	defer w.tables.close()
	for _, step := range []func() error{w.readme, w.writeDocuments, w.writeListings, w.writeJobs, w.writeFiles, w.writeTables, w.writeLost, w.writeManifest, w.writeIndex} {
		if err := step(); err != nil {
			return Written{}, err
		}
	}
	sums := w.sums
	if err := w.add(sumsName, func(f io.Writer) error { return writeSums(f, sums) }); err != nil {
		return Written{}, err
	}
	return w.out, nil
}

// lose notes a part that cannot be read, or returns why not to go on without it.
func (w *writer) lose(what, id string, err error) error {
	if w.ctx.Err() != nil {
		return w.ctx.Err()
	}
	if !w.opt.Tolerate {
		return fmt.Errorf("%s %s: %w", what, id, err)
	}
	w.out.Lost = append(w.out.Lost, Lost{what, id, err.Error()})
	return nil
}

func (w *writer) writeDocuments() error {
	hashes, err := w.src.DocumentHashes(w.ctx)
	if err != nil {
		return w.lose("documents", "", err)
	}
	for _, sha := range hashes {
		data, err := w.src.Document(w.ctx, sha)
		if err != nil {
			if err := w.lose("document", sha, err); err != nil {
				return err
			}
			continue
		}
		w.content.document(sha, int64(len(data)))
		w.documents[sha] = documentName(sha, data)
		w.usesIn(sha, data)
		if err := w.addBytes(w.documents[sha], data); err != nil {
			return err
		}
	}
	return nil
}

// usesIn notes the files that a document names: pictures of a definition, the capture of a
// looped-back interface.
func (w *writer) usesIn(sha string, data []byte) {
	var d struct {
		Picture  int    `json:"picture"`
		Loopback int    `json:"loopback"`
		Title    string `json:"title"`
		File     string `json:"file"`
		SHA256   string `json:"sha256"`
		Copy     string `json:"copy"`
		FileSHA  string `json:"file_sha256"`
	}
	if json.Unmarshal(data, &d) != nil { // YAML, or a form without files
		return
	}
	switch {
	case d.Picture > 0:
		w.use(d.SHA256, d.File, "picture “"+d.Title+"” of the library")
		w.use(d.Copy, d.File, "picture “"+d.Title+"” of the library, as shown")
	case d.Loopback > 0:
		w.use(d.FileSHA, d.File, "loop-back of a capture interface")
	}
}

func (w *writer) use(sha, name, what string) {
	if u := (use{name, what}); sha != "" && !slices.Contains(w.uses[sha], u) {
		w.uses[sha] = append(w.uses[sha], u)
	}
}

func (w *writer) writeListings() error {
	list, err := w.src.AllListings(w.ctx)
	if err != nil {
		if err := w.lose("listings", "", err); err != nil {
			return err
		}
	}
	for _, l := range list {
		if _, ok := w.documents[l.SHA256]; !ok {
			if err := w.lose("listing", string(l.Kind)+" "+l.ID, errors.New("its document "+l.SHA256+" is not kept or could not be read")); err != nil {
				return err
			}
			continue
		}
		w.listings = append(w.listings, l)
		if err := w.content.listing(l); err != nil {
			return err
		}
	}
	return w.add(listingsName, func(f io.Writer) error { return writeList(f, "[", w.listings, "]\n") })
}

// writeList writes values as JSON, one a line.
func writeList[T any](f io.Writer, before string, list []T, after string) error {
	io.WriteString(f, before)
	for i, v := range list {
		data, err := marshal(v)
		if err != nil {
			return err
		}
		end := ",\n"
		if i == 0 {
			end = "\n"
		}
		if _, err := fmt.Fprintf(f, "%s%s", end, data); err != nil {
			return err
		}
	}
	_, err := io.WriteString(f, "\n"+after)
	return err
}

func (w *writer) writeJobs() error {
	list, err := w.src.Summaries(w.ctx)
	if err != nil {
		return w.lose("jobs", "", err)
	}
	for _, s := range list {
		if err := w.writeJob(s); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) writeJob(s job.Summary) error {
	entries, err := w.src.Entries(w.ctx, s.ID)
	if err != nil {
		if err := w.lose("entries", s.ID, err); err != nil {
			return err
		}
	}
	if _, ok := w.documents[s.DefinitionSHA]; !ok {
		if err := w.lose("definition", s.ID, errors.New("the definition that the job was opened with could not be read")); err != nil {
			return err
		}
	}
	if err := w.content.job(s.Job); err != nil {
		return err
	}
	for _, e := range entries {
		if err := w.content.entry(e); err != nil {
			return fmt.Errorf("entry %d of %s: %w", e.Seq, s.ID, err)
		}
		w.usesOf(e)
	}
	head, err := marshal(jobDocument{format, s.Job})
	if err != nil {
		return err
	}
	before := string(head[:len(head)-1]) + `,"entries":[`
	if err := w.add(jobName(s.ID, ".json"), func(f io.Writer) error { return writeList(f, before, entries, "]}\n") }); err != nil {
		return err
	}
	if err := w.tables.job(s, entries); err != nil {
		return err
	}
	line := indexJob{Summary: s, Entries: len(entries), JSON: jobName(s.ID, ".json")}
	if w.opt.Report != nil {
		page, err := w.opt.Report(w.ctx, s.ID, cmp.Or(lastTime(entries), s.Opened))
		switch {
		case w.ctx.Err() != nil:
			return w.ctx.Err()
		case err != nil: // the record is worth more than what can be made of it again
			line.NoReport = err.Error()
		default:
			line.Report = jobName(s.ID, ".html")
			if err := w.addBytes(line.Report, page); err != nil {
				return err
			}
		}
	}
	w.index.Jobs = append(w.index.Jobs, line)
	return nil
}

func lastTime(entries []job.Entry) time.Time {
	if len(entries) == 0 {
		return time.Time{}
	}
	return entries[len(entries)-1].At
}

// usesOf notes the files that an entry names.
func (w *writer) usesOf(e job.Entry) {
	what := e.Ref + " of " + e.Job
	if c := e.Capture; c != nil {
		w.use(c.SHA256, c.File, what)
	}
	if p := e.Photograph; p != nil {
		w.use(p.SHA256, p.File, what)
		w.use(p.Copy, p.File, what+", as shown")
	}
}

func (w *writer) writeFiles() error {
	list, err := w.src.KeptFiles(w.ctx)
	if err != nil {
		if err := w.lose("files", "", err); err != nil {
			return err
		}
	}
	there := map[string]bool{}
	for _, k := range list {
		there[k.SHA256] = true
		if err := w.writeFile(k); err != nil {
			return err
		}
	}
	var missing []string
	for sha := range w.uses {
		if !there[sha] {
			missing = append(missing, sha)
		}
	}
	slices.Sort(missing)
	for _, sha := range missing {
		if err := w.lose("file", sha, fmt.Errorf("%s (%s) is not among the kept files", w.uses[sha][0].Name, w.uses[sha][0].What)); err != nil {
			return err
		}
	}
	return nil
}

// writeFile copies one kept file, and never holds more of it than a block.
func (w *writer) writeFile(k job.KeptFile) error {
	f, err := w.src.Open(w.ctx, k.SHA256)
	if err != nil {
		return w.lose("file", k.SHA256, err)
	}
	defer f.Close()
	start := make([]byte, longestBeginning)
	n, err := f.ReadAt(start, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return w.lose("file", k.SHA256, err)
	}
	name := fileName(k.SHA256, start[:n])
	err = w.add(name, func(to io.Writer) error {
		_, err := copyContext(w.ctx, to, f)
		return err
	})
	if err != nil {
		return err
	}
	if got := w.sums[len(w.sums)-1].hash; got != k.SHA256 {
		return &job.AlteredError{Path: name, Want: k.SHA256, Got: got}
	}
	k.Bytes = f.Size()
	w.content.file(k)
	w.index.Files = append(w.index.Files, indexFile{File: name, Name: k.SHA256, Bytes: k.Bytes})
	return w.tables.file(k, name, w.uses[k.SHA256])
}

func (w *writer) writeTables() error {
	if err := w.tables.documents(w.listings, w.documents); err != nil {
		return err
	}
	for _, t := range w.tables.list {
		if err := w.add(t.file(), t.copyTo); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) writeLost() error {
	if len(w.out.Lost) == 0 {
		return nil
	}
	return w.add(lostName, func(f io.Writer) error {
		fmt.Fprintf(f, "%d parts could not be read when this was written:\n\n", len(w.out.Lost))
		for _, l := range w.out.Lost {
			fmt.Fprintf(f, "%s %s: %s\n", l.What, l.ID, l.Reason)
		}
		return nil
	})
}

func (w *writer) writeManifest() error {
	w.out.Content = w.content.sum()
	m := manifest{Format: format, Content: w.out.Content, Jobs: []string{}, Lost: w.out.Lost}
	for _, j := range w.index.Jobs {
		m.Jobs = append(m.Jobs, j.ID)
	}
	data, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return err
	}
	return w.addBytes(manifestName, append(data, '\n'))
}
