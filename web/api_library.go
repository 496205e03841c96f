package web

import (
	"mime"
	"net/http"
	"time"

	"headstack/job"
	"headstack/measure"
	"headstack/programme"
)

func (s *server) apiProgrammes(w http.ResponseWriter, r *http.Request) error {
	list, err := s.bench.Programmes(r.Context())
	if err != nil {
		return err
	}
	out := []apiProgramme{}
	for _, p := range list {
		out = append(out, apiProgramme(p))
	}
	return sendJSON(w, http.StatusOK, map[string]any{"programmes": out})
}

// apiAddProgramme keeps a programme given as YAML, or makes a standard one from its
// figures given as JSON.
func (s *server) apiAddProgramme(w http.ResponseWriter, r *http.Request) error {
	if t, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); t == "application/json" {
		return s.apiMakeProgramme(w, r)
	}
	name, data, err := readDocument(w, r)
	if err != nil {
		return err
	}
	info, err := s.bench.AddProgramme(r.Context(), name, data)
	if err != nil {
		return documentError(err)
	}
	return sendJSON(w, http.StatusCreated, apiProgramme(info))
}

func (s *server) apiMakeProgramme(w http.ResponseWriter, r *http.Request) error {
	var in newProgrammeJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	o := programme.Options{Name: in.Name, Tracks: in.Tracks, SpeedCmS: in.SpeedCmS, TracksPerRound: in.AtOnce, ReferenceHz: in.ReferenceHz}
	for _, k := range in.Kinds {
		o.Kinds = append(o.Kinds, programme.Kind(k))
	}
	info, err := s.keepStandard(r, o)
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusCreated, apiProgramme(info))
}

// apiInstructions says what a person does, round by round.
func (s *server) apiInstructions(w http.ResponseWriter, r *http.Request) error {
	p, _, err := s.findProgramme(r)
	if err != nil {
		return err
	}
	rounds := []apiRound{}
	for i, tracks := range p.Rounds {
		rounds = append(rounds, apiRound{Round: i + 1, Tracks: list(tracks), Seconds: p.Seconds(), Steps: list(p.Instructions(i))})
	}
	return sendJSON(w, http.StatusOK, map[string]any{"rounds": rounds})
}

func (s *server) apiInterfaces(w http.ResponseWriter, r *http.Request) error {
	found, err := s.bench.Interfaces(r.Context())
	if err != nil {
		return err
	}
	out := []apiInterface{}
	for _, i := range found {
		out = append(out, interfaceJSON(i))
	}
	return sendJSON(w, http.StatusOK, map[string]any{"interfaces": out})
}

func interfaceJSON(i job.InterfaceInfo) apiInterface {
	return apiInterface{i.ID, i.Name, i.SHA, i.Added.UTC().Truncate(time.Second)}
}

func (s *server) apiAddInterface(w http.ResponseWriter, r *http.Request) error {
	_, info, l, err := s.takeLoopback(w, r)
	if err != nil {
		w.Header().Set("Connection", "close") // the rest of the body was not read
		return err
	}
	return sendJSON(w, http.StatusCreated, map[string]any{"interface": interfaceJSON(info), "loopback": loopbackJSON(l)})
}

func (s *server) apiInterface(w http.ResponseWriter, r *http.Request) error {
	l, err := s.bench.Loopback(r.Context(), r.PathValue("interface"))
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, loopbackJSON(l))
}

func loopbackJSON(l job.Loopback) apiLoopback {
	out := apiLoopback{l.Response, l.File, l.FileSHA, l.Programme, l.ProgrammeSHA}
	out.Response.Channels = []measure.InterfaceChannel{}
	for _, c := range l.Response.Channels {
		c.Points = list(c.Points)
		out.Response.Channels = append(out.Response.Channels, c)
	}
	return out
}
