package web

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"headstack/halfmade"
	"headstack/job"
	"headstack/live"
	"headstack/measure"
)

// How a tape is heard.
const (
	viaBrowser = "browser" // two channels of the browser that shows the page
	viaDevice  = "device"  // an input of the machine that the bench runs on
)

// order is one live capture as it was asked for. It stands beside the growing file as
// JSON, so that a capture that was cut off still knows where it belongs.
type order struct {
	Job      string      `json:"job"`
	Began    time.Time   `json:"began"`
	Via      string      `json:"via"`
	Device   string      `json:"device,omitempty"`
	Source   string      `json:"source"` // in words
	Rate     int         `json:"sample_rate"`
	Channels int         `json:"channels"`
	Form     captureForm `json:"form"`
	File     string      `json:"file"` // in the folder of live captures

	// Of one that ended and is in no record yet. Cut says what ended it; empty for one that
	// a person stopped.
	Ended  bool     `json:"ended"`
	Cut    string   `json:"cut,omitempty"`
	SHA256 string   `json:"sha256,omitempty"`
	Notes  []string `json:"notes,omitempty"` // slips and warnings, in sentences
	// Voids are not to be believed; Beside are the figures of the sections that they touch, of
	// the stretch beside them, and of what is held against those.
	Voids  []job.Void       `json:"voids,omitempty"`
	Beside []measure.Result `json:"beside,omitempty"`
}

// listening is the ear of the bench: one capture in progress at most, and those that ended
// and are in no record yet. Every growing file is in one folder.
type listening struct {
	folder string // empty: nothing can be heard
	now    func() time.Time

	mu      sync.Mutex
	run     *hearing
	busy    map[string]bool // files that are being kept just now
	changed chan struct{}   // closed when run becomes another
}

// hearing is a capture in progress.
type hearing struct {
	order
	expect live.Expect
	token  string // who knows it may send the sound of a browser
	sess   *live.Session
	ctx    context.Context // ends when the source is to stop; its cause may be a cutOff
	cancel context.CancelCauseFunc

	mu     sync.Mutex
	source chan struct{} // closed when the source has ended; nil: none was there yet
	wait   *time.Timer   // for the sound of a browser
	limit  *time.Timer
	ending sync.Once
}

// cutOff says what ended a capture that nobody stopped.
type cutOff string

func (c cutOff) Error() string { return string(c) }

// errStopped ends a capture that a person stopped.
var errStopped = errors.New("stopped")

const (
	longestHeard = 6 * time.Hour    // of one capture: the longest reel at the lowest speed, both sides
	patienceFor  = 30 * time.Second // for the sound of a browser, after it was asked for
)

func newListening(folder string, now func() time.Time) *listening {
	return &listening{folder: folder, now: now, changed: make(chan struct{}), busy: map[string]bool{}}
}

// current is the capture in progress, nil for none, and a channel that is closed when it
// becomes another.
func (l *listening) current() (*hearing, <-chan struct{}) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.run, l.changed
}

// of is the capture in progress of a job; nil where there is none.
func (l *listening) of(jobID string) *hearing {
	if h, _ := l.current(); h != nil && h.Job == jobID {
		return h
	}
	return nil
}

func (l *listening) become(h *hearing) {
	l.run = h
	close(l.changed)
	l.changed = make(chan struct{})
}

