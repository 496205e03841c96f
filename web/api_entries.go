package web

import (
	"bytes"
	"errors"
	"mime"
	"net/http"
	"strconv"

	"encoding/json"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/unit"
)

func (s *server) apiRecordCheck(w http.ResponseWriter, r *http.Request) error {
	var in newCheckJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	state, err := parseCase(in.Case)
	if err != nil {
		return err
	}
	c := in.check()
	e, err := s.bench.Record(r.Context(), r.PathValue("job"), job.Entry{Check: &c, Case: state, Remark: in.Remark, Minutes: unit.Minutes(in.Minutes)})
	return created(w, e, err)
}

func (c apiCheck) check() job.Check {
	return job.Check{Item: c.Item, Function: c.Function, Key: c.Key, Outcome: c.Outcome, Symptom: c.Symptom, Provoked: diagnosis.Provocation(c.Provoked), Fault: c.Fault}
}

func (in newReadingJSON) reading() (job.Reading, error) {
	if in.Value == nil {
		return job.Reading{}, &job.InvalidError{Field: "value", Problem: "is missing"}
	}
	r := in.apiReading
	return job.Reading{TestPoint: r.TestPoint, Key: r.Key, Value: *in.Value, Unit: r.Unit, ToneHz: r.ToneHz,
		Instrument: r.Instrument, Session: r.Session, Setting: r.Setting, Provoked: diagnosis.Provocation(r.Provoked)}, nil
}

// strictJSON reads a value as readJSON does: an unknown member is refused.
func strictJSON(data []byte, into any) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	return dec.Decode(into)
}

func created(w http.ResponseWriter, e job.Entry, err error) error {
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusCreated, entryJSON(e))
}

func (s *server) apiRecordReading(w http.ResponseWriter, r *http.Request) error {
	var in newReadingJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	rd, err := in.reading()
	if err != nil {
		return err
	}
	state, err := parseCase(in.Case)
	if err != nil {
		return err
	}
	e, err := s.bench.Record(r.Context(), r.PathValue("job"), job.Entry{Reading: &rd, Case: state, Remark: in.Remark, Minutes: unit.Minutes(in.Minutes)})
	return created(w, e, err)
}

func (s *server) apiRecordNote(w http.ResponseWriter, r *http.Request) error {
	var in newNoteJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	state, err := parseCase(in.Case)
	if err != nil {
		return err
	}
	e, err := s.bench.Record(r.Context(), r.PathValue("job"), job.Entry{Kind: job.KindNote, Case: state, Remark: in.Text, Minutes: unit.Minutes(in.Minutes)})
	return created(w, e, err)
}

func (s *server) apiWithdraw(w http.ResponseWriter, r *http.Request) error {
	var in withdrawalJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	seq, err := seqParam(r)
	if err != nil {
		return err
	}
	e, err := s.bench.Withdraw(r.Context(), r.PathValue("job"), seq, in.Remark)
	return created(w, e, err)
}

func (s *server) apiCorrect(w http.ResponseWriter, r *http.Request) error {
	var in correctionJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	seq, err := seqParam(r)
	if err != nil {
		return err
	}
	state, err := parseCase(in.Case)
	if err != nil {
		return err
	}
	repl := job.Entry{Kind: job.KindNote, Case: state, Remark: in.Remark, Minutes: unit.Minutes(in.Minutes)}
	switch {
	case in.Check != nil:
		c := in.Check.check()
		repl.Kind, repl.Check = job.KindCheck, &c
	case in.Reading != nil:
		var nr newReadingJSON
		if err := strictJSON(in.Reading, &nr); err != nil {
			return &job.InvalidError{Field: "reading", Problem: "could not be read: " + err.Error()}
		}
		rd, err := nr.reading()
		if err != nil {
			return err
		}
		repl.Kind, repl.Reading = job.KindReading, &rd
	case in.Work != nil:
		w := in.Work.work()
		repl.Kind, repl.Work = job.KindWork, &w
	case in.Opening != nil:
		repl.Kind, repl.Opening = job.KindOpening, &job.Opening{Opening: in.Opening.Opening, Closed: in.Opening.Closed}
	case in.Photograph != nil:
		repl.Kind, repl.Photograph = job.KindPhotograph, &job.Photograph{Opening: in.Photograph.Opening, Caption: in.Photograph.Caption}
	default:
		repl.Remark = in.Text
	}
	e, err := s.bench.Correct(r.Context(), r.PathValue("job"), seq, repl)
	return created(w, e, err)
}

// apiAddCapture takes a capture as a multipart form, its file last, or as the
// bare body with its fields in the query. With sha256 in the query it measures a
// kept file again.
func (s *server) apiAddCapture(w http.ResponseWriter, r *http.Request) error {
	var e job.Entry
	var err error
	if t, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); t == "multipart/form-data" {
		_, e, err = s.takeUpload(w, r, r.PathValue("job"))
	} else {
		e, err = s.takeRaw(w, r)
	}
	out := map[string]any{}
	if nm, ok := errors.AsType[*job.NotMeasuredError](err); ok {
		out["not_measured"] = nm.Err.Error()
		e, err = nm.Entry, nil
	}
	if err != nil {
		w.Header().Set("Connection", "close") // the rest of the body was not read
		return err
	}
	out["entry"] = entryJSON(e)
	return sendJSON(w, http.StatusCreated, out)
}

func (s *server) takeRaw(w http.ResponseWriter, r *http.Request) (job.Entry, error) {
	q := r.URL.Query()
	up, err := formOf(q.Get).upload()
	if err != nil {
		return job.Entry{}, err
	}
	up.Name, up.SHA256 = q.Get("name"), q.Get("sha256")
	if c := q.Get("corrects"); c != "" {
		if up.Corrects, err = strconv.ParseInt(c, 10, 64); err != nil {
			return job.Entry{}, &job.InvalidError{Field: "corrects", Value: c, Problem: "is not the number of an entry"}
		}
	}
	if up.SHA256 == "" {
		if up.Name == "" {
			return job.Entry{}, &job.InvalidError{Field: "name", Problem: "is missing: the file's name"}
		}
		up.Data = http.MaxBytesReader(w, r.Body, s.opt.MaxUpload)
	}
	return s.bench.AddCapture(r.Context(), r.PathValue("job"), up)
}
