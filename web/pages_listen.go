package web

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"headstack/job"
	"headstack/live"
	"headstack/testtape"
)

// listenRoutes are the pages of live capture.
func (s *server) listenRoutes(page func(pattern string, h func(w http.ResponseWriter, r *http.Request) error)) {
	page("GET /jobs/{job}/listen", s.listenPage)
	page("POST /jobs/{job}/listen", s.startListening)
	page("POST /jobs/{job}/listen/stop", s.stopListening)
	page("POST /jobs/{job}/listen/keep", s.keepHeard)
	page("GET /jobs/{job}/listen/events", s.listenEvents)
	page("GET /jobs/{job}/listen/sound", s.soundSocket)
	page("GET /jobs/{job}/line-up/read-out/events", s.readOutEvents)
	page("POST /jobs/{job}/line-up/read-out", s.keepReadOut)
}

type listenModel struct {
	jobData
	captureChoices
	Form      listenForm
	Devices   []Device
	NoDevices string // why there are none
	Tracks    []int  // of the recorder
	Deaf      bool   // the bench has no folder for it
	Run       *hearing
	Heard     heardView
	Elsewhere *order // what the bench listens to for another job
	Unkept    []unkeptView
	Token     string // of the measuring that a stop begins, for its progress
	Nothing   bool   // the last one stopped before anything was heard
}

// listenForm is a capture's form with where the sound comes from.
type listenForm struct {
	captureForm
	Via, Device string
	Left, Right string // tracks of a browser's two channels
	Rate        string // of a browser's sound, which only its script knows
	Channels    string // of a device; empty: as many as it has
}

type unkeptView struct {
	order
	At, Took string
	Form     captureForm
	Played   string // the tape or programme by its name
}

// played names what a form says was played.
func (c captureChoices) played(f captureForm) string {
	for _, t := range c.Tapes {
		if f.Tape != "" && t.ID == f.Tape {
			return t.Name
		}
	}
	for _, p := range c.Programmes {
		if f.Tape == "" && f.Programme != "" && p.ID == f.Programme {
			return p.Name
		}
	}
	return cmp.Or(f.Tape, f.Programme)
}

func listenFormOf(field func(string) string) listenForm {
	return listenForm{captureForm: formOf(field), Via: field("via"), Device: field("device"), Left: field("left"), Right: field("right"), Rate: field("sample_rate"), Channels: field("channels")}
}

func (s *server) listenModel(r *http.Request) (listenModel, error) {
	d, err := s.jobData(r, "listen", "Listen")
	if err != nil {
		return listenModel{}, err
	}
	m := listenModel{jobData: d, Deaf: s.ear.folder == "", Token: s.progress.newToken(), Nothing: r.URL.Query().Get("nothing") != ""}
	if m.captureChoices, err = s.captureChoices(r, d.View); err != nil {
		return m, err
	}
	for t := range d.View.Def.Tracks.Count {
		m.Tracks = append(m.Tracks, t+1)
	}
	m.Form = listenForm{Via: viaBrowser, Left: "1", Right: "2", captureForm: captureForm{Case: string(d.View.Case)}}
	for _, e := range slices.Backward(d.View.Entries) {
		if c := e.Capture; c != nil { // the next one is mostly of the same
			m.Form.Tape, m.Form.Programme, m.Form.Interface = c.Tape, c.Programme, c.Interface
			break
		}
	}
	if m.Form.Tape+m.Form.Programme == "" {
		m.Form.Tape = s.fittingTape(r.Context(), d.View, m.Tapes)
	}
	if h, _ := s.ear.current(); h != nil && h.Job == d.View.Job.ID {
		m.Run, m.Heard = h, heardOf(h, h.sess.State())
	} else if h != nil {
		m.Elsewhere = &h.order
	}
	if m.Run == nil && !m.Deaf {
		m.Devices, m.NoDevices = s.devices(r.Context())
	}
	for _, o := range s.ear.unkept(d.View.Job.ID) {
		m.Unkept = append(m.Unkept, unkeptView{o, whenText(o.Began), s.ear.size(o), o.Form, m.played(o.Form)})
	}
	return m, nil
}

// fittingTape is the first test tape made for a speed of the recorder; empty where none is.
func (s *server) fittingTape(ctx context.Context, v *job.View, tapes []job.TapeInfo) string {
	for _, i := range tapes {
		yaml, _, err := s.bench.TapeYAML(ctx, i.ID)
		if err != nil {
			continue
		}
		if t, err := testtape.Load(i.ID+".yaml", yaml); err == nil {
			if _, ok := v.Def.Speed(t.SpeedCmS); ok {
				return i.ID
			}
		}
	}
	return ""
}

