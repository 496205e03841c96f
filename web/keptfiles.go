package web

import (
	"context"
	"errors"
	"net/http"

	"headstack/job"
)

// keptFileBench is what the pages need to tell whether the file of a capture is still there.
type keptFileBench interface {
	Glance(c job.Capture) error
	LookThrough(ctx context.Context, c job.Capture) error
}

// fileTrouble is what is wrong with the file of a capture, and what to do.
type fileTrouble struct{ Word, Says, Todo string }

type badFile struct {
	Seq     int64
	Ref     string
	Trouble *fileTrouble
}

// fileTrouble says what is seen of the file of a capture without reading it.
func (s *server) fileTrouble(e job.Entry) *fileTrouble { return troubleOf(s.bench.Glance(*e.Capture)) }

func troubleOf(err error) *fileTrouble {
	if err == nil {
		return nil
	}
	const todo = "Put the file back under that name; or bring it again as a capture: the same bytes take that place. A backup made before may have it: headstack restore into a new folder gives all its files. Until then it cannot be measured again; headstack export --damaged takes everything else along."
	t := &fileTrouble{"file altered", sentence(err.Error()), todo}
	kept, isKept := errors.AsType[*job.KeptFileError](err)
	_, isAltered := errors.AsType[*job.AlteredError](err)
	switch {
	case isKept && kept.Have < 0:
		t.Word, t.Says = "file gone", sentence(kept.Path+" is not there any more")
	case !isKept && !isAltered:
		t.Word, t.Todo = "file not to be read", "Look whether the disk of the bench answers and this user may read there."
	}
	return t
}

// badFiles are the captures of a job whose file does not look as it was kept.
func (s *server) badFiles(v *job.View) (out []badFile) {
	for _, e := range v.Entries {
		if e.Capture == nil {
			continue
		}
		if t := s.fileTrouble(e); t != nil {
			out = append(out, badFile{e.Seq, e.Ref, t})
		}
	}
	return out
}

// lookThrough notes in the row of a capture what is wrong with its file; where the page is
// asked for with look=bytes, after reading it to its end.
func (s *server) lookThrough(r *http.Request, e job.Entry, row *captureRow) (whole bool, err error) {
	if r.URL.Query().Get("look") != "bytes" {
		row.Trouble = s.fileTrouble(e)
		return false, nil
	}
	err = s.bench.LookThrough(r.Context(), *e.Capture)
	if r.Context().Err() != nil {
		return false, r.Context().Err()
	}
	row.Trouble = troubleOf(err)
	return err == nil, nil
}
