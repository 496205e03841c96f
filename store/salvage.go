package store

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"

	"headstack/job"
)

// Salvaged is what can still be read of a bench whose database is damaged. It is read from
// the database page by page and from every copy in the folder's backups, none of which need
// be whole; the kept files are those of the folder. Nothing is written to the folder.
//
// An SQLite page has no checksum: a row may be read that is not what was written. The record
// only grows, so the same entry stands in the database and in each copy made after it, and
// what two of them say alike is taken as it was. What one alone says is given, too, and
// [Salvaged.Doubt] says so. Documents and kept files are known by their hash and never in doubt.
type Salvaged struct {
	Sources []string // files that were read, newest copy first, the database last
	Lost    []int64  // numbers of entries that are in none of them, below the last that is

	dir       string
	jobs      []job.Job
	entries   map[string][]job.Entry
	listings  []job.Listing
	documents map[string][]byte
	doubts    map[int64]string    // of entries, by number
	said      map[string][]string // of jobs, by id: what is wrong beside doubtful entries
	unlisted  []string            // of listings
}

var _ job.Contents = (*Salvaged)(nil)

// Salvage reads what is left of the bench in the folder dir. The error is one of a folder in
// which there is nothing to read; what cannot be read is told by what it returns.
func Salvage(ctx context.Context, dir string) (*Salvaged, error) {
	x := salvage{entries: claims[int64, job.Entry]{}, jobs: claims[int64, job.Job]{}, listings: claims[int64, job.Listing]{}, documents: map[string][]byte{}}
	out := &Salvaged{dir: dir}
	for _, path := range append(copiesOf(dir), filepath.Join(dir, databaseName)) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		x.source++
		err := rowsOf(path, x.row)
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("reading what is left of the bench in %s: %w", dir, err)
		}
		out.Sources = append(out.Sources, path)
	}
	if len(out.Sources) == 0 {
		return nil, fmt.Errorf("in %s there is neither %s nor a copy of it in %s: is it the folder of a bench? Nothing was written", dir, databaseName, backupsName)
	}
	out.settle(&x)
	return out, nil
}

// copiesOf are the copies in a bench's folder, the newest first.
func copiesOf(dir string) []string {
	list, _ := filepath.Glob(filepath.Join(dir, backupsName, "bench-*.db"))
	slices.SortFunc(list, func(a, b string) int {
		if c := modified(b).Compare(modified(a)); c != 0 {
			return c
		}
		return strings.Compare(b, a)
	})
	return list
}

// salvage gathers rows.
type salvage struct {
	source    int
	entries   claims[int64, job.Entry]
	jobs      claims[int64, job.Job]
	listings  claims[int64, job.Listing]
	documents map[string][]byte
}

// row takes a row by what it looks like: which table a page belongs to is not known. The
// columns are those of the migrations.
func (x *salvage) row(r row) {
	c := r.columns
	switch {
	case len(c) == 2:
		if sha, ok := c[0].(string); ok && isHash(sha) {
			if data, ok := c[1].([]byte); ok && hashOf(data) == sha {
				x.documents[sha] = data
			}
		}
	case len(c) < 6 || c[0] != nil || r.id < 1: // each other table has its number as first column, which is kept as rowid
	case len(c) == 6:
		if l, ok := listingOf(c); ok {
			x.listings.add(x.source, r.id, l)
		}
	default:
		if e, ok := entryOf(r); ok {
			x.entries.add(x.source, r.id, e)
		} else if j, ok := jobOf(r); ok {
			x.jobs.add(x.source, r.id, j)
		}
	}
}

