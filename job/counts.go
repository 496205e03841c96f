package job

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"headstack/learn"
	"headstack/machine"
)

// shop is what the bench's closed jobs teach. It is worked out from the record: a job is
// read again when something was appended to it, and nothing is kept.
type shop struct {
	mu    sync.Mutex
	known bool                  // every job was read once
	stale map[string]bool       // to be read again; "" stands for a file that came in
	age   int                   // how often a closing or file came in or was taken back
	jobs  map[string]*closedJob // those that are closed
	// sums are the counts with one job's machine left out, "" none.
	sums map[string]sum
}

type sum struct {
	counts *learn.Counts
	id     string // SHA-256 of them; empty where nothing was counted
}

// closedJob is a job that counts.
type closedJob struct {
	Job
	def      *machine.Definition
	at       time.Time // of the closing
	returned string
	counted  learn.Closed
}

// changed notes that something was appended to a job, "" that a file came in.
func (s *shop) changed(jobID string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.stale == nil {
		s.stale = map[string]bool{}
	}
	s.stale[jobID] = true
}

// taught notes that what is learned may be another from now on.
func (s *shop) taught() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.age++
}

// lesson names what is learned now, without working it out.
func (s *shop) lesson() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strconv.Itoa(s.age)
}

// returnedWithin says whether a machine that was closed at one time and came in at another
// counts as returned.
func returnedWithin(closed, opened time.Time) bool {
	return !opened.Before(closed) && opened.Sub(closed) <= learn.ReturnDays*24*time.Hour
}

// learned brings the shop up to date.
func (b *Bench) learned(ctx context.Context) error {
	if err := b.follow(ctx); err != nil {
		return err
	}
	s := &b.shop
	s.mu.Lock()
	stale, known := s.stale, s.known
	if known && len(stale) == 0 {
		s.mu.Unlock()
		return nil
	}
	s.stale = nil
	s.mu.Unlock()
	list, err := b.readClosed(ctx, stale, known)
	s.mu.Lock()
	defer s.mu.Unlock()
	if err != nil { // what was to be read is still to be
		if s.stale == nil {
			s.stale = map[string]bool{}
		}
		maps.Copy(s.stale, stale)
		return err
	}
	if s.jobs == nil {
		s.jobs = map[string]*closedJob{}
	}
	for id, c := range list {
		delete(s.jobs, id)
		if c != nil {
			s.jobs[id] = c
		}
	}
	s.known, s.sums = true, nil
	return nil
}

// readClosed reads the jobs named, or all: nil for one that is open.
func (b *Bench) readClosed(ctx context.Context, stale map[string]bool, known bool) (map[string]*closedJob, error) {
	ids := slices.Collect(maps.Keys(stale))
	if !known {
		all, err := b.rec.Summaries(ctx)
		if err != nil {
			return nil, err
		}
		ids = nil
		for _, s := range all {
			if s.Closed {
				ids = append(ids, s.ID)
			}
		}
	}
	out := map[string]*closedJob{}
	for _, id := range ids {
		if id == "" {
			continue
		}
		c, err := b.closed(ctx, id)
		if err != nil {
			return nil, fmt.Errorf("counting %s: %w", id, err)
		}
		out[id] = c
	}
	return out, nil
}

// closed reads one job; nil where it is open.
func (b *Bench) closed(ctx context.Context, id string) (*closedJob, error) {
	entries, err := b.rec.EntriesBut(ctx, id, KindCapture)
	if err != nil {
		return nil, err
	}
	v := &View{Entries: entries, Current: Current(entries)}
	e := v.Closing()
	if e == nil {
		return nil, nil
	}
	if v.Job, err = b.rec.Job(ctx, id); err != nil {
		return nil, err
	}
	if v.Def, err = b.definition(ctx, v.Job); err != nil {
		return nil, err
	}
	at := e.At
	for _, x := range entries { // a closing put right later closed the job no later
		if x.Seq == observed(entries)[e.Seq] {
			at = x.At
		}
	}
	c := &closedJob{Job: v.Job, def: v.Def, at: at, returned: e.Closing.Returned, counted: tally(v)}
	for _, f := range e.Closing.Faults {
		c.counted.Faults = append(c.counted.Faults, learn.Fault{Stage: f.Stage, Key: f.Key, Cause: f.Cause, Proven: f.Proven, Work: string(f.Work)})
	}
	c.counted.Symptoms = names(e.Closing.Complaint)
	return c, nil
}

