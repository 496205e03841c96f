package learn

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"
)

// fileFormat is the version of the file that shops exchange.
const fileFormat = 1

// Bounds on a file: far more than a shop counts in a working life.
const (
	maxFile  = 2 << 20 // bytes
	maxCount = 1e9
	maxWord  = 200 // characters of an id or cause
	maxLogE6 = 10e6
)

// ParseError says where a file of counts is not one and what to do.
type ParseError struct {
	File         string
	Line, Column int    // from 1; 0 where the place is named by Path
	Path         string // "definitions.hexastrand.stages.C31"
	Problem      string
	Want         string
}

func (e *ParseError) Error() string {
	s := e.File
	if e.Line > 0 {
		s += fmt.Sprintf(":%d:%d", e.Line, e.Column)
	}
	if e.Path != "" {
		s += ": " + e.Path
	}
	return s + ": " + e.Problem
}

// Hint says what to do.
func (e *ParseError) Hint() string { return e.Want }

// Encode is the file of counts: one JSON object that holds counts and sums only. The same
// counts give the same bytes.
func (c *Counts) Encode() []byte {
	out := c.Clone()
	out.Format = fileFormat
	b, err := json.MarshalIndent(out, "", " ")
	if err != nil {
		panic("learn: " + err.Error()) // maps of words and whole numbers only
	}
	return append(b, '\n')
}

const again = "nothing was merged; ask for the file anew, as headstack counts export writes it"