// settle takes what the sources say, and makes of it a record that keeps its own rules.
func (s *Salvaged) settle(x *salvage) {
	s.documents, s.entries = x.documents, map[string][]job.Entry{}
	s.doubts, s.said = map[int64]string{}, map[string][]string{}
	for _, n := range x.listings.keys() {
		l, doubt := x.listings.best(n)
		if doubt != "" {
			s.unlisted = append(s.unlisted, fmt.Sprintf("%s %q: %s", l.Kind, l.ID, doubt))
		}
		s.listings = append(s.listings, l)
	}
	for _, n := range x.jobs.keys() {
		j, doubt := x.jobs.best(n)
		if doubt != "" {
			s.said[j.ID] = append(s.said[j.ID], "what was kept when it was opened is in doubt: "+doubt)
		}
		s.jobs = append(s.jobs, j)
	}
	var all []job.Entry
	for _, seq := range x.entries.keys() {
		e, doubt := x.entries.best(seq)
		if doubt != "" {
			s.doubts[seq] = doubt
		}
		all = append(all, e)
	}
	all = s.ordered(all)
	last := int64(0)
	for _, e := range all {
		for ; last+1 < e.Seq; last++ {
			s.Lost = append(s.Lost, last+1)
		}
		last = e.Seq
		s.needJob(e)
		s.entries[e.Job] = append(s.entries[e.Job], e)
	}
	if len(s.Lost) > 0 && len(s.jobs) > 0 {
		id := s.jobs[0].ID
		s.said[id] = append(s.said[id], fmt.Sprintf("of the whole bench %d entries could not be read, of which job nobody can tell: %s", len(s.Lost), ranges(s.Lost)))
	}
	slices.SortStableFunc(s.jobs, func(a, b job.Job) int { return strings.Compare(a.ID, b.ID) })
}

// needJob makes up the job of an entry where the job itself was lost.
func (s *Salvaged) needJob(e job.Entry) {
	if slices.ContainsFunc(s.jobs, func(j job.Job) bool { return j.ID == e.Job }) {
		return
	}
	s.jobs = append(s.jobs, job.Job{ID: e.Job, Opened: e.At})
	s.said[e.Job] = append(s.said[e.Job], "what was kept when it was opened could not be read: machine, owner and complaint are missing")
}

// ordered leaves out entries that cannot be as they were written, and bends those in doubt to
// the rules of a record: time does not run back, numbers rise within job and kind, and what is
// corrected is there before. An entry that is changed for that is in doubt and says so.
func (s *Salvaged) ordered(all []job.Entry) []job.Entry {
	before := make([]job.Entry, 0, len(all))
	at := map[int64]int{}         // place in before, by number
	byRef := map[string]int64{}   // last number within job and kind
	corrected := map[int64]bool{} // numbers of entries that have a correction
	inOrder := risingMost(all)
	ref := func(e job.Entry) string { return e.Job + " " + string(e.Kind) }
	for i, e := range all {
		n := numberOf(e)
		if n <= byRef[ref(e)] {
			continue // lost: its job, kind or number is not what was written
		}
		if k := len(before); !inOrder[i] {
			s.change(&e, fmt.Sprintf("its time, %s, is out of order and was set to that of the entry before it", formatTime(e.At)))
			e.Clock = e.At
			if e.At = all[slices.Index(inOrder, true)].At; k > 0 {
				e.At = before[k-1].At
			}
		}
		if e.Corrects != 0 {
			k, there := at[e.Corrects]
			if !there || corrected[e.Corrects] || job.CheckCorrection(before[k], nil, e) != nil {
				s.change(&e, fmt.Sprintf("it corrected or took back entry %d, which could not be read or cannot be corrected by it; it stands by itself", e.Corrects))
				e.Corrects, e.Withdraw = 0, false
			} else {
				corrected[e.Corrects] = true
			}
		}
		if job.CheckShape(e) != nil {
			continue
		}
		byRef[ref(e)] = n
		at[e.Seq] = len(before)
		before = append(before, e)
	}
	return before
}

func (s *Salvaged) change(e *job.Entry, why string) {
	if old := s.doubts[e.Seq]; old != "" {
		why = old + "; " + why
	}
	s.doubts[e.Seq] = why
}

// risingMost marks the most entries that can stay with their times in order, so that one
// wrong time does not bend those around it: the longest run that does not fall.
func risingMost(all []job.Entry) []bool {
	var ends []int // of the runs of each length, the place of the last entry, the earliest there is
	back := make([]int, len(all))
	for i, e := range all {
		k := sort.Search(len(ends), func(k int) bool { return all[ends[k]].At.After(e.At) })
		back[i] = -1
		if k > 0 {
			back[i] = ends[k-1]
		}
		if k == len(ends) {
			ends = append(ends, i)
		} else {
			ends[k] = i
		}
	}
	out := make([]bool, len(all))
	if len(ends) > 0 {
		for i := ends[len(ends)-1]; i >= 0; i = back[i] {
			out[i] = true
		}
	}
	return out
}

