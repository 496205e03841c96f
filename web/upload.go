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

// takeUpload streams a capture to the bench: fields first, then the file, which
// is never held in memory. form is what was typed, to be shown again.
func (s *server) takeUpload(w http.ResponseWriter, r *http.Request, id string) (form captureForm, e job.Entry, err error) {
	r.Body = http.MaxBytesReader(w, r.Body, s.opt.MaxUpload+maxForm)
	mr, err := r.MultipartReader()
	if err != nil {
		return form, e, formError(err)
	}
	fields := map[string]string{}
	for {
		p, err := mr.NextPart()
		if err == io.EOF {
			return formOf(fields), e, &job.InvalidError{Field: "file", Problem: "was not chosen, or does not come last"}
		}
		if err != nil {
			return formOf(fields), e, formError(err)
		}
		if p.FormName() != "file" {
			if fields[p.FormName()], err = text(p, maxForm/4); err != nil {
				return formOf(fields), e, err
			}
			if len(fields) > 32 {
				return formOf(fields), e, formError(errors.New("more than 32 fields"))
			}
			continue
		}
		e, err = s.keepPart(r, id, formOf(fields), fields["token"], p)
		return formOf(fields), e, err
	}
}

func (s *server) keepPart(r *http.Request, id string, form captureForm, token string, p *multipart.Part) (job.Entry, error) {
	if p.FileName() == "" {
		return job.Entry{}, &job.InvalidError{Field: "file", Problem: "was not chosen"}
	}
	up, err := form.upload()
	if err != nil {
		return job.Entry{}, err
	}
	up.Name, up.Data = p.FileName(), p
	up.Progress = s.progress.start(token)
	defer s.progress.end(token)
	return s.bench.AddCapture(r.Context(), id, up)
}

func formOf(f map[string]string) captureForm {
	return captureForm{Tape: f["tape"], Function: f["function"], Tracks: f["tracks"], Case: f["case"], Remark: f["remark"]}
}

// upload reads the fields of the form.
func (f captureForm) upload() (job.CaptureUpload, error) {
	tracks, err := parseTracks(f.Tracks)
	if err != nil {
		return job.CaptureUpload{}, err
	}
	state, err := parseCase(f.Case)
	return job.CaptureUpload{Tape: f.Tape, Function: f.Function, Tracks: tracks, Case: state, Remark: f.Remark}, err
}

// maxTracks bounds a list of tracks; no tape has more.
const maxTracks = 64

// parseTracks reads "1,6" or "1-6" or "1 2 3"; empty means all, in order.
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
		if err != nil || a < 1 || b < a || b > maxTracks {
			return bad(part, "is not a track number or a range of them")
		}
		for n := a; n <= b; n++ {
			if slices.Contains(out, n) {
				return bad(strconv.Itoa(n), "stands twice; each channel is another track")
			}
			out = append(out, n)
		}
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