// devices are the inputs of the machine, or why there are none.
func (s *server) devices(ctx context.Context) ([]Device, string) {
	if s.opt.Devices == nil {
		return nil, "this bench knows no way to the inputs of its machine"
	}
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	list, err := s.opt.Devices.List(ctx)
	if err != nil {
		return nil, err.Error()
	}
	if len(list) == 0 {
		return nil, "the sound server of the machine has no input"
	}
	return list, ""
}

func (s *server) listenPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.listenModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "listen", m)
}

func (s *server) startListening(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	form := listenFormOf(r.PostFormValue)
	_, err := s.listen(r.Context(), r.PathValue("job"), form)
	if err == nil {
		http.Redirect(w, r, "/jobs/"+url.PathEscape(r.PathValue("job"))+"/listen", http.StatusSeeOther)
		return nil
	}
	m, err2 := s.listenModel(r)
	if err2 != nil {
		return err
	}
	m.Form = form
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "listen", m)
}

// listen begins a capture as a form asks for it.
func (s *server) listen(ctx context.Context, jobID string, form listenForm) (*hearing, error) {
	v, err := s.bench.View(ctx, jobID)
	if err != nil {
		return nil, err
	}
	o := order{Job: v.Job.ID, Via: form.Via, Form: form.captureForm}
	switch form.Via {
	case viaBrowser:
		err = o.browser(form)
	case viaDevice:
		err = s.device(ctx, &o, form)
	default:
		err = &job.InvalidError{Field: "source", Value: form.Via, Problem: "is no source", Nearest: []string{viaBrowser, viaDevice}}
	}
	if err != nil {
		return nil, err
	}
	expect, err := s.expect(ctx, v, &o)
	if err != nil {
		return nil, err
	}
	h, err := s.ear.start(o, expect)
	if err == nil && o.Via == viaDevice {
		s.hearDevice(h)
	}
	return h, err
}

// browser completes an order for the two channels of a browser.
func (o *order) browser(form listenForm) error {
	rate, err := strconv.Atoi(form.Rate)
	if form.Rate == "" {
		return &job.InvalidError{Field: "source", Value: "this browser’s input", Problem: "needs the page’s script, which did not run; a device of the bench’s machine needs none", Nearest: []string{viaDevice}}
	}
	if err != nil || rate < 8000 || rate > 384000 {
		return &job.InvalidError{Field: "sample rate", Value: form.Rate, Problem: "is not from 8000 to 384000 hertz"}
	}
	o.Rate, o.Channels, o.Source = rate, browserEars, "the browser’s input, two channels"
	if form.Left != "" || form.Right != "" {
		o.Form.Tracks = cmp.Or(form.Left, "0") + "," + cmp.Or(form.Right, "0")
	}
	return nil
}

// device completes an order for an input of the machine.
func (s *server) device(ctx context.Context, o *order, form listenForm) error {
	list, why := s.devices(ctx)
	if why != "" {
		return &job.InvalidError{Field: "device", Value: form.Device, Problem: "cannot be heard: " + why, Nearest: []string{viaBrowser}}
	}
	i := slices.IndexFunc(list, func(d Device) bool { return d.ID == form.Device })
	if i < 0 {
		var names []string
		for _, d := range list[:min(len(list), 8)] {
			names = append(names, d.ID)
		}
		return &job.InvalidError{Field: "device", Value: form.Device, Problem: "is not there now", Nearest: names}
	}
	d := list[i]
	o.Device, o.Source, o.Rate, o.Channels = d.ID, d.Name, d.Rate, d.Channels
	if form.Channels != "" {
		n, err := strconv.Atoi(strings.TrimSpace(form.Channels))
		if err != nil || n < 1 || n > d.Channels {
			return &job.InvalidError{Field: "channels", Value: form.Channels, Problem: "is not a number from 1 to " + strconv.Itoa(d.Channels)}
		}
		o.Channels = n
	}
	if form.Rate != "" {
		rate, err := strconv.Atoi(form.Rate)
		if err != nil || rate < 8000 || rate > 384000 {
			return &job.InvalidError{Field: "sample rate", Value: form.Rate, Problem: "is not from 8000 to 384000 hertz"}
		}
		o.Rate = rate
	}
	return nil
}

// expect checks what a capture is said to be of before the tape runs, and says what is to be
// looked for on it.
func (s *server) expect(ctx context.Context, v *job.View, o *order) (x live.Expect, err error) {
	up, err := o.Form.upload()
	if err != nil {
		return x, err
	}
	if x.Tracks, err = channelTracks(up.Tracks, o.Channels, v.Def.Tracks.Count); err != nil {
		return x, err
	}
	o.Form.Tracks = tracksText(x.Tracks)
	x.Machine, x.Case = v.Def, up.Case
	if up.Programme != "" {
		_, _, err := s.bench.ProgrammeYAML(ctx, up.Programme)
		return x, err
	}
	yaml, info, err := s.bench.TapeYAML(ctx, up.Tape)
	if err != nil {
		return x, err
	}
	if x.Tape, err = testtape.Load(info.ID+".yaml", yaml); err != nil {
		return x, err
	}
	if _, ok := v.Def.Speed(x.Tape.SpeedCmS); !ok {
		return x, &job.InvalidError{Field: "test tape", Value: x.Tape.Name, Problem: "is made for a speed that this recorder does not have"}
	}
	return x, nil
}