// start begins a capture. The caller gives it its sound, or ends it.
func (l *listening) start(o order, expect live.Expect) (*hearing, error) {
	if l.folder == "" {
		return nil, &pageError{status: http.StatusServiceUnavailable, title: "This bench does not listen", what: "it was started without a folder for live captures",
			hint: "Start it with headstack serve.", kept: "Nothing was written."}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.run != nil {
		return nil, &pageError{status: http.StatusConflict, title: "The bench is listening already", what: l.run.Job + ", " + l.run.Source,
			hint: "Stop that capture first; it is kept.", kept: "That capture goes on."}
	}
	o.Began = l.now()
	o.File = fmt.Sprintf("%s-%s.wav", o.Job, o.Began.UTC().Format("20060102-150405.000"))
	sess, err := live.Start(live.Config{SampleRate: o.Rate, Channels: o.Channels, Folder: l.folder, Name: o.File,
		Expect: expect, Source: o.Source, Clocked: true})
	if err != nil {
		return nil, &pageError{status: http.StatusInternalServerError, title: "A file for the capture could not be opened", what: err.Error(),
			hint: "Look whether the disk of the bench is full.", kept: "Nothing was written.", err: err}
	}
	if err := l.note(o); err != nil {
		_, err2 := sess.Close()
		return nil, errors.Join(err, err2)
	}
	h := &hearing{order: o, expect: expect, token: rand.Text(), sess: sess}
	h.ctx, h.cancel = context.WithCancelCause(context.Background())
	h.limit = time.AfterFunc(longestHeard, func() {
		sess.Warn(fullWarning)
		l.stop(h, errStopped)
	})
	if o.Via == viaBrowser {
		h.wait = time.AfterFunc(patienceFor, func() { l.end(h, "no sound came from the browser") })
	}
	l.become(h)
	return h, nil
}

// note writes an order beside its file.
func (l *listening) note(o order) error {
	b, err := json.MarshalIndent(o, "", "\t")
	if err != nil {
		return err
	}
	return replaceWhole(filepath.Join(l.folder, o.File+".json"), b)
}

// replaceWhole puts data under the name, in the place of what is there: after a loss of power
// the old or the new is there, whole.
func replaceWhole(name string, data []byte) error {
	f, err := os.OpenFile(name+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o666)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync() // or the name may last and the bytes not
	}
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return halfmade.Settle(filepath.Dir(name))
}

// attach makes the caller the source of a capture, once. done must be called when it ends.
func (h *hearing) attach() (done func(), ok bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.source != nil || h.ctx.Err() != nil {
		return nil, false
	}
	h.source = make(chan struct{})
	if h.wait != nil {
		h.wait.Stop()
	}
	return sync.OnceFunc(func() { close(h.source) }), true
}

// stop ends the source and then the capture, which is not in the record yet. cause is
// errStopped where a person stopped it, else a cutOff.
func (l *listening) stop(h *hearing, cause error) {
	h.mu.Lock()
	h.cancel(cause) // no source attaches any more
	source := h.source
	h.mu.Unlock()
	if source != nil {
		<-source
	}
	l.end(h, "")
}

// end closes the file of a capture whose source has ended. why is what cut it off, empty
// where the source was told to end.
func (l *listening) end(h *hearing, why string) {
	h.ending.Do(func() {
		h.cancel(errStopped)
		if c, ok := errors.AsType[cutOff](context.Cause(h.ctx)); ok && why == "" {
			why = string(c)
		}
		h.limit.Stop()
		if h.wait != nil {
			h.wait.Stop()
		}
		kept, err := h.sess.Close()
		o := h.order
		o.Ended, o.Cut, o.SHA256, o.Notes = true, why, kept.SHA256, notesOf(kept)
		o.Voids, o.Beside = job.LiveVoids(kept, h.sess.State())
		if err != nil {
			o.Notes = append(o.Notes, err.Error())
		}
		l.mu.Lock()
		defer l.mu.Unlock()
		if kept.Frames == 0 { // nothing was heard: there is nothing to keep
			l.remove(o.File)
		} else {
			_ = l.note(o) // the file is there; without the note it shows as cut off
		}
		if l.run == h {
			l.become(nil)
		}
	})
}

// notesOf tells a capture's slips and warnings in sentences, the first of them.
func notesOf(k live.Kept) []string {
	const most = 12
	var out []string
	for i, v := range k.Voids {
		if i == most {
			out = append(out, fmt.Sprintf("and %d further places not to be believed", len(k.Voids)-most))
			break
		}
		out = append(out, voidText(v))
	}
	return append(out, k.Warnings[:min(len(k.Warnings), most)]...)
}

func (l *listening) remove(file string) {
	for _, name := range []string{file, file + ".json"} {
		_ = os.Remove(filepath.Join(l.folder, name)) // one that stays is offered again
	}
}

