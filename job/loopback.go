package job

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"
	"time"

	"headstack/capture"
	"headstack/dsp"
	"headstack/measure"
	"headstack/programme"
)

// Loopback is a capture interface played into itself through a loop of cable, kept
// with the bench: later captures through it can have its response taken off.
type Loopback struct {
	Format       int               `json:"loopback"` // of this form: 1
	Response     measure.Interface `json:"response"`
	File         string            `json:"file"`        // name of the capture as given
	FileSHA      string            `json:"file_sha256"` // of the capture, which is kept
	Programme    string            `json:"programme"`
	ProgrammeSHA string            `json:"programme_sha256"`
}

// InterfaceInfo lists one looped-back interface; the last loop-back of a name is the
// one in force.
type InterfaceInfo struct {
	ID    string // the name as lower-case words with hyphens
	Name  string
	SHA   string // of the loop-back
	Added time.Time
}

// LoopbackUpload is a loop-back capture to keep and measure.
type LoopbackUpload struct {
	Interface string // what the person calls the interface
	File      string // file name as given; a path before it is dropped
	Data      io.Reader
	Programme string // id or SHA-256 of the record programme that was played
	Progress  func(done float64)
}

// Interfaces lists the looped-back interfaces in force, by name.
func (b *Bench) Interfaces(ctx context.Context) ([]InterfaceInfo, error) {
	shelf, err := b.shelf(ctx, InterfaceDocument)
	if err != nil {
		return nil, err
	}
	listed, err := b.rec.Listings(ctx, InterfaceDocument)
	if err != nil {
		return nil, err
	}
	added := map[string]time.Time{}
	for _, l := range listed {
		added[l.SHA256] = l.Added
	}
	out := make([]InterfaceInfo, len(shelf))
	for i, s := range shelf {
		out[i] = InterfaceInfo{ID: s.id, Name: s.name, SHA: s.sha, Added: added[s.sha]}
	}
	return out, nil
}

// Loopback returns a loop-back by the interface's id, or by its SHA-256.
func (b *Bench) Loopback(ctx context.Context, id string) (Loopback, error) {
	l, _, err := b.findLoopback(ctx, id)
	return l, err
}

func (b *Bench) findLoopback(ctx context.Context, id string) (Loopback, item, error) {
	i, err := b.find(ctx, InterfaceDocument, id)
	if err != nil {
		return Loopback{}, i, err
	}
	var l Loopback
	if err := json.Unmarshal(i.yaml, &l); err != nil {
		return Loopback{}, i, fmt.Errorf("the loop-back %s: %w", i.sha, err)
	}
	return l, i, nil
}

// AddLoopback keeps a loop-back capture, measures the interface and puts it on the
// bench's list with the date. When no channel could be measured it is an
// [InvalidError] and nothing is listed; the capture is kept all the same.
func (b *Bench) AddLoopback(ctx context.Context, up LoopbackUpload) (InterfaceInfo, Loopback, error) {
	fail := func(err error) (InterfaceInfo, Loopback, error) { return InterfaceInfo{}, Loopback{}, err }
	up.File = path.Base(strings.ReplaceAll(up.File, `\`, "/"))
	if err := firstError(cleanText("interface name", &up.Interface, maxLine, oneLine), cleanText("file name", &up.File, maxLine, oneLine)); err != nil {
		return fail(err)
	}
	id := slug(up.Interface)
	if id == "" {
		return fail(&InvalidError{Field: "interface name", Value: up.Interface, Problem: "has no letter or figure to call it by"})
	}
	pi, err := b.find(ctx, ProgrammeDocument, up.Programme)
	if err != nil {
		return fail(err)
	}
	p, err := programme.Load(pi.id+".yaml", pi.yaml)
	if err != nil {
		return fail(err)
	}
	sha, _, err := b.files.Put(ctx, up.Data)
	if err != nil {
		return fail(fmt.Errorf("%s was not kept: %w", up.File, err))
	}
	response, err := b.measureLoopback(ctx, sha, up, p)
	if err != nil {
		return fail(err)
	}
	l := Loopback{Format: 1, Response: response, File: up.File, FileSHA: sha, Programme: pi.name, ProgrammeSHA: pi.sha}
	data, err := json.Marshal(l)
	if err != nil {
		return fail(err)
	}
	i, err := b.add(ctx, InterfaceDocument, item{id: id, name: up.Interface, yaml: data})
	return InterfaceInfo{ID: i.id, Name: i.name, SHA: i.sha, Added: response.When}, l, err
}

// measureLoopback measures a kept loop-back capture.
func (b *Bench) measureLoopback(ctx context.Context, sha string, up LoopbackUpload, p *programme.Programme) (measure.Interface, error) {
	f, err := b.files.Open(ctx, sha)
	if err != nil {
		return measure.Interface{}, err
	}
	defer f.Close()
	open := func() (*capture.Reader, error) {
		return capture.NewReader(io.NewSectionReader(f, 0, f.Size()), up.File)
	}
	first, err := open()
	if err != nil {
		return measure.Interface{}, err
	}
	channels := first.Channels()
	if err := first.Close(); err != nil {
		return measure.Interface{}, err
	}
	if n := len(p.Rounds[0]); channels > n {
		return measure.Interface{}, &InvalidError{Field: "loop-back capture", Value: up.File, Problem: fmt.Sprintf("has %d channels and the programme plays %d at once; loop back with a programme of as many tracks", channels, n)}
	}
	src := measure.Source{Name: up.File, Tracks: p.Rounds[0][:channels], Open: func() (dsp.Stream, func() error, error) {
		r, err := open()
		if err != nil {
			return nil, nil, err
		}
		return r, r.Close, nil
	}}
	got, err := measure.Loopback(ctx, src, p, up.Interface, b.opt.Now())
	if err != nil {
		return got, err
	}
	var why error = errors.New("it has no channels")
	for _, c := range got.Channels {
		if c.Refused == "" {
			return got, nil
		}
		why = errors.New(c.Refused)
	}
	return got, &InvalidError{Field: "loop-back capture", Value: up.File, Problem: fmt.Sprintf("could not be measured (%v); was %q played into it?", why, p.Name)}
}