// Decode reads a file of counts, strictly. name is for messages. Errors: [ParseError].
func Decode(name string, data []byte) (*Counts, error) {
	refuse := func(offset int64, problem, want string) error {
		line, col := place(data, offset)
		return &ParseError{File: name, Line: line, Column: col, Problem: problem, Want: want}
	}
	switch {
	case len(data) > maxFile:
		return nil, &ParseError{File: name, Problem: fmt.Sprintf("%d bytes are too many for counts", len(data)), Want: fmt.Sprintf("at most %d; is this the right file?", maxFile)}
	case !utf8.Valid(data):
		return nil, &ParseError{File: name, Problem: "it is not text in UTF-8", Want: "is this the right file? " + again}
	}
	var head struct {
		Counts *int `json:"counts"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		if s, ok := errors.AsType[*json.SyntaxError](err); ok {
			return nil, refuse(s.Offset, "it is not whole JSON: "+s.Error(), again)
		}
	}
	switch {
	case head.Counts == nil:
		return nil, refuse(0, `there is no "counts": 1, so that it is no file of counts`, "is this the right file? "+again)
	case *head.Counts > fileFormat:
		return nil, refuse(0, fmt.Sprintf("it has version %d of the form", *head.Counts), fmt.Sprintf("this program reads %d; use the newer headstack", fileFormat))
	case *head.Counts < fileFormat:
		return nil, refuse(0, fmt.Sprintf("there is no version %d of the form", *head.Counts), again)
	}
	if at, key := twice(data); key != "" {
		return nil, refuse(at, fmt.Sprintf("%q stands twice in one object", key), again)
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	c := &Counts{}
	if err := dec.Decode(c); err != nil {
		at := dec.InputOffset()
		if t, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
			return nil, refuse(t.Offset, fmt.Sprintf("%s is a %s", t.Field, t.Value), fmt.Sprintf("a %s is wanted there; %s", kindName(t.Type.Kind().String()), again))
		}
		return nil, refuse(at, strings.TrimPrefix(err.Error(), "json: "), "only counts and sums are taken, so that nothing else travels between shops; "+again)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, refuse(dec.InputOffset(), "more follows after the counts", "one file holds one object; "+again)
	}
	if path, problem := c.check(); problem != "" {
		return nil, &ParseError{File: name, Path: path, Problem: problem, Want: again}
	}
	return c.Clone(), nil // no map of it is nil
}

func kindName(kind string) string {
	switch kind {
	case "int", "int64":
		return "whole number"
	case "map", "struct", "ptr":
		return "object"
	}
	return kind
}

// place is line and column of a byte, from 1.
func place(data []byte, offset int64) (line, col int) {
	before := data[:max(0, min(int(offset)-1, len(data)))]
	return 1 + bytes.Count(before, []byte("\n")), 1 + utf8.RuneCount(before[bytes.LastIndexByte(before, '\n')+1:])
}

// twice finds a key that stands twice in an object: the last would win in silence.
func twice(data []byte) (offset int64, key string) {
	dec := json.NewDecoder(bytes.NewReader(data))
	type object struct {
		seen  map[string]bool
		isKey bool
	}
	var stack []*object
	for {
		t, err := dec.Token()
		if err != nil {
			return 0, ""
		}
		var top *object
		if len(stack) > 0 {
			top = stack[len(stack)-1]
		}
		if t == json.Delim('}') || t == json.Delim(']') {
			stack = stack[:len(stack)-1]
			continue
		}
		if top != nil && top.seen != nil {
			if top.isKey {
				if k := t.(string); top.seen[k] {
					return dec.InputOffset(), k
				} else {
					top.seen[k] = true
				}
			}
			top.isKey = !top.isKey
		}
		switch t {
		case json.Delim('{'):
			stack = append(stack, &object{seen: map[string]bool{}, isKey: true})
		case json.Delim('['):
			stack = append(stack, &object{})
		}
	}
}

var idPattern = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

// check holds counts against each other: what cannot be counted was not.
func (c *Counts) check() (path, problem string) {
	k := &checker{}
	for _, id := range slices.Sorted(maps.Keys(c.Definitions)) {
		m := c.Definitions[id]
		p := "definitions." + id
		if m == nil || !idPattern.MatchString(id) {
			return p, "is no definition's id with its counts"
		}
		k.count(p+".closed", m.Closed)
		for _, s := range slices.Sorted(maps.Keys(m.Stages)) {
			k.stage(p+".stages."+s, s, m.Stages[s], m.Closed)
		}
		for _, f := range slices.Sorted(maps.Keys(m.Families)) {
			k.family(p+".families."+f, f, m.Families[f])
		}
		k.tally(p+".readings", m.Readings)
		k.tally(p+".checks", m.Checks)
		k.minutes(p+".minutes", m.Minutes)
		for _, w := range slices.Sorted(maps.Keys(m.Cures)) {
			k.cures(p+".cures."+w, w, m.Cures[w])
		}
	}
	return k.path, k.problem
}

// checker keeps the first problem.
type checker struct{ path, problem string }

func (k *checker) bad(path, format string, args ...any) {
	if k.problem == "" {
		k.path, k.problem = path, fmt.Sprintf(format, args...)
	}
}

func (k *checker) word(path, w string) {
	if n := utf8.RuneCountInString(w); n == 0 || n > maxWord || strings.ContainsFunc(w, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		k.bad(path, "the name is not a word of 1 to %d characters", maxWord)
	}
}

func (k *checker) count(path string, n int) {
	if n < 0 || n > maxCount {
		k.bad(path, "%d is no count", n)
	}
}

// atMost holds a part against the whole.
func (k *checker) atMost(path string, part, whole int, of string) {
	k.count(path, part)
	if part > whole {
		k.bad(path, "%d are more than the %d %s", part, whole, of)
	}
}

func (k *checker) stage(p, id string, s Stage, closed int) {
	k.word(p, id)
	k.count(p+".instances", s.Instances)
	k.atMost(p+".unproven", s.Unproven, s.Instances, "instances")
	k.atMost(p+".machines", s.Machines, closed, "machines closed")
	for _, name := range slices.Sorted(maps.Keys(s.Causes)) {
		c := s.Causes[name]
		k.word(p+".causes", name)
		k.atMost(p+".causes."+name+".faults", c.Faults, s.Instances-s.Unproven, "instances")
		for _, w := range slices.Sorted(maps.Keys(c.Symptoms)) {
			k.word(p+".symptoms", w)
			k.atMost(p+".causes."+name+".symptoms."+w, c.Symptoms[w], c.Faults, "faults")
		}
	}
	k.atMost(p+".causes", s.Faults(), s.Instances-s.Unproven, "instances")
	k.atMost(p+".machines", s.Machines, s.Faults(), "faults")
}

func (k *checker) family(p, kind string, f Family) {
	k.word(p, kind)
	k.count(p+".instances", f.Instances)
	k.atMost(p+".faults", f.Faults, f.Instances, "instances")
	if f.Expected < 0 || f.Expected > int64(f.Instances)*1e6 {
		k.bad(p+".expected_e6", "%d millionths cannot be expected of %d instances", f.Expected, f.Instances)
	}
}

func (k *checker) tally(p string, t Tally) {
	k.count(p+".taken", t.Taken)
	for _, w := range slices.Sorted(maps.Keys(t.Wrong)) {
		k.word(p+".wrong", w)
		k.atMost(p+".wrong."+w, t.Wrong[w], t.Taken, "taken")
	}
	k.atMost(p+".wrong", t.Errors(), t.Taken, "taken")
}

func (k *checker) minutes(p string, m Minutes) {
	k.logs(p+".down", m.Down)
	k.logs(p+".up", m.Up)
	k.log(p+".reading", m.Reading)
	k.logs(p+".checks", m.Checks)
	for _, kind := range slices.Sorted(maps.Keys(m.Repairs)) {
		k.word(p+".repairs", kind)
		k.logs(p+".repairs."+kind, m.Repairs[kind])
	}
	k.logs(p+".works", m.Works)
}

func (k *checker) logs(p string, m map[string]Log) {
	for _, w := range slices.Sorted(maps.Keys(m)) {
		k.word(p, w)
		k.log(p+"."+w, m[w])
	}
}

// log checks a sum of logarithms: each lies between those of a second and of a week, and
// the mean of squares is no less than the square of the mean.
func (k *checker) log(p string, l Log) {
	k.count(p+".n", l.N)
	n := float64(l.N)
	sum, squares := float64(l.Sum)/1e6, float64(l.Squares)/1e6
	const most = maxLogE6 / 1e6
	if sum < -most*n || sum > most*n || squares < 0 || squares > most*most*n {
		k.bad(p, "the sums are not of %d durations between a second and a week", l.N)
	}
	if n > 0 && squares < sum*sum/n-1e-6*n*(1+2*most) { // each was rounded to a millionth
		k.bad(p, "the sum of squares is less than such a sum can have")
	}
}

func (k *checker) cures(p, work string, c Cures) {
	k.word(p, work)
	k.count(p+".proven", c.Proven)
	k.count(p+".unproven", c.Unproven)
	k.atMost(p+".proven_back", c.ProvenBack, c.Proven, "cures")
	k.atMost(p+".unproven_back", c.UnprovenBack, c.Unproven, "cures")
}