// unkept are the captures that ended and are in no record, the oldest first; of one job, or
// with "" of all.
func (l *listening) unkept(jobID string) []order {
	if l.folder == "" {
		return nil
	}
	list, err := os.ReadDir(l.folder)
	if err != nil {
		return nil // it is made by the first capture
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	var out []order
	for _, e := range list {
		file, ok := strings.CutSuffix(e.Name(), ".json")
		if !ok || l.busy[file] || l.run != nil && l.run.File == file {
			continue
		}
		o, err := l.read(file)
		if err == nil && (jobID == "" || o.Job == jobID) {
			out = append(out, o)
		}
	}
	slices.SortFunc(out, func(a, b order) int { return a.Began.Compare(b.Began) })
	return out
}

// read is the note beside a file that is there.
func (l *listening) read(file string) (o order, err error) {
	b, err := os.ReadFile(filepath.Join(l.folder, file+".json"))
	if err != nil {
		return o, err
	}
	if err := json.Unmarshal(b, &o); err != nil {
		return o, err
	}
	o.File = file
	if _, err := os.Stat(filepath.Join(l.folder, file)); err != nil {
		return o, err
	}
	if !o.Ended {
		o.Cut = "the bench was stopped or lost its power; whether it slipped is not known"
	}
	return o, nil
}

// keep puts a capture that ended into the record of its job, by the way that uploads go,
// and then takes it out of the folder. form says what was played, which may be
// corrected by then. Where it is not kept, the file stays and is offered again.
func (l *listening) keep(ctx context.Context, bench Bench, jobID, file string, form captureForm, progress func(float64)) (job.Entry, error) {
	o, err := l.claim(jobID, file)
	if err != nil {
		return job.Entry{}, err
	}
	defer l.release(file)
	up, err := form.upload()
	if err != nil {
		return job.Entry{}, err
	}
	path := filepath.Join(l.folder, file)
	if !o.Ended {
		if _, err := live.Mend(path); err != nil {
			return job.Entry{}, err
		}
	}
	f, err := os.Open(path)
	if err != nil {
		return job.Entry{}, err
	}
	defer f.Close()
	up.Name, up.Data, up.SHA256, up.Progress, up.Remark = file, f, o.SHA256, progress, o.remark(up.Remark)
	up.Voids, up.Beside = o.Voids, o.Beside
	e, err := bench.AddCapture(ctx, jobID, up)
	if _, recorded := errors.AsType[*job.NotMeasuredError](err); err == nil || recorded {
		l.remove(file)
	}
	return e, err
}

// claim takes a capture that ended for keeping, so that no second call keeps it too.
func (l *listening) claim(jobID, file string) (order, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	none := &job.NotFoundError{What: "live capture that is not kept yet", ID: file}
	if l.folder == "" || file != filepath.Base(file) || strings.HasPrefix(file, ".") || l.busy[file] || l.run != nil && l.run.File == file {
		return order{}, none
	}
	o, err := l.read(file)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return order{}, err
	}
	if err != nil || o.Job != jobID {
		return order{}, none
	}
	l.busy[file] = true
	return o, nil
}

func (l *listening) release(file string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.busy, file)
}

// remark says how a capture came, and what is not to be believed in it, behind what was typed.
func (o order) remark(typed string) string {
	parts := []string{"Heard live: " + o.Source + "."}
	if typed = strings.TrimSpace(typed); typed != "" {
		parts = []string{strings.TrimSuffix(typed, ".") + ".", parts[0]}
	}
	if o.Cut != "" {
		parts = append(parts, "Cut off: "+o.Cut+".")
	}
	for _, n := range o.Notes {
		parts = append(parts, strings.TrimSuffix(n, ".")+".")
	}
	return strings.Join(parts, " ")
}

// size says how much a capture that ended holds.
func (l *listening) size(o order) string {
	info, err := os.Stat(filepath.Join(l.folder, o.File))
	if err != nil || o.Rate < 1 || o.Channels < 1 {
		return ""
	}
	return tapeClock(float64(info.Size()) / float64(4*o.Rate*o.Channels))
}

// quit ends the capture in progress because the server stops.
func (l *listening) quit() {
	if h, _ := l.current(); h != nil {
		l.stop(h, cutOff("the bench was stopped"))
	}
}
