package job

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"

	"headstack/capture"
	"headstack/dsp"
	"headstack/machine"
	"headstack/measure"
	"headstack/programme"
	"headstack/testtape"
)

// CaptureUpload is an audio file to keep and measure.
type CaptureUpload struct {
	Name string    // file name as given; a path before it is dropped
	Data io.Reader // the file; nil when SHA256 names one that is kept already
	// SHA256 measures a kept file again, usually together with Corrects, for
	// instance because the track numbers were wrong.
	SHA256 string
	// Corrects is the Seq of the capture entry that this one replaces, 0 none.
	Corrects int64

	Tape string // test tape id, or its SHA-256; empty where Programme says what was played
	// Programme is the id, or SHA-256, of the record programme that was replayed.
	Programme string
	// Interface is the id, or SHA-256, of the looped-back interface whose response is
	// to be taken off; empty: none is.
	Interface string
	// WhileRecording says that the capture was taken while the programme was recorded.
	WhileRecording bool
	Function       string  // play, or record-play for the machine's own recording; "" is play, of a programme record-play where the definition has it
	Tracks         []int   // channel n of the file is track Tracks[n-1], 0 leaves it out; empty: all tracks in order
	SpeedCmS       float64 // the machine's speed; 0: the tape's
	Case           measure.CaseState
	Remark         string
	// Voids are the stretches not to be believed, Beside figures of the stretches beside
	// them, by which those that a void touches are replaced; the others are refused.
	Voids  []Void
	Beside []measure.Result
	// Progress is told how much of the measuring is done, 0 to 1; may be nil.
	Progress func(done float64)
}

// AddCapture keeps a capture under its hash, measures it and records both. A
// capture that cannot be measured is recorded with the reason; the error is
// then a [NotMeasuredError] that carries the entry. Any other error means that
// no entry was made: [InvalidError], [NotFoundError] and [CorrectionError]
// before anything was kept, an [UnrecordedError] when the file was kept and the
// entry was not.
func (b *Bench) AddCapture(ctx context.Context, jobID string, up CaptureUpload) (Entry, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return Entry{}, err
	}
	p, err := b.plan(ctx, v, &up)
	if err != nil {
		return Entry{}, err
	}
	f, err := b.keep(ctx, p.entry.Capture, up)
	if err != nil {
		return Entry{}, err
	}
	defer f.Close()
	report, failure := b.measure(ctx, f, p)
	if failure != nil {
		report = measure.Report{Warnings: []string{"not measured: " + failure.Error()}}
	}
	withoutVoids(&report, up.Voids, up.Beside)
	e := p.entry
	e.At, e.Capture.Report, e.Once = b.opt.Now(), report, nameFor(ctx)
	// The file is kept; a person who stops the measuring finds it in the record.
	defer b.forgetCases(jobID)
	e, err = b.rec.AppendEntry(context.WithoutCancel(ctx), e)
	switch {
	case err != nil:
		return Entry{}, &UnrecordedError{File: up.Name, SHA256: p.entry.Capture.SHA256, Err: err}
	case failure != nil:
		return e, &NotMeasuredError{Entry: e, Err: failure}
	}
	return e, nil
}

// OpenCapture opens a kept capture by its hash, verified.
func (b *Bench) OpenCapture(ctx context.Context, sha string) (File, error) {
	return b.files.Open(ctx, sha)
}

// plan is a capture that may be kept, with what it is to be measured by.
type plan struct {
	entry     Entry
	def       *machine.Definition
	tape      *testtape.Tape       // or
	programme *programme.Programme // one of the two
	face      *measure.Interface
	speedCmS  float64
	progress  func(float64)
}

