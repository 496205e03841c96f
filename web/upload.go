package web

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"

	"headstack/job"
)

// streamForm reads a form whose file comes last: the fields first, then take gets the
// file, which is never held in memory. fields is what was typed, to be shown again.
func (s *server) streamForm(w http.ResponseWriter, r *http.Request, take func(fields map[string]string, file *multipart.Part) error) (fields map[string]string, err error) {
	fields = map[string]string{}
	r.Body = http.MaxBytesReader(w, r.Body, s.opt.MaxUpload+maxForm)
	mr, err := r.MultipartReader()
	if err != nil {
		return fields, formError(err)
	}
	for {
		p, err := mr.NextPart()
		if err == io.EOF {
			return fields, &job.InvalidError{Field: "file", Problem: "was not chosen, or does not come last"}
		}
		if err != nil {
			return fields, formError(err)
		}
		if p.FormName() == "file" {
			if p.FileName() == "" {
				return fields, &job.InvalidError{Field: "file", Problem: "was not chosen"}
			}
			return fields, take(fields, p)
		}
		if fields[p.FormName()], err = text(p, maxForm/4); err != nil {
			return fields, err
		}
		if len(fields) > 32 {
			return fields, formError(errors.New("more than 32 fields"))
		}
	}
}

// takeUpload streams a capture to the bench. form is what was typed.
func (s *server) takeUpload(w http.ResponseWriter, r *http.Request, id string) (form captureForm, e job.Entry, err error) {
	fields, err := s.streamForm(w, r, func(fields map[string]string, p *multipart.Part) error {
		up, err := formOf(func(name string) string { return fields[name] }).upload()
		if err != nil {
			return err
		}
		up.Name, up.Data = p.FileName(), p
		up.Progress = s.progress.start(fields["token"])
		defer s.progress.end(fields["token"])
		e, err = s.bench.AddCapture(r.Context(), id, up)
		return err
	})
	return formOf(func(name string) string { return fields[name] }), e, err
}

// captureForm is the form as typed; a browser does not give the file back.
type captureForm struct {
	Tape, Programme, Interface, Function, Tracks, Case, Remark string
	WhileRecording                                             string // as sent: "1", "true"
}

// formOf reads the fields of a form or query. What was played is one choice on a page,
// "tape/ID" or "programme/ID", and one of two fields of the API.
func formOf(field func(string) string) captureForm {
	f := captureForm{Tape: field("tape"), Programme: field("programme"), Interface: field("interface"), Function: field("function"),
		Tracks: field("tracks"), Case: field("case"), Remark: field("remark"), WhileRecording: field("while_recording")}
	if kind, id, ok := strings.Cut(field("played"), "/"); ok {
		switch kind {
		case "tape":
			f.Tape = id
		case "programme":
			f.Programme = id
		}
	}
	return f
}

// Recorded says whether the tick was set.
func (f captureForm) Recorded() bool {
	on, _ := parseTick(f.WhileRecording)
	return on
}

func parseTick(s string) (bool, error) {
	switch strings.ToLower(s) {
	case "", "0", "false", "no":
		return false, nil
	case "1", "true", "yes", "on":
		return true, nil
	}
	return false, &job.InvalidError{Field: "while_recording", Value: s, Problem: "is neither yes nor no", Nearest: []string{"true", "false"}}
}

// upload reads the fields of the form.
func (f captureForm) upload() (job.CaptureUpload, error) {
	tracks, err := parseTracks(f.Tracks)
	if err != nil {
		return job.CaptureUpload{}, err
	}
	while, err := parseTick(f.WhileRecording)
	if err != nil {
		return job.CaptureUpload{}, err
	}
	state, err := parseCase(f.Case)
	return job.CaptureUpload{Tape: f.Tape, Programme: f.Programme, Interface: f.Interface, WhileRecording: while, Function: f.Function,
		Tracks: tracks, Case: state, Remark: f.Remark}, err
}

// maxTracks bounds a list of tracks; no tape has more.
const maxTracks = 64

// parseTracks reads "1,6" or "1-6" or "1 2 3"; 0 leaves a channel out, empty means all, in
// order.
func parseTracks(s string) ([]int, error) {
	var out []int
	bad := func(part, problem string) ([]int, error) {
		return nil, &job.InvalidError{Field: "tracks", Value: part, Problem: problem, Nearest: []string{"1,6", "1-6"}}
	}
	s = strings.NewReplacer("–", "-", "—", "-").Replace(s)
	for _, part := range strings.FieldsFunc(s, func(r rune) bool { return r == ',' || r == ';' || unicode.IsSpace(r) }) {
		from, to, isRange := strings.Cut(part, "-")
		a, err := strconv.Atoi(from)
		b := a
		if err == nil && isRange {
			b, err = strconv.Atoi(to)
		}
		if err != nil || a < 0 || a == 0 && isRange || b < a || b > maxTracks {
			return bad(part, "is not a track number or a range of them")
		}
		for n := a; n <= b; n++ {
			if n > 0 && slices.Contains(out, n) {
				return bad(strconv.Itoa(n), "stands twice; each channel is another track")
			}
			out = append(out, n)
		}
		if len(out) > maxTracks {
			return bad(part, "comes after more tracks than a tape has")
		}
	}
	if len(out) > 0 && !slices.ContainsFunc(out, func(n int) bool { return n > 0 }) {
		return bad(s, "leaves every channel out")
	}
	return out, nil
}

func tracksText(t []int) string {
	parts := make([]string, len(t))
	for i, n := range t {
		parts[i] = strconv.Itoa(n)
	}
	return strings.Join(parts, ",")
}

// progress tells how far the measuring of an upload is, by the token that its
// form carried.
type progress struct {
	mu   sync.Mutex
	done map[string]float64
}

func (p *progress) newToken() string { return rand.Text() }

func (p *progress) start(token string) func(float64) {
	if token == "" || len(token) > 64 {
		return nil
	}
	set := func(v float64) {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.done == nil {
			p.done = map[string]float64{}
		}
		p.done[token] = v
	}
	set(0)
	return set
}

func (p *progress) end(token string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.done, token)
}

// progressOf answers the page's script: {"known": true, "done": 0.4}.
func (s *server) progressOf(w http.ResponseWriter, r *http.Request) error {
	s.progress.mu.Lock()
	done, known := s.progress.done[r.PathValue("token")]
	s.progress.mu.Unlock()
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(map[string]any{"known": known, "done": done})
}
