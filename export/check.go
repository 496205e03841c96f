package export

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"headstack/job"
)

// Checked is an export that was read to its last byte and found whole.
type Checked struct {
	Content
	Lost    []Lost   // parts that it says could not be read when it was written
	Unknown []string // files that are no part of it; they are left alone
	tree    *Tree
	jobs    []string
	kept    []string // names of documents and of files, each sorted by its hash
	files   []string
}

// Check reads every byte of an export, holds it against its hash, and the record in it
// against the rules that a bench keeps. Errors: [BadError] for what is wrong in it, and
// [LostError].
func Check(ctx context.Context, t *Tree, opt ImportOptions) (*Checked, error) {
	c := &checking{ctx: ctx, t: t, out: Checked{tree: t}, sums: map[string]string{}, content: newTally(), documents: map[string]bool{}, seqs: map[int64]bool{}}
	for _, step := range []func() error{c.readManifest, c.readSums, c.hashAll, c.sort, c.readDocuments, c.readListings, c.readJobs, c.readFiles, c.compare} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	if len(c.out.Lost) > 0 && !opt.Incomplete {
		return nil, &LostError{c.out.Lost}
	}
	return &c.out, nil
}

type checking struct {
	ctx       context.Context
	t         *Tree
	out       Checked
	manifest  manifest
	sums      map[string]string // hash by name
	sizes     map[string]int64  // as read, by name
	content   *tally
	documents map[string]bool // by hash
	seqs      map[int64]bool  // of all entries
	named     []use           // files that entries name: the hash, and by what
}

func (c *checking) readManifest() error {
	data, err := c.t.read(manifestName, mostManifest)
	if err != nil {
		return err
	}
	var v struct {
		Format *int `json:"headstack_export"`
	}
	if err := json.Unmarshal(data, &v); err != nil {
		return jsonError(manifestName, 0, err)
	}
	switch {
	case v.Format == nil || *v.Format < 1:
		return &BadError{File: manifestName, Problem: `has no "headstack_export" with the version of the layout`,
			Todo: "name a folder or zip file that headstack export wrote"}
	case *v.Format > format:
		return &BadError{File: manifestName, Problem: fmt.Sprintf("says layout %d, and this program knows up to %d", *v.Format, format),
			Todo: "use the newer headstack that wrote it"}
	}
	if err := strict(data, &c.manifest); err != nil {
		return jsonError(manifestName, 0, err)
	}
	c.out.Lost = c.manifest.Lost
	c.out.jobs = c.manifest.Jobs
	last := int64(0)
	for i, id := range c.out.jobs {
		n, ok := job.ParseJobID(id)
		if !ok {
			return &BadError{File: manifestName, Problem: fmt.Sprintf("names %q as a job, which is no id of one", id)}
		}
		if n <= last {
			return &BadError{File: manifestName, Problem: fmt.Sprintf("names %s as number %d of its jobs, after one with a higher or the same number", id, i+1)}
		}
		last = n
	}
	return nil
}

func (c *checking) readSums() error {
	f, err := c.t.open(sumsName)
	if err != nil {
		return err
	}
	defer f.Close()
	list, err := parseSums(io.LimitReader(f, mostSums))
	if err != nil {
		return err
	}
	for i, s := range list {
		if _, there := c.t.files[s.name]; !there {
			return &BadError{File: sumsName, Line: i + 1, Problem: "names " + s.name + ", which is missing"}
		}
		c.sums[s.name] = s.hash
	}
	for _, must := range []string{manifestName, listingsName} {
		if c.sums[must] == "" {
			return &BadError{File: sumsName, Problem: "has no line for " + must}
		}
	}
	return nil
}

// hashAll reads every file that has a hash, tables and reports too.
func (c *checking) hashAll() error {
	c.sizes = map[string]int64{}
	for _, name := range c.t.names {
		if c.sums[name] == "" {
			continue
		}
		got, n, err := c.t.hash(c.ctx, name)
		if err != nil {
			return err
		}
		if got != c.sums[name] {
			return &BadError{File: name, Problem: fmt.Sprintf("was altered: it has the SHA-256 %s, where %s says %s", got, sumsName, c.sums[name])}
		}
		c.sizes[name] = n
	}
	return nil
}

