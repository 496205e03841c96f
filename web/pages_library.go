package web

import (
	"mime/multipart"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/programme"
)

type shelfModel struct {
	base
	Defs       []job.DefinitionInfo
	Tapes      []job.TapeInfo
	Programmes []programmeRow
	Interfaces []job.InterfaceInfo
	Meters     []instrumentRow
	Drafts     []job.Draft
	Dropped    string // a draft that was just thrown away
	Added      string
	New        standardForm // as typed
	Loop       loopForm     // as typed
	Meter      instrumentForm
	Asked      *askedModel // an instrument that was just asked
	CanAsk     []instrumentRow
	Token      string
	MaxUpload  int64
}

// programmeRow lists a record programme with what tells it from others.
type programmeRow struct {
	job.ProgrammeInfo
	Tracks, Rounds int
	SpeedCmS       float64
	Length         string
	Problem        string // it cannot be read any more
}

// standardForm asks for a standard programme.
type standardForm struct{ Tracks, Speed, AtOnce, Staircase string }

// loopForm is a loop-back to keep.
type loopForm struct{ Name, Programme string }

func (s *server) shelfModel(r *http.Request) (shelfModel, error) {
	m := shelfModel{base: base{Title: "Library", Here: "library", Back: "/library"}, Added: r.URL.Query().Get("added"), Dropped: r.URL.Query().Get("dropped"),
		Token: s.progress.newToken(), MaxUpload: s.opt.MaxUpload}
	var err error
	if m.Defs, err = s.bench.Definitions(r.Context()); err != nil {
		return m, err
	}
	if m.Drafts, err = s.bench.Drafts(r.Context()); err != nil {
		return m, err
	}
	if m.Tapes, err = s.bench.Tapes(r.Context()); err != nil {
		return m, err
	}
	if m.Programmes, err = s.programmeRows(r); err != nil {
		return m, err
	}
	if m.Interfaces, err = s.bench.Interfaces(r.Context()); err != nil {
		return m, err
	}
	meters, err := s.bench.Instruments(r.Context())
	m.Meters = instrumentRows(meters)
	m.CanAsk = instrumentRows(slices.DeleteFunc(slices.Clone(meters), func(in diagnosis.Instrument) bool { return in.Address == "" }))
	return m, err
}