// machineOf is the job from which a machine's passages began, as far as they are closed.
func (s *shop) machineOf(id string) string {
	for range len(s.jobs) { // no longer than there are jobs, whatever they name
		c := s.jobs[id]
		if c == nil || s.jobs[c.returned] == nil {
			break
		}
		id = c.returned
	}
	return id
}

// count adds up the closed jobs, but for the machine of one: its own fault must not
// count twice for it.
func (s *shop) count(without string) *learn.Counts {
	machines := map[string][]*closedJob{}
	for _, id := range slices.Sorted(maps.Keys(s.jobs)) {
		root := s.machineOf(id)
		machines[root] = append(machines[root], s.jobs[id])
	}
	back := map[string]bool{}
	for _, c := range s.jobs {
		if from := s.jobs[c.returned]; from != nil && returnedWithin(from.at, c.Opened) {
			back[from.ID] = true
		}
	}
	out := &learn.Counts{}
	skip := s.machineOf(without)
	for root, jobs := range machines {
		if without != "" && root == skip {
			continue
		}
		var all learn.Closed
		for _, c := range jobs {
			one := c.counted
			one.Faults = slices.Clone(one.Faults)
			for i := range one.Faults {
				one.Faults[i].Back = back[c.ID]
			}
			all.Add(one)
		}
		out.Merge(learn.Count(jobs[len(jobs)-1].def, all))
	}
	return out
}

// OwnCounts is what was counted on this bench's closed jobs.
func (b *Bench) OwnCounts(ctx context.Context) (*learn.Counts, error) {
	if err := b.learned(ctx); err != nil {
		return nil, err
	}
	b.shop.mu.Lock()
	defer b.shop.mu.Unlock()
	return b.shop.count(""), nil
}

// Counts is what was counted on this bench's closed jobs and on those of the shops whose
// counts were merged.
func (b *Bench) Counts(ctx context.Context) (*learn.Counts, error) {
	s, err := b.sum(ctx, "")
	return s.counts, err
}

// sum is the counts without the machine of one job. They are shared and not to be changed.
func (b *Bench) sum(ctx context.Context, without string) (sum, error) {
	if err := b.learned(ctx); err != nil {
		return sum{}, err
	}
	b.shop.mu.Lock()
	if b.shop.jobs[without] == nil {
		without = "" // it counts for nothing
	}
	have, ok := b.shop.sums[without]
	b.shop.mu.Unlock()
	if ok {
		return have, nil
	}
	merged, err := b.MergedCounts(ctx)
	if err != nil {
		return sum{}, err
	}
	b.shop.mu.Lock()
	defer b.shop.mu.Unlock()
	out := sum{counts: b.shop.count(without)}
	for _, m := range merged {
		out.counts.Merge(m.Counts)
	}
	if len(out.counts.Definitions) > 0 {
		out.id = hashOf(out.counts.Encode())
	}
	if len(b.shop.stale) == 0 { // nothing came in meanwhile
		if b.shop.sums == nil {
			b.shop.sums = map[string]sum{}
		}
		b.shop.sums[without] = out
	}
	return out, nil
}

// MergedFile is a file of counts of another shop.
type MergedFile struct {
	Name   string // as it was given
	SHA    string
	Added  time.Time
	Counts *learn.Counts
}

// MergedCounts lists the files of counts that were merged, the oldest first.
func (b *Bench) MergedCounts(ctx context.Context) ([]MergedFile, error) {
	listed, err := b.rec.Listings(ctx, CountsDocument)
	if err != nil {
		return nil, err
	}
	var out []MergedFile
	for _, l := range listed {
		data, err := b.rec.Document(ctx, l.SHA256)
		if err != nil {
			return nil, fmt.Errorf("the counts of %s: %w", l.Name, err)
		}
		c, err := learn.Decode(l.Name, data)
		if err != nil {
			return nil, err
		}
		out = append(out, MergedFile{l.Name, l.SHA256, l.Added, c})
	}
	return out, nil
}

