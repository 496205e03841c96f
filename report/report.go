package report

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/unit"
)

//go:embed report.html
var page string

//go:embed report.css
var style string

var tmpl = template.Must(template.New("report").Funcs(template.FuncMap{
	"percent": unit.Probability,
	"mode":    ModeWord,
	"faults":  FaultsText,
	"caseOf":  CaseWord,
	"date":    date,
	"plus":    func(a, b int) int { return a + b },
}).Parse(page))

// Data is what a report is made from.
type Data struct {
	View *job.View
	// Verdict is nil where there is none; NoVerdict says why.
	Verdict   *diagnosis.Verdict
	NoVerdict string
	When      time.Time // of writing, passed in so that the same record gives the same bytes
	Program   string    // name and version
	// LoopedBack says when a capture interface was looped back, by the SHA-256 of its
	// loop-back; see [LoopedBack]. One that is missing has no date in the report.
	LoopedBack map[string]time.Time
	// Explained is what the losses on the captures say; see [job.Bench.ExplainJob].
	Explained []job.Explained
	// Photographs are those of the job; see [PhotographsOf].
	Photographs []Photograph
}

// StyleHash is the base64 SHA-256 of the style sheet inside the report, as a
// content security policy names it.
func StyleHash() string { return styleHash(style) }

// HTML writes the report as one self-contained file.
func HTML(w io.Writer, d Data) error {
	if d.View == nil || d.View.Def == nil {
		return fmt.Errorf("report: no job or definition given")
	}
	m, err := newModel(d)
	if err != nil {
		return err
	}
	var b bytes.Buffer // whole or not at all
	if err := tmpl.Execute(&b, m); err != nil {
		return fmt.Errorf("writing the report of %s: %w", d.View.Job.ID, err)
	}
	_, err = w.Write(b.Bytes())
	return err
}

// RecordHash is the SHA-256, in hex, of the job and all its entries in JSON: two
// reports with the same hash were made from the same record.
func RecordHash(v *job.View) (string, error) { return RecordHashAt(v, len(v.Entries)) }