// sort tells the files apart. What has no hash, or no place in the layout, is unknown.
func (c *checking) sort() error {
	byHash, known := map[string]string{}, map[string]bool{}
	for _, id := range c.out.jobs {
		known[id] = true
	}
	for _, name := range c.t.names {
		if name == sumsName {
			continue
		}
		if c.sums[name] == "" {
			c.out.Unknown = append(c.out.Unknown, name)
			continue
		}
		sha, document := hashOfName(name, documentsDir)
		var file bool
		if !document {
			sha, file = hashOfName(name, capturesDir, picturesDir, othersDir)
		}
		switch {
		case document || file:
			if sha != c.sums[name] {
				return &BadError{File: name, Problem: "is not what its name says: its SHA-256 is " + c.sums[name]}
			}
			key := fmt.Sprint(document, sha)
			if first := byHash[key]; first != "" {
				return &BadError{File: name, Problem: "is the same as " + first + "; one of them is too much"}
			}
			byHash[key] = name
			if document {
				c.out.kept = append(c.out.kept, name)
				c.documents[sha] = true
			} else {
				c.out.files = append(c.out.files, name)
			}
		case strings.HasPrefix(name, jobsDir+"/") && strings.HasSuffix(name, ".json"):
			if id := strings.TrimSuffix(strings.TrimPrefix(name, jobsDir+"/"), ".json"); !known[id] {
				return &BadError{File: name, Problem: "is a job of which " + manifestName + " does not speak"}
			}
		case !ours(name):
			c.out.Unknown = append(c.out.Unknown, name)
		}
	}
	for _, list := range [][]string{c.out.kept, c.out.files} {
		slices.SortFunc(list, func(a, b string) int { return strings.Compare(c.sums[a], c.sums[b]) })
	}
	return nil
}

// ours tells whether a file belongs to the layout, though it is not read back.
func ours(name string) bool {
	if slices.Contains([]string{readmeName, indexName, manifestName, listingsName, lostName}, name) {
		return true
	}
	dir, base, _ := strings.Cut(name, "/")
	return !strings.Contains(base, "/") && (dir == tablesDir && strings.HasSuffix(base, ".csv") || dir == jobsDir && strings.HasSuffix(base, ".html"))
}

func (c *checking) readDocuments() error {
	for _, name := range c.out.kept {
		if n := c.sizes[name]; n > mostDocument {
			return &BadError{File: name, Problem: fmt.Sprintf("has %d bytes, where at most %d are taken of a document", n, mostDocument)}
		}
		c.content.document(c.sums[name], c.sizes[name])
	}
	return nil
}

func (c *checking) readListings() error {
	list, err := readListings(c.t)
	if err != nil {
		return err
	}
	for i, l := range list {
		bad := func(problem string) error {
			return &BadError{File: listingsName, Line: i + 2, Problem: problem}
		}
		if err := job.CheckTime(l.Added); err != nil {
			return bad("has no time: " + err.Error())
		}
		if l.Kind == "" || !c.documents[l.SHA256] {
			return bad(fmt.Sprintf("lists a %s %q with the document %s, which is not in the export", l.Kind, l.ID, l.SHA256))
		}
		if err := c.content.listing(l); err != nil {
			return bad(err.Error())
		}
	}
	return nil
}

func readListings(t *Tree) ([]job.Listing, error) {
	data, err := t.read(listingsName, mostListings)
	if err != nil {
		return nil, err
	}
	var list []job.Listing
	if err := strict(data, &list); err != nil {
		return nil, jsonError(listingsName, 0, err)
	}
	return list, nil
}

func (c *checking) readJobs() error {
	for _, id := range c.out.jobs {
		name := jobName(id, ".json")
		if c.sums[name] == "" {
			return &BadError{File: manifestName, Problem: "names " + id + ", and " + sumsName + " has no line for " + name}
		}
		r := &jobRules{c: c, name: name, id: id, heads: map[int64]head{}, numbers: map[job.Kind]int64{}}
		if err := readJobDocument(c.ctx, c.t, name, r.job, r.entry); err != nil {
			return err
		}
	}
	return nil
}

func (c *checking) readFiles() error {
	there := map[string]bool{}
	for _, l := range c.out.Lost { // as the export itself says
		there[l.ID] = true
	}
	for _, name := range c.out.files {
		c.content.file(job.KeptFile{SHA256: c.sums[name], Bytes: c.sizes[name]})
		there[c.sums[name]] = true
	}
	for _, u := range c.named {
		if !there[u.Name] {
			return &BadError{Problem: fmt.Sprintf("lacks the file with the SHA-256 %s, which %s names", u.Name, u.What)}
		}
	}
	return nil
}

// compare is last: whatever was taken out of all places alike is missed here.
func (c *checking) compare() error {
	got := c.content.sum()
	if want := c.manifest.Content; got != want {
		return &BadError{File: manifestName, Problem: fmt.Sprintf("says that it holds %v, and there are %v", want, got)}
	}
	c.out.Content = got
	return nil
}

// strict decodes one JSON value, with nothing in it that is not known: better an error than
// a field that is dropped in silence.
func strict(data []byte, v any) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(v); err != nil {
		return err
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return errors.New("it goes on after its end")
	}
	return nil
}

// jsonError says where in a file JSON is wrong; from is the offset at which the text began.
func jsonError(file string, from int64, err error) error {
	e := &BadError{File: file, Byte: from, Problem: "is not the JSON that was written there: " + err.Error()}
	if s, ok := errors.AsType[*json.SyntaxError](err); ok {
		e.Byte = from + s.Offset
	}
	if u, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		e.Byte = from + u.Offset
	}
	return e
}