// MergeCounts takes in a file of counts, as another bench's export wrote it. A file that was
// merged before counts once, and again is true; one that holds some of the same machines
// cannot be told from one that does not. It cannot be taken out again. Errors:
// [learn.ParseError], [InvalidError]; nothing was kept then.
func (b *Bench) MergeCounts(ctx context.Context, name string, data []byte) (f MergedFile, again bool, err error) {
	if err := cleanText("file name", &name, maxLine, oneLine); err != nil {
		return f, false, err
	}
	c, err := learn.Decode(name, data)
	if err != nil {
		return f, false, err
	}
	data = c.Encode() // the same counts have the same bytes, however they were laid out
	own, err := b.OwnCounts(ctx)
	if err != nil {
		return f, false, err
	}
	switch {
	case len(c.Definitions) == 0:
		return f, false, &InvalidError{Field: "file", Value: name, Problem: "has counted no machine"}
	case hashOf(own.Encode()) == hashOf(data):
		return f, false, &InvalidError{Field: "file", Value: name, Problem: "is what this bench counted itself; it counts already"}
	}
	f = MergedFile{Name: name, SHA: hashOf(data), Counts: c}
	merged, err := b.MergedCounts(ctx)
	if err != nil {
		return f, false, err
	}
	for _, m := range merged {
		if m.SHA == f.SHA {
			return m, true, nil
		}
	}
	_, err = b.add(ctx, CountsDocument, item{id: f.SHA[:12], name: name, yaml: data})
	b.shop.changed("")
	b.shop.taught()
	return f, false, err
}

// Found is what was found so far on the machines of a definition.
type Found struct {
	Info   DefinitionInfo
	Def    *machine.Definition // as it came
	Counts *learn.Counts
	Lesson *learn.Lesson
	Merged []MergedFile
}

// Found is what closed jobs say of the definition in force under an id.
func (b *Bench) Found(ctx context.Context, definition string) (*Found, error) {
	info, yaml, err := b.findDefinition(ctx, definition)
	if err != nil {
		return nil, err
	}
	f := &Found{Info: info}
	if f.Def, err = machine.Load(info.ID+".yaml", yaml); err != nil {
		return nil, err
	}
	if f.Counts, err = b.Counts(ctx); err != nil {
		return nil, err
	}
	f.Lesson = learn.Learn(f.Def, f.Counts)
	f.Merged, err = b.MergedCounts(ctx)
	return f, err
}

// FoundStage is one row of what was found: a stage that was at fault.
type FoundStage struct {
	ID, Name                    string
	Machines, Faults, Instances int
	Unproven                    int
	Causes                      string  // "open 3, leaky 1"
	Symptoms                    string  // of the complaints: "thin 4"
	Was, Is, Lo, Hi             float64 // the prior of one instance, with its 95 % interval
}

// PriorText is the chance that one is faulty on an untouched machine, and what it was.
func (r FoundStage) PriorText() string {
	return fmt.Sprintf("%s (%s to %s), was %s", learn.Percent(r.Is), learn.Percent(r.Lo), learn.Percent(r.Hi), learn.Percent(r.Was))
}

// Stages are those that were at fault or cured unproven, the most machines first.
func (f *Found) Stages() []FoundStage {
	m := f.Counts.Of(f.Info.ID)
	var out []FoundStage
	for i := range f.Def.Stages {
		s := &f.Def.Stages[i]
		c := m.Stages[s.ID]
		if c.Faults()+c.Unproven == 0 {
			continue
		}
		r := FoundStage{ID: s.ID, Name: s.Name, Machines: c.Machines, Faults: c.Faults(), Instances: c.Instances, Unproven: c.Unproven}
		causes, symptoms := map[string]int{}, map[string]int{}
		for cause, n := range c.Causes {
			causes[cause] = n.Faults
			for w, k := range n.Symptoms {
				symptoms[w] += k
			}
		}
		r.Causes, r.Symptoms = tallyText(causes), tallyText(symptoms)
		for _, ch := range f.Lesson.Changes {
			if ch.Kind == learn.PriorNumber && ch.Stage == s.ID {
				r.Was, r.Is, r.Lo, r.Hi = ch.Was, ch.Is, ch.Lo, ch.Hi
			}
		}
		out = append(out, r)
	}
	slices.SortStableFunc(out, func(a, b FoundStage) int {
		return cmp.Or(cmp.Compare(b.Machines, a.Machines), cmp.Compare(b.Faults, a.Faults))
	})
	return out
}

// tallyText lists words with their counts, the most first.
func tallyText(n map[string]int) string {
	words := slices.Sorted(maps.Keys(n))
	slices.SortStableFunc(words, func(a, b string) int { return cmp.Compare(n[b], n[a]) })
	for i, w := range words {
		words[i] = fmt.Sprintf("%s %d", w, n[w])
	}
	return strings.Join(words, ", ")
}
