package web

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/programme"
)

type programmeModel struct {
	base
	Info   job.ProgrammeInfo
	P      *programme.Programme
	Length string
	Rounds []roundModel
	Parts  []partRow
	Rates  []int
}

type roundModel struct {
	Number   int
	Tracks   string
	Channels int
	Bytes    int64 // of the WAV at the first rate
	Erase    bool
	Steps    []instruction
}

// instruction is one line of the instructions.
type instruction struct {
	Text    string
	Caution bool
}

type partRow struct{ At, Name, Kind, Seconds string }

// findProgramme loads a programme of the shelf.
func (s *server) findProgramme(r *http.Request) (*programme.Programme, job.ProgrammeInfo, error) {
	yaml, info, err := s.bench.ProgrammeYAML(r.Context(), r.PathValue("programme"))
	if err != nil {
		return nil, info, err
	}
	p, err := programme.Load(info.ID+".yaml", yaml)
	return p, info, err
}

func (s *server) programmePage(w http.ResponseWriter, r *http.Request) error {
	p, info, err := s.findProgramme(r)
	if err != nil {
		return err
	}
	m := programmeModel{base: base{Title: p.Name, Here: "library"}, Info: info, P: p, Length: clock(p.Seconds()), Rates: soundRates}
	for i := range p.Rounds {
		m.Rounds = append(m.Rounds, roundOf(p, i))
	}
	for i, part := range p.Parts {
		m.Parts = append(m.Parts, partRow{clock(p.Start(i)), part.Name, strings.ReplaceAll(string(part.Kind), "-", " "), number(part.Seconds) + "\u2009s"})
	}
	return render(w, http.StatusOK, "programme", m)
}

func roundOf(p *programme.Programme, i int) roundModel {
	m := roundModel{Number: i + 1, Tracks: strings.ReplaceAll(tracksText(p.Rounds[i]), ",", ", "), Channels: len(p.Rounds[i])}
	m.Bytes = int64(math.Ceil(p.Seconds()*float64(soundRates[0]))) * int64(m.Channels*soundBits/8)
	if _, err := p.ErasePass(i, float64(soundRates[0])); err == nil {
		m.Erase = true
	}
	for _, t := range p.Instructions(i) {
		m.Steps = append(m.Steps, instruction{t, strings.HasPrefix(t, "Caution")})
	}
	return m
}

// programmeYAML gives the file as it was added.
func (s *server) programmeYAML(w http.ResponseWriter, r *http.Request) error {
	yaml, info, err := s.bench.ProgrammeYAML(r.Context(), r.PathValue("programme"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/yaml")
	w.Header().Set("Content-Disposition", `attachment; filename="`+info.ID+`.yaml"`)
	_, _ = w.Write(yaml)
	return nil
}

// roundSound is what is recorded in a round, as a WAV file.
func (s *server) roundSound(w http.ResponseWriter, r *http.Request) error {
	p, info, err := s.findProgramme(r)
	if err != nil {
		return err
	}
	round, rate, err := soundOf(r, p)
	if err != nil {
		return err
	}
	signal, err := p.Signal(round, float64(rate))
	if err != nil {
		return soundError(err)
	}
	return sendSound(w, r, fmt.Sprintf("%s-round-%d.wav", info.ID, round+1), rate, signal)
}

// erasePassSound is the silence of the second pass over a round.
func (s *server) erasePassSound(w http.ResponseWriter, r *http.Request) error {
	p, info, err := s.findProgramme(r)
	if err != nil {
		return err
	}
	round, rate, err := soundOf(r, p)
	if err != nil {
		return err
	}
	pass, err := p.ErasePass(round, float64(rate))
	if errors.Is(err, programme.ErrNoErase) {
		return &job.NotFoundError{What: "erase pass of this programme", ID: strconv.Itoa(round + 1)}
	}
	if err != nil {
		return soundError(err)
	}
	return sendSound(w, r, fmt.Sprintf("%s-erase-pass-%d.wav", info.ID, round+1), rate, pass.Silence)
}

// soundOf reads round, from 0, and sample rate of a call for sound.
func soundOf(r *http.Request, p *programme.Programme) (round, rate int, err error) {
	n, err := strconv.Atoi(r.PathValue("round"))
	if err != nil || n < 1 || n > len(p.Rounds) {
		return 0, 0, &job.NotFoundError{What: "round", ID: r.PathValue("round"), Nearest: []string{fmt.Sprintf("1 to %d", len(p.Rounds))}}
	}
	rate = soundRates[0]
	if q := r.URL.Query().Get("rate"); q != "" {
		if rate, err = parseRate(q); err != nil {
			return 0, 0, err
		}
	}
	return n - 1, rate, nil
}

func soundError(err error) error {
	return &pageError{status: http.StatusUnprocessableEntity, title: "The sound was not made", what: err.Error(), hint: "Take a higher sample rate.", kept: "Nothing was written.", err: err}
}

// clock writes seconds as 3:05.
func clock(s float64) string {
	n := int(math.Round(s))
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}