// channelTracks gives every channel its track: those said, 0 for the rest; of none said all in
// order.
func channelTracks(said []int, channels, tracks int) ([]int, error) {
	bad := func(problem string) ([]int, error) {
		return nil, &job.InvalidError{Field: "tracks", Value: tracksText(said), Problem: problem}
	}
	out, seen := make([]int, channels), map[int]bool{}
	for c := range out {
		if len(said) == 0 && c < tracks {
			out[c] = c + 1
		}
	}
	if len(said) > channels {
		return bad("are more than the " + plural(channels, "channel", "channels"))
	}
	copy(out, said)
	for _, t := range said {
		switch {
		case t > tracks:
			return bad("go beyond the " + plural(tracks, "track", "tracks") + " of this recorder")
		case t > 0 && seen[t]:
			return bad("name a track twice")
		}
		seen[t] = true
	}
	if !slices.ContainsFunc(out, func(t int) bool { return t > 0 }) {
		return bad("leave no channel with a track")
	}
	return out, nil
}

// stopListening ends the capture of a job and keeps it, good or not.
func (s *server) stopListening(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	id := r.PathValue("job")
	file := r.PostFormValue("file")
	if h := s.ear.of(id); h != nil && (file == "" || h.File == file) {
		file = h.File
		s.ear.stop(h, errStopped)
	}
	if file == "" {
		return &pageError{status: http.StatusConflict, title: "Nothing is heard for this job now", what: id,
			hint: "What was stopped before stands on the listen page or in the record.", kept: "The record is as it was."}
	}
	return s.kept(w, r, file, nil)
}

// keepHeard keeps a capture that was cut off or could not be kept before.
func (s *server) keepHeard(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	form := formOf(r.PostFormValue)
	return s.kept(w, r, r.PostFormValue("file"), &form)
}

// kept keeps a file that was heard and goes to its page. typed is what was corrected; nil: as
// it was started.
func (s *server) kept(w http.ResponseWriter, r *http.Request, file string, typed *captureForm) error {
	id := r.PathValue("job")
	form := typed
	if form == nil {
		for _, o := range s.ear.unkept(id) {
			if o.File == file {
				form = &o.Form
			}
		}
	}
	if form == nil {
		// It ended by itself and was kept from another window, or held nothing.
		http.Redirect(w, r, "/jobs/"+url.PathEscape(id)+"/listen?nothing=1", http.StatusSeeOther)
		return nil
	}
	token := r.PostFormValue("token")
	e, err := s.ear.keep(r.Context(), s.bench, id, file, *form, s.progress.start(token))
	s.progress.end(token)
	if nm, ok := errors.AsType[*job.NotMeasuredError](err); ok {
		e, err = nm.Entry, nil
	}
	if err == nil {
		return goTo(w, r, "/jobs/"+url.PathEscape(id)+"/captures/"+strconv.FormatInt(e.Seq, 10), e)
	}
	if explain(err).status == statusClientGone {
		return err
	}
	m, err2 := s.listenModel(r)
	if err2 != nil {
		return err
	}
	for i := range m.Unkept {
		if m.Unkept[i].File == file {
			m.Unkept[i].Form = *form
		}
	}
	var status int
	m.Problem, status = problemOf(err)
	m.Problem.Kept = "The sound is kept and stands below."
	return render(w, status, "listen", m)
}

// listenEvents sends what is heard four times a second while it changes.
func (s *server) listenEvents(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("job")
	st, done, err := s.streams.open(w)
	if err != nil {
		return err
	}
	defer done()
	every := time.NewTicker(250 * time.Millisecond)
	defer every.Stop()
	h := s.ear.of(id)
	for n := 0; ; n++ {
		if s.ear.of(id) != h || h == nil {
			_ = st.send("over", []byte("over"))
			return nil
		}
		part, err := partOf("listen", "heardparts", heardOf(h, h.sess.State()))
		if err == nil {
			err = st.send("heard", part)
		}
		if err == nil && n%40 == 39 {
			err = st.alive()
		}
		if err != nil {
			return nil // the reader is gone, and what was sent cannot be taken back
		}
		select {
		case <-every.C:
		case <-r.Context().Done():
			return nil
		case <-s.ctx().Done():
			return nil
		}
	}
}

// ctx ends when the server does.
func (s *server) ctx() context.Context {
	if s.opt.Context != nil {
		return s.opt.Context
	}
	return context.Background()
}