// RecordHashAt is the hash of the job and its first n entries: what [RecordHash] was when
// the record had no more. It is an error unless there are as many.
func RecordHashAt(v *job.View, n int) (string, error) {
	if n < 0 || n > len(v.Entries) {
		return "", fmt.Errorf("hashing job %s: %d entries of a record of %d", v.Job.ID, n, len(v.Entries))
	}
	h := sha256.New()
	enc := json.NewEncoder(h)
	if err := enc.Encode(v.Job); err != nil {
		return "", fmt.Errorf("hashing job %s: %w", v.Job.ID, err)
	}
	for _, e := range v.Entries[:n] {
		if err := enc.Encode(e); err != nil {
			return "", fmt.Errorf("hashing %s of job %s: %w", e.Ref, v.Job.ID, err)
		}
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// model is the report as the template reads it.
type model struct {
	Data
	Style       template.CSS
	Hash        string
	AsFound     []Found
	Proved      []diagnosis.StageState
	Suspects    []diagnosis.StageState
	UnknownN    int
	Lines       []Line // readings, checks and notes
	NotDone     []string
	Refused     []string
	Instruments []string
	Tapes       []string
	Programmes  []string
	Interfaces  []string
	Cases       []string
}

// Line is one entry as the report lists it.
type Line struct {
	Ref, At, Text, Case, Remark string
	Struck                      string // "corrected by check 9", "withdrawn by check 9": shown struck through
	Corrects                    string
}

func newModel(d Data) (model, error) {
	m := model{Data: d, Style: template.CSS(style)}
	var err error
	if m.Hash, err = RecordHash(d.View); err != nil {
		return m, err
	}
	m.AsFound = FoundIn(d.View, d.LoopedBack)
	lossesFound(m.AsFound, d.Explained)
	if d.Verdict != nil {
		for _, s := range d.Verdict.Stages {
			switch s.Status {
			case diagnosis.Proved:
				m.Proved = append(m.Proved, s)
			case diagnosis.Suspect:
				m.Suspects = append(m.Suspects, s)
			default:
				m.UnknownN++
			}
		}
		slices.SortStableFunc(m.Suspects, func(a, b diagnosis.StageState) int {
			switch {
			case a.P > b.P:
				return -1
			case a.P < b.P:
				return 1
			}
			return 0
		})
	}
	for _, e := range d.View.Entries {
		m.Lines = append(m.Lines, LineOf(d.View, e))
	}
	m.collect()
	m.NotDone, m.Refused = NotDone(d.View)
	return m, nil
}

// LineOf sets out one entry with its corrections.
func LineOf(v *job.View, e job.Entry) Line {
	l := Line{Ref: e.Ref, At: date(e.At), Text: EntryText(v.Def, e), Case: CaseWord(e.Case), Remark: e.Remark}
	if by := v.CorrectedBy(e.Seq); by != nil {
		l.Struck = "corrected by " + by.Ref
		if by.Withdraw {
			l.Struck = "withdrawn by " + by.Ref
		}
	}
	for _, o := range v.Entries {
		if e.Corrects != 0 && o.Seq == e.Corrects {
			l.Corrects = o.Ref
		}
	}
	if e.Withdraw {
		l.Text = "takes back " + l.Corrects
		l.Corrects = ""
	}
	return l
}

func (m *model) collect() {
	for _, e := range m.View.Current {
		if e.Kind != job.KindNote {
			add(&m.Cases, CaseWord(e.Case))
		}
		if e.Reading != nil {
			add(&m.Instruments, e.Reading.Instrument)
		}
		if e.Capture != nil {
			if e.Capture.Programme != "" {
				add(&m.Programmes, e.Capture.Programme)
			} else {
				add(&m.Tapes, e.Capture.Tape)
			}
			add(&m.Interfaces, InterfaceText(*e.Capture, m.LoopedBack))
			add(&m.Instruments, "capture of "+strconv.Itoa(max(len(e.Capture.Tracks), 1))+" channels")
		}
	}
}

// NotDone lists what was left out, and each refused figure with its reason.
func NotDone(v *job.View) (open, refused []string) {
	sheet, minutes := 0, 0.0
	for _, s := range v.Sheet {
		if s.Latest == nil || s.Latest.Check != nil && s.Latest.Check.Outcome == diagnosis.NotTried {
			sheet++
			minutes += float64(s.Minutes)
		}
	}
	if sheet > 0 {
		open = append(open, fmt.Sprintf("%d of %d controls of the check sheet were not tried (about %.0f min).", sheet, len(v.Sheet), minutes))
	}
	open = append(open, functionsOpen(v)...)
	captures := 0
	for _, e := range v.Current {
		if e.Capture != nil {
			captures++
			refused = append(refused, refusals(e.Ref, e.Capture.Report.Measures)...)
		}
	}
	if captures == 0 {
		open = append(open, "Nothing was captured: level, response, speed, azimuth, noise, distortion and crosstalk are not known.")
	}
	return open, refused
}

// placesNamed is how many places of one refusal are named; more are counted.
const placesNamed = 6

// refusals lists what was not measured. A reason that differs in its figures only, from
// place to place, is named once with its places: the cells of the tables have each.
func refusals(ref string, measures []measure.Result) []string {
	type kind struct{ name, reason string }
	var kinds []kind
	first := map[kind]string{}
	places := map[kind][]string{}
	for _, r := range measures {
		if r.Refused == "" {
			continue
		}
		k := kind{r.Name, shape(r.Refused)}
		if first[k] == "" {
			kinds, first[k] = append(kinds, k), r.Refused
		}
		places[k] = append(places[k], whereOf(r))
	}
	var out []string
	for _, k := range kinds {
		where := places[k]
		more := ""
		if n := len(where) - placesNamed; n > 0 {
			where, more = where[:placesNamed], fmt.Sprintf(" and %d more", n)
		}
		out = append(out, fmt.Sprintf("%s: %s, %s%s: %s", ref, titled(k.name).Title, strings.Join(where, "; "), more, first[k]))
	}
	return out
}

func functionsOpen(v *job.View) []string {
	var names []string
	left := map[string][]string{}
	for _, f := range v.Functions {
		if f.Latest == nil || f.Latest.Check != nil && f.Latest.Check.Outcome == diagnosis.NotTried {
			if !slices.Contains(names, f.Name) {
				names = append(names, f.Name)
			}
			left[f.Name] = append(left[f.Name], f.Key)
		}
	}
	var out []string
	for _, n := range names {
		if keys := left[n]; len(keys) == 1 && keys[0] == "" {
			out = append(out, n+" was not tried by itself.")
		} else {
			out = append(out, fmt.Sprintf("%s was not tried by itself on %s.", n, list(left[n])))
		}
	}
	return out
}

func list(keys []string) string {
	s := ""
	for i, k := range keys {
		switch {
		case i == 0:
		case i == len(keys)-1:
			s += " and "
		default:
			s += ", "
		}
		s += k
	}
	return s
}

func whereOf(r measure.Result) string {
	s := place{r.Track, r.TrackB}.label()
	switch {
	case r.TrackB != 0:
		s = "tracks " + s
	case r.Track != 0:
		s = "track " + s
	default:
		s = "all tracks"
	}
	if r.ToneHz != 0 {
		s += " at " + unit.Frequency(unit.Hertz(r.ToneHz))
	}
	return s
}

func date(t time.Time) string {
	if t.IsZero() {
		return "not known"
	}
	return t.UTC().Format("2006-01-02 15:04") + " UTC"
}