// plan checks an upload before its file is read: nobody should wait for a
// gigabyte to be told of a wrong track number.
func (b *Bench) plan(ctx context.Context, v *View, up *CaptureUpload) (*plan, error) {
	up.Name = path.Base(strings.ReplaceAll(up.Name, `\`, "/"))
	if up.Name == "." || up.Name == "/" {
		up.Name = "capture"
	}
	err := firstError(
		cleanText("file name", &up.Name, maxLine, oneLine),
		cleanText("remark", &up.Remark, maxText, manyLines),
		checkCase(up.Case),
		checkCaptureFunction(v.Def, up),
		checkTracks(v.Def, up.Tracks),
		checkVoids(up.Voids),
		checkCorrects(v, up.Corrects),
	)
	if err != nil {
		return nil, err
	}
	if up.Case == measure.CaseUnknown && up.Corrects == 0 && v.openingsSaid() {
		up.Case = v.Case
	}
	p := &plan{
		entry: Entry{Job: v.Job.ID, Kind: KindCapture, Corrects: up.Corrects, Case: up.Case, Remark: up.Remark,
			Capture: &Capture{File: up.Name, Function: up.Function, Tracks: slices.Clone(up.Tracks), WhileRecording: up.WhileRecording, Voids: slices.Clone(up.Voids)}},
		def: v.Def, speedCmS: up.SpeedCmS, progress: up.Progress,
	}
	if err := b.planPlayed(ctx, p, up); err != nil {
		return nil, err
	}
	return p, b.planInterface(ctx, p, up)
}

// planPlayed finds the tape or programme that was played, and keeps its document.
func (b *Bench) planPlayed(ctx context.Context, p *plan, up *CaptureUpload) error {
	c := p.entry.Capture
	switch {
	case up.Tape != "" && up.Programme != "":
		return &InvalidError{Field: "record programme", Value: up.Programme, Problem: "is given beside a test tape; a capture is of one of them"}
	case up.Programme == "" && up.WhileRecording:
		return &InvalidError{Field: "while recording", Value: "yes", Problem: "is for a record programme: a test tape is not recorded on this machine"}
	case up.Programme != "":
		i, err := b.find(ctx, ProgrammeDocument, up.Programme)
		if err != nil {
			return err
		}
		if p.programme, err = programme.Load(i.id+".yaml", i.yaml); err != nil {
			return err
		}
		if n := p.def.Tracks.Count; p.programme.Tracks > n {
			return &InvalidError{Field: "record programme", Value: p.programme.Name, Problem: fmt.Sprintf("is for %d tracks and this recorder has %d", p.programme.Tracks, n)}
		}
		if err := checkSpeed(p.def, "record programme", p.programme.Name, p.programme.SpeedCmS, up); err != nil {
			return err
		}
		c.Programme, c.ProgrammeSHA = i.name, i.sha
		_, err = b.rec.PutDocument(ctx, i.yaml)
		return err
	}
	i, err := b.find(ctx, TapeDocument, up.Tape)
	if err != nil {
		return err
	}
	if p.tape, err = testtape.Load(i.id+".yaml", i.yaml); err != nil {
		return err
	}
	if err := checkSpeed(p.def, "test tape", p.tape.Name, p.tape.SpeedCmS, up); err != nil {
		return err
	}
	c.Tape, c.TapeSHA = i.name, i.sha
	_, err = b.rec.PutDocument(ctx, i.yaml)
	return err
}

// planInterface finds the looped-back interface whose response is to be taken off.
func (b *Bench) planInterface(ctx context.Context, p *plan, up *CaptureUpload) error {
	if up.Interface == "" {
		return nil
	}
	l, i, err := b.findLoopback(ctx, up.Interface)
	if err != nil {
		return err
	}
	p.face = &l.Response
	p.entry.Capture.Interface, p.entry.Capture.InterfaceSHA = i.name, i.sha
	return nil
}

func checkCaptureFunction(def *machine.Definition, up *CaptureUpload) error {
	if up.Function == "" {
		up.Function = "play"
		if _, ok := def.Function("record-play"); ok && up.Programme != "" {
			up.Function = "record-play"
		}
	}
	if _, ok := def.Function(up.Function); !ok {
		return unknownFunction(def, up.Function)
	}
	return nil
}

func checkTracks(def *machine.Definition, tracks []int) error {
	seen := make(map[int]bool)
	for _, t := range tracks {
		switch {
		case t < 0 || t > def.Tracks.Count:
			return &InvalidError{Field: "track", Value: fmt.Sprint(t), Problem: fmt.Sprintf("is not on this recorder, which has tracks 1 to %d (0 leaves a channel out)", def.Tracks.Count)}
		case t != 0 && seen[t]:
			return &InvalidError{Field: "track", Value: fmt.Sprint(t), Problem: "is given for two channels"}
		}
		seen[t] = true
	}
	return nil
}

func checkCorrects(v *View, seq int64) error {
	if seq == 0 {
		return nil
	}
	for _, e := range v.Entries {
		if e.Seq == seq {
			return CheckCorrection(e, v.CorrectedBy(seq), Entry{Job: v.Job.ID, Kind: KindCapture, Corrects: seq})
		}
	}
	return EntryNotFound(seq)
}

// checkSpeed wants the machine's speed to be one of its definition: a tape that
// was made for another speed has every tone in the wrong place, and is played
// only by someone who says so.
func checkSpeed(def *machine.Definition, field, name string, madeFor float64, up *CaptureUpload) error {
	var speeds []string
	for _, s := range def.Speeds {
		speeds = append(speeds, fmt.Sprintf("%g cm/s", s.CmS))
	}
	if up.SpeedCmS == 0 {
		if _, ok := def.Speed(madeFor); !ok {
			return &InvalidError{Field: field, Value: name,
				Problem: fmt.Sprintf("is made for %g cm/s, which this recorder does not have; give the speed at which it was played", madeFor), Nearest: speeds}
		}
		return nil
	}
	if _, ok := def.Speed(up.SpeedCmS); !ok {
		return &InvalidError{Field: "speed", Value: fmt.Sprintf("%g cm/s", up.SpeedCmS), Problem: "is not in the definition", Nearest: speeds}
	}
	return nil
}

// keep puts the file away, or finds it, and completes the capture's entry.
func (b *Bench) keep(ctx context.Context, c *Capture, up CaptureUpload) (File, error) {
	c.SHA256 = up.SHA256
	if up.Data != nil {
		sha, size, err := b.files.Put(ctx, up.Data)
		if err != nil {
			return nil, fmt.Errorf("%s was not kept: %w", up.Name, err)
		}
		if up.SHA256 != "" && up.SHA256 != sha {
			return nil, &UnrecordedError{File: up.Name, SHA256: sha, Err: &InvalidError{Field: "SHA-256", Value: up.SHA256, Problem: "is not that of the file"}}
		}
		c.SHA256, c.Bytes = sha, size
	}
	f, err := b.files.Open(ctx, c.SHA256)
	if err != nil {
		return nil, err
	}
	c.Bytes = f.Size()
	return f, nil
}

// measure measures an opened file. Its error is the reason why there are no
// figures.
func (b *Bench) measure(ctx context.Context, f File, p *plan) (measure.Report, error) {
	c := p.entry.Capture
	open := func() (*capture.Reader, error) {
		return capture.NewReader(io.NewSectionReader(f, 0, f.Size()), c.File)
	}
	first, err := open()
	if err != nil {
		return measure.Report{}, err
	}
	if err := errors.Join(fitTracks(p.def, c, first.Channels()), first.Close()); err != nil {
		return measure.Report{}, err
	}
	var last *capture.Reader
	src := measure.Source{Name: c.File, Tracks: c.Tracks, Open: func() (dsp.Stream, func() error, error) {
		r, err := open()
		if err != nil {
			return nil, nil, err
		}
		last = r
		return r, r.Close, nil
	}}
	opt := measure.Options{
		Tape: p.tape, Geometry: p.def.Geometry(), Case: p.entry.Case, SpeedCmS: p.speedCmS, When: b.opt.Now(), Progress: p.progress,
		Interface: p.face, WhileRecording: c.WhileRecording,
	}
	opt.OnceRound = onceRound(p)
	var report measure.Report
	if p.programme != nil {
		report, err = b.opt.MeasureProgramme(ctx, []measure.Source{src}, p.programme, opt)
	} else {
		report, err = b.opt.Measure(ctx, []measure.Source{src}, opt)
	}
	if err != nil {
		return measure.Report{}, err
	}
	if last != nil {
		for _, w := range last.Warnings() {
			if !slices.Contains(report.Warnings, w) {
				report.Warnings = append(report.Warnings, w)
			}
		}
	}
	// What cannot be written down cannot be kept: find out before the append.
	if _, err := json.Marshal(report); err != nil {
		return measure.Report{}, err
	}
	return report, nil
}

// onceRound is what turns in the recorder at the speed of a capture.
func onceRound(p *plan) []measure.Rotation {
	v := p.speedCmS
	if v == 0 && p.programme != nil {
		v = p.programme.SpeedCmS
	}
	if v == 0 && p.tape != nil {
		v = p.tape.SpeedCmS
	}
	return Rotations(p.def, v)
}

// Rotations is what turns in a recorder at a tape speed, for the names of flutter lines.
func Rotations(def *machine.Definition, speedCmS float64) []measure.Rotation {
	var out []measure.Rotation
	for _, r := range def.OnceRound(speedCmS) {
		out = append(out, measure.Rotation(r))
	}
	return out
}

// fitTracks gives the channels of the file their tracks.
func fitTracks(def *machine.Definition, c *Capture, channels int) error {
	if len(c.Tracks) == 0 && channels == def.Tracks.Count {
		for t := range channels {
			c.Tracks = append(c.Tracks, t+1)
		}
	}
	if len(c.Tracks) == channels {
		return nil
	}
	if len(c.Tracks) == 0 {
		return fmt.Errorf("the file has %d channels and the recorder %d tracks; say which track is on which channel", channels, def.Tracks.Count)
	}
	return fmt.Errorf("the file has %d channels and tracks are given for %d; give one for each channel, 0 to leave one out", channels, len(c.Tracks))
}