func (s *server) programmeRows(r *http.Request) ([]programmeRow, error) {
	list, err := s.bench.Programmes(r.Context())
	if err != nil {
		return nil, err
	}
	rows := []programmeRow{}
	for _, info := range list {
		row := programmeRow{ProgrammeInfo: info}
		yaml, _, err := s.bench.ProgrammeYAML(r.Context(), info.SHA)
		if err != nil {
			return nil, err
		}
		if p, err := programme.Load(info.ID+".yaml", yaml); err != nil {
			row.Problem = err.Error()
		} else {
			row.Tracks, row.Rounds, row.SpeedCmS, row.Length = p.Tracks, len(p.Rounds), p.SpeedCmS, clock(p.Seconds())
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func (s *server) shelfPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.shelfModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "library", m)
}

// refusedShelf shows the library again with what was typed and why it was refused.
func (s *server) refusedShelf(w http.ResponseWriter, r *http.Request, p *problem, status int, typed func(*shelfModel)) error {
	m, err := s.shelfModel(r)
	if err != nil {
		return err
	}
	if typed != nil {
		typed(&m)
	}
	m.Problem = p
	return render(w, status, "library", m)
}

func (s *server) addDefinition(w http.ResponseWriter, r *http.Request) error {
	return s.addDocument(w, r, func(name string, data []byte) (string, error) {
		info, err := s.bench.AddDefinition(r.Context(), name, data)
		return info.Name, err
	})
}

func (s *server) addTape(w http.ResponseWriter, r *http.Request) error {
	return s.addDocument(w, r, func(name string, data []byte) (string, error) {
		info, err := s.bench.AddTape(r.Context(), name, data)
		return info.Name, err
	})
}

func (s *server) addProgramme(w http.ResponseWriter, r *http.Request) error {
	return s.addDocument(w, r, func(name string, data []byte) (string, error) {
		info, err := s.bench.AddProgramme(r.Context(), name, data)
		return info.Name, err
	})
}

func (s *server) addDocument(w http.ResponseWriter, r *http.Request, add func(string, []byte) (string, error)) error {
	name, data, err := readDocument(w, r)
	var added string
	if err == nil {
		added, err = add(name, data)
	}
	if err == nil {
		http.Redirect(w, r, "/library?added="+url.QueryEscape(added), http.StatusSeeOther)
		return nil
	}
	p, status := documentProblem(err)
	return s.refusedShelf(w, r, p, status, nil)
}

// makeProgramme makes a standard programme and keeps it.
func (s *server) makeProgramme(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	form := standardForm{r.PostFormValue("tracks"), r.PostFormValue("speed"), r.PostFormValue("at_once"), r.PostFormValue("staircase")}
	o, err := form.options()
	var info job.ProgrammeInfo
	if err == nil {
		info, err = s.keepStandard(r, o)
	}
	if err == nil {
		http.Redirect(w, r, "/library/programmes/"+url.PathEscape(info.ID), http.StatusSeeOther)
		return nil
	}
	p, status := problemOf(err)
	return s.refusedShelf(w, r, p, status, func(m *shelfModel) { m.New = form })
}

func (f standardForm) options() (programme.Options, error) {
	o := programme.Options{}
	var err error
	if o.Tracks, err = strconv.Atoi(strings.TrimSpace(f.Tracks)); err != nil {
		return o, &job.InvalidError{Field: "tracks", Value: f.Tracks, Problem: "is not a number of tracks"}
	}
	if o.SpeedCmS, err = strconv.ParseFloat(strings.Replace(strings.TrimSpace(f.Speed), ",", ".", 1), 64); err != nil {
		return o, &job.InvalidError{Field: "speed", Value: f.Speed, Problem: "is not a tape speed in cm/s"}
	}
	if f.AtOnce != "" {
		if o.TracksPerRound, err = strconv.Atoi(strings.TrimSpace(f.AtOnce)); err != nil {
			return o, &job.InvalidError{Field: "tracks at once", Value: f.AtOnce, Problem: "is not a number of tracks"}
		}
	}
	if on, _ := parseTick(f.Staircase); on {
		o.Kinds = programme.Kinds()
	}
	return o, nil
}

// keepStandard makes a programme and puts it on the shelf.
func (s *server) keepStandard(r *http.Request, o programme.Options) (job.ProgrammeInfo, error) {
	p, err := programme.New(o)
	if err != nil {
		return job.ProgrammeInfo{}, &pageError{status: http.StatusUnprocessableEntity, title: "The programme was not made", what: err.Error(),
			hint: "Change the figures and make it again.", kept: "Nothing was kept.", err: err}
	}
	yaml, err := p.Encode()
	if err != nil {
		return job.ProgrammeInfo{}, err
	}
	return s.bench.AddProgramme(r.Context(), "standard.yaml", yaml)
}

// addInterface keeps a loop-back capture.
func (s *server) addInterface(w http.ResponseWriter, r *http.Request) error {
	fields, info, _, err := s.takeLoopback(w, r)
	if err == nil {
		http.Redirect(w, r, "/library/interfaces/"+url.PathEscape(info.ID), http.StatusSeeOther)
		return nil
	}
	if explain(err).status == statusClientGone {
		return err
	}
	p, status := documentProblem(err)
	w.Header().Set("Connection", "close") // the rest of the upload was not read
	return s.refusedShelf(w, r, p, status, func(m *shelfModel) { m.Loop = loopForm{fields["interface"], fields["programme"]} })
}

// takeLoopback streams a loop-back capture to the bench.
func (s *server) takeLoopback(w http.ResponseWriter, r *http.Request) (fields map[string]string, info job.InterfaceInfo, l job.Loopback, err error) {
	fields, err = s.streamForm(w, r, func(fields map[string]string, p *multipart.Part) error {
		up := job.LoopbackUpload{Interface: fields["interface"], Programme: fields["programme"], File: p.FileName(), Data: p}
		up.Progress = s.progress.start(fields["token"])
		defer s.progress.end(fields["token"])
		info, l, err = s.bench.AddLoopback(r.Context(), up)
		return err
	})
	return fields, info, l, err
}