func numberOf(e job.Entry) int64 {
	_, n, _ := strings.Cut(e.Ref, " ")
	v, _ := strconv.ParseInt(n, 10, 64)
	return v
}

// ranges writes numbers in order as 3, 5–9, 12.
func ranges(list []int64) string {
	var out []string
	for i := 0; i < len(list); {
		k := i
		for k+1 < len(list) && list[k+1] == list[k]+1 {
			k++
		}
		switch k - i {
		case 0:
			out = append(out, fmt.Sprint(list[i]))
		case 1:
			out = append(out, fmt.Sprint(list[i]), fmt.Sprint(list[k]))
		default:
			out = append(out, fmt.Sprintf("%d–%d", list[i], list[k]))
		}
		i = k + 1
	}
	return strings.Join(out, ", ")
}

// Doubt says in words why an entry may not be what was written; ok is false where two sources
// say it alike.
func (s *Salvaged) Doubt(seq int64) (why string, ok bool) {
	why, ok = s.doubts[seq]
	return why, ok
}

// Count is how many entries were read, and how many of them are in doubt.
func (s *Salvaged) Count() (read, doubted int) {
	for _, list := range s.entries {
		read += len(list)
		for _, e := range list {
			if _, ok := s.doubts[e.Seq]; ok {
				doubted++
			}
		}
	}
	return read, doubted
}

// Summaries lists the jobs; see job.Record. What is counted is left out.
func (s *Salvaged) Summaries(context.Context) ([]job.Summary, error) {
	var out []job.Summary
	for _, j := range s.jobs {
		out = append(out, job.Summary{Job: j})
	}
	return out, nil
}

// Entries returns what was read of a job and, beside it, an error that names what is in doubt.
func (s *Salvaged) Entries(_ context.Context, jobID string) ([]job.Entry, error) {
	if !slices.ContainsFunc(s.jobs, func(j job.Job) bool { return j.ID == jobID }) {
		return nil, &job.NotFoundError{What: "job", ID: jobID}
	}
	said := slices.Clone(s.said[jobID])
	by := map[string][]int64{}
	for _, e := range s.entries[jobID] {
		if why, ok := s.doubts[e.Seq]; ok {
			by[why] = append(by[why], e.Seq)
		}
	}
	for _, why := range slices.Sorted(maps.Keys(by)) {
		said = append(said, fmt.Sprintf("in doubt, by number: %s: %s", ranges(by[why]), why))
	}
	if len(said) == 0 {
		return s.entries[jobID], nil
	}
	return s.entries[jobID], errors.New(strings.Join(said, "; "))
}

// Document returns a document; see job.Record.
func (s *Salvaged) Document(_ context.Context, sha string) ([]byte, error) {
	data, ok := s.documents[sha]
	if !ok {
		return nil, &job.NotFoundError{What: "document", ID: sha}
	}
	return data, nil
}

// DocumentHashes are the SHA-256 of all documents that were read, in rising order.
func (s *Salvaged) DocumentHashes(context.Context) ([]string, error) {
	return slices.Sorted(maps.Keys(s.documents)), nil
}

// AllListings are the listings of all kinds and, beside them, an error that names what is in
// doubt.
func (s *Salvaged) AllListings(context.Context) ([]job.Listing, error) {
	if len(s.unlisted) == 0 {
		return s.listings, nil
	}
	return s.listings, errors.New("in doubt: " + strings.Join(s.unlisted, "; "))
}

// Open opens a kept file after hashing it; see job.Files.
func (s *Salvaged) Open(ctx context.Context, sha string) (job.File, error) {
	return (&Store{dir: s.dir}).Open(ctx, sha)
}

// KeptFiles lists the files; see job.Contents.
func (s *Salvaged) KeptFiles(ctx context.Context) ([]job.KeptFile, error) {
	return (&Store{dir: s.dir}).KeptFiles(ctx)
}
