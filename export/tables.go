package export

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"headstack/job"
)

// table is one CSV file, gathered in a temporary file while the jobs go by.
type table struct {
	name string
	head []string
	f    *os.File
	w    *csv.Writer
	rows int
}

func (t *table) file() string { return path.Join(tablesDir, t.name+".csv") }

func (t *table) copyTo(w io.Writer) error {
	t.w.Flush()
	if err := t.w.Error(); err != nil {
		return err
	}
	if _, err := t.f.Seek(0, io.SeekStart); err != nil {
		return err
	}
	_, err := io.Copy(w, t.f)
	return err
}

// tables are all CSV files of an export.
type tables struct {
	dir    string
	list   []*table
	byName map[string]*table
}

// The columns that every table of entries begins with.
var common = []string{"job", "entry", "ref", "at (UTC)", "clock (UTC)", "case", "took (min)", "corrects (entry)", "stands", "remark"}

// The tables and what they have beside the common columns. One that is about entries has the
// name of their kind.
var columns = []struct {
	name string
	own  []string
}{
	{"checks", []string{"control", "function", "track or key", "outcome", "symptom", "provoked", "fault no."}},
	{"readings", []string{"test point", "track or key", "value (in unit)", "unit", "tone (Hz)", "instrument", "session", "setting", "provoked"}},
	{"captures", []string{"file", "SHA-256", "bytes", "test tape", "record programme", "capture interface", "while recording", "function", "tracks of the channels", "voids (s)", "warnings"}},
	{"notes", nil},
	{"works", []string{"work", "stage", "track or key", "exchanged with", "exchanged back"}},
	{"openings", []string{"opening", "put back"}},
	{"closings", []string{"complaint", "came back from", "fault", "stage", "track or key", "cause", "proven", "cured by"}},
	{"photographs", []string{"file", "SHA-256", "bytes", "opening", "caption", "width as shown (px)", "height as shown (px)", "SHA-256 as shown"}},
	{"turns", []string{"trim", "track or key", "by (in unit)", "from the anticlockwise stop before (in unit)", "after (in unit)", "unit", "stop felt", "stop to stop (in unit)"}},
	{"gates", []string{"step", "lost"}},
	{"passes", []string{"test tape"}},
	{"figures", []string{"step", "value (in unit)", "half width of the 95 % interval (in unit)", "unit", "instrument"}},
	{"sign-offs", []string{"step", "reason", "by"}},
	{"soaks", []string{"since the soak began (min)", "measure", "track", "value (in unit)", "half width of the 95 % interval (in unit)", "unit"}},
	{"staircases", []string{"record programme", "trim", "track or key", "round", "positions (share of the travel)"}},
	{"measured", []string{"measure", "track", "second track", "section", "tone (Hz)", "value (in unit)", "low end of the 95 % interval (in unit)", "high end of the 95 % interval (in unit)", "unit",
		"what 0 is", "not measured because", "warnings", "method", "speed (cm/s)", "channel"}},
}

// Tables that are not about entries.
var others = []struct {
	name string
	head []string
}{
	{"jobs", []string{"job", "machine", "serial", "owner", "claim", "case", "opened (UTC)", "clock (UTC)", "definition", "SHA-256 of the definition", "entries", "closed"}},
	{"documents", []string{"file", "SHA-256", "kind", "id", "name", "listed (UTC)"}},
	{"files", []string{"file", "SHA-256", "bytes", "name as given", "what it is"}},
}

func newTables() (*tables, error) {
	dir, err := os.MkdirTemp("", "headstack-export-*")
	if err != nil {
		return nil, err
	}
	t := &tables{dir: dir, byName: map[string]*table{}}
	for _, o := range others {
		err = cmpErr(err, t.add(o.name, o.head))
	}
	for _, c := range columns {
		err = cmpErr(err, t.add(c.name, append(slices.Clone(common), c.own...)))
	}
	if err != nil {
		t.close()
		return nil, err
	}
	return t, nil
}

func cmpErr(a, b error) error {
	if a != nil {
		return a
	}
	return b
}

func (t *tables) add(name string, head []string) error {
	f, err := os.Create(path.Join(t.dir, name))
	if err != nil {
		return err
	}
	n := &table{name: name, head: head, f: f, w: csv.NewWriter(f)}
	t.list = append(t.list, n)
	t.byName[name] = n
	return n.w.Write(head)
}

func (t *tables) close() {
	for _, n := range t.list {
		n.f.Close()
	}
	os.RemoveAll(t.dir)
}

func (t *tables) row(name string, cells ...string) error {
	n := t.byName[name]
	if len(cells) != len(n.head) {
		panic(fmt.Sprintf("export: table %s has %d columns and a row of %d", name, len(n.head), len(cells)))
	}
	n.rows++
	return n.w.Write(asText(cells))
}

// job writes the rows of a job and its entries.
func (t *tables) job(s job.Summary, entries []job.Entry) error {
	err := t.row("jobs", s.ID, s.Name, s.Serial, s.Owner, s.Claim, string(s.Case), timeText(s.Opened), timeText(s.Clock),
		s.Definition, s.DefinitionSHA, strconv.Itoa(len(entries)), yes(s.Closed))
	if err != nil {
		return err
	}
	by := map[int64]job.Entry{}
	for _, e := range entries {
		if e.Corrects != 0 {
			by[e.Corrects] = e
		}
	}
	for _, e := range entries {
		if err := t.entry(e, stands(e, by)); err != nil {
			return fmt.Errorf("entry %d: %w", e.Seq, err)
		}
	}
	return nil
}

// stands says what became of an entry.
func stands(e job.Entry, by map[int64]job.Entry) string {
	b, gone := by[e.Seq]
	switch {
	case gone && b.Withdraw:
		return fmt.Sprintf("taken back by %d", b.Seq)
	case gone:
		return fmt.Sprintf("corrected by %d", b.Seq)
	case e.Withdraw:
		return fmt.Sprintf("takes back %d", e.Corrects)
	}
	return "yes"
}

// file writes what a kept file is, a row for each thing that names it.
func (t *tables) file(k job.KeptFile, name string, uses []use) error {
	if len(uses) == 0 {
		uses = []use{{"", "nothing in the record names it"}}
	}
	for _, u := range uses {
		if err := t.row("files", name, k.SHA256, strconv.FormatInt(k.Bytes, 10), u.Name, u.What); err != nil {
			return err
		}
	}
	return nil
}

// documents writes what can be chosen by name, and then what is only kept.
func (t *tables) documents(list []job.Listing, names map[string]string) error {
	listed := map[string]bool{}
	for _, l := range list {
		listed[l.SHA256] = true
		if err := t.row("documents", names[l.SHA256], l.SHA256, string(l.Kind), l.ID, l.Name, timeText(l.Added)); err != nil {
			return err
		}
	}
	for _, sha := range sortedKeys(names) {
		if !listed[sha] {
			if err := t.row("documents", names[sha], sha, "", "", "", ""); err != nil {
				return err
			}
		}
	}
	return nil
}

func sortedKeys(m map[string]string) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

func timeText(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return ""
}

// number is the shortest text that reads back as the same number.
func number(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

// given is number, and nothing where 0 means that nobody said.
func given(v float64) string {
	if v == 0 {
		return ""
	}
	return number(v)
}

func maybe(v *float64) string {
	if v == nil {
		return ""
	}
	return number(*v)
}

func whole[T int | int64](n T) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(int64(n), 10)
}

func joined[T any](list []T, text func(T) string) string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = text(v)
	}
	return strings.Join(out, "; ")
}
