package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"headstack/job"
	"headstack/live"
	"headstack/live/pulse"
	"headstack/measure"
	"headstack/testtape"
	"headstack/unit"
)

type listenVerb struct {
	entryFlags
	Devices     bool    `xor:"from" help:"List the devices of the sound server, and end."`
	Mend        string  `xor:"from" placeholder:"FILE" help:"Put a file in order that a capture left when it was killed, and end."`
	Device      string  `xor:"from" placeholder:"ID" help:"Device of the sound server, as --devices lists it; default is its default."`
	Raw         string  `xor:"from" placeholder:"FORMAT,RATE,CHANNELS" help:"Raw samples on standard input: s16le, s24le, s32le or f32le; Hz; channels. Such as s24le,48000,8."`
	Channels    int     `placeholder:"N" help:"The first N channels of the device, not all."`
	Rate        int     `placeholder:"HZ" help:"Sample rate to ask the device for, not its own."`
	Tape        string  `placeholder:"TAPE" help:"Test tape that is played: a YAML file, or the id of a built-in one or, with --job, of one that the bench knows."`
	Machine     string  `placeholder:"DEF" help:"Recorder definition: a YAML file, or the id of a built-in one; with --job it is the job's."`
	Tracks      string  `placeholder:"1,2,.." help:"Track on each channel, in channel order; 0 leaves a channel out."`
	Seconds     float64 `placeholder:"S" help:"Stop after so much of the tape."`
	UntilEnough bool    `help:"Stop when every section of the tape is known well enough, to spare the tape."`
	Within      float64 `placeholder:"DB" help:"Well enough: levels to this half width of the 95 % interval, in dB; 0.05 without it."`
	Output      string  `short:"o" placeholder:"FILE" help:"WAV file to write, a new one; named after the time without it."`
	Job         string  `placeholder:"JOB" help:"Keep it in this job as a capture, measured."`
	Interface   string  `placeholder:"ID" help:"With --job: looped-back capture interface to take off."`
}

func (listenVerb) Help() string {
	return `Examples: headstack listen --device bench.monitor --tape TAPE.yaml --machine hexastrand --tracks 1,6 --until-enough -o as-found.wav
          headstack listen < samples.raw --raw s24le,48000,8 --tape TAPE.yaml --machine octogrange
          headstack listen --job job-0001 --device bench.monitor --tape TAPE.yaml --case closed

Everything heard is in the file at once. It ends with the input, after --seconds, with --until-enough, or on Ctrl-C; whatever
was heard is kept. Stop the tape, then the capture.`
}

func (v *listenVerb) Run(e *env) error {
	switch {
	case v.Devices:
		return v.list(e)
	case v.Mend != "":
		return v.mend(e)
	case v.Raw == "" && v.Device == "":
		return usage("say what to listen to: --device ID (headstack listen --devices lists them), --device default, or --raw FORMAT,RATE,CHANNELS")
	case v.Raw != "" && (v.Channels > 0 || v.Rate > 0):
		return usage("--raw has rate and channels in it already")
	case v.UntilEnough && v.Tape == "":
		return usage("--until-enough needs --tape: without one nobody knows what is enough")
	case v.Job != "" && v.Tape == "":
		return usage("--job needs --tape: a capture of a job is measured by its test tape")
	case v.Tape != "" && v.Machine == "" && v.Job == "":
		return usage("--tape needs --machine, or the --job that has one")
	case v.Within < 0 || v.Seconds < 0:
		return usage("--within and --seconds are above 0")
	}
	x, err := v.expect(e)
	if err != nil {
		return err
	}
	src, cfg, err := v.source(e, x)
	if err != nil {
		return err
	}
	kept, state, err := v.listen(e, src, cfg)
	v.noteHeard(e, kept, state, err)
	if err != nil && kept.Path == "" {
		return err
	}
	// Ctrl-C ended the listening. What is done with the file is another thing to end.
	ctx, stop := signal.NotifyContext(context.WithoutCancel(e.ctx), os.Interrupt, syscall.SIGTERM)
	defer stop()
	after := *e
	after.ctx = ctx
	return v.keep(&after, x, kept, state, err)
}

// list prints the devices.
func (v *listenVerb) list(e *env) error {
	ds, err := pulse.Devices()
	if err != nil {
		return err
	}
	if v.JSON {
		return printJSON(e.out, ds)
	}
	for _, d := range ds {
		mark := ""
		if d.Default {
			mark = ", the default"
		}
		fmt.Fprintf(e.out, "%s: %s, %d channels, %d Hz%s\n", d.ID, d.Name, d.Channels, d.SampleRate, mark)
	}
	if len(ds) == 0 {
		fmt.Fprintln(e.out, "the sound server has no device to capture from")
	}
	return nil
}

func (v *listenVerb) mend(e *env) error {
	m, err := live.Mend(v.Mend)
	if err != nil {
		return err
	}
	if v.JSON {
		return printJSON(e.out, m)
	}
	switch {
	case !m.Changed:
		fmt.Fprintf(e.out, "%s is in order: %d frames\n", v.Mend, m.Frames)
	case m.CutOff > 0:
		fmt.Fprintf(e.out, "%s is in order again: %d frames; %d bytes of a frame that was written in part are off its end\n", v.Mend, m.Frames, m.CutOff)
	default:
		fmt.Fprintf(e.out, "%s is in order again: %d frames\n", v.Mend, m.Frames)
	}
	return nil
}

// listenTo is what is expected, and by which names.
type listenTo struct {
	live.Expect
	tapeID string // of the bench, with --job
}

// expect opens what the flags name.
func (v *listenVerb) expect(e *env) (x listenTo, err error) {
	x.Case = caseState(v.Case)
	if v.Job != "" {
		err = v.with(e, func(b *job.Bench) error { return x.ofJob(e, b, v) })
	} else if v.Machine != "" {
		x.Machine, err = loadMachine(v.Machine)
	}
	if err == nil && v.Tape != "" && x.Tape == nil {
		x.Tape, err = loadTape(v.Tape)
	}
	if err == nil && v.Tracks != "" {
		count := 99 // without a machine any number is a track
		if x.Machine != nil {
			count = x.Machine.Tracks.Count
		}
		x.Tracks, err = parseTracks(v.Tracks, count)
	}
	return x, err
}

// ofJob takes machine and tape from a job, which is so known to be there before a tape is played.
func (x *listenTo) ofJob(e *env, b *job.Bench, v *listenVerb) error {
	view, err := b.View(e.ctx, v.Job)
	if err != nil {
		return err
	}
	if v.Machine != "" {
		return usage("--machine and --job: the job has a machine already")
	}
	x.Machine = view.Def
	if x.tapeID, err = tapeID(e, b, v.Tape); err != nil {
		return err
	}
	yaml, info, err := b.TapeYAML(e.ctx, x.tapeID)
	if err != nil {
		return err
	}
	x.Tape, err = testtape.Load(info.Name, yaml)
	return err
}

// listenSource pushes what it hears into a session until ctx ends.
type listenSource func(ctx context.Context, s *live.Session) error

// source opens what is listened to.
func (v *listenVerb) source(e *env, x listenTo) (listenSource, live.Config, error) {
	cfg := live.Config{Expect: x.Expect, Want: live.DefaultWant()}
	if v.Within > 0 {
		cfg.Want.LevelDB = v.Within
	}
	var run listenSource
	if v.Raw != "" {
		f, err := live.ParseRaw(v.Raw)
		if err != nil {
			return nil, cfg, usage("--raw %v", err)
		}
		cfg.SampleRate, cfg.Channels, cfg.Source = f.SampleRate, f.Channels, "standard input"
		run = func(ctx context.Context, s *live.Session) error { return live.Feed(ctx, e.in, f, s) }
	} else {
		o := pulse.Options{Device: v.Device, Channels: v.Channels, SampleRate: v.Rate}
		if o.Device == "default" {
			o.Device = ""
		}
		src, err := pulse.Open(o)
		if err != nil {
			return nil, cfg, err
		}
		cfg.SampleRate, cfg.Channels, cfg.Source, cfg.Clocked = src.SampleRate(), src.Channels(), src.Device().ID, true
		run = func(ctx context.Context, s *live.Session) error {
			defer src.Close()
			for _, w := range src.Warnings() {
				s.Warn(w)
			}
			return src.Run(ctx, s)
		}
	}
	count := 0
	if x.Machine != nil {
		count = x.Machine.Tracks.Count
	}
	switch n := len(x.Tracks); {
	case n > 0 && n != cfg.Channels:
		return nil, cfg, usage("%s has %d channels, --tracks names %d tracks for them; 0 leaves a channel out", cfg.Source, cfg.Channels, n)
	case n == 0 && count > 0 && cfg.Channels != count:
		return nil, cfg, usage("%s has %d channels and the machine %d tracks: say with --tracks which track is on each channel, 0 for none", cfg.Source, cfg.Channels, count)
	}
	path := v.Output
	if path == "" {
		path = time.Now().Format("capture-20060102-150405.wav")
	}
	cfg.Folder, cfg.Name = filepath.Dir(path), filepath.Base(path)
	return run, cfg, nil
}

// listen runs one session and tells of it. Kept has no path where nothing began.
func (v *listenVerb) listen(e *env, run listenSource, cfg live.Config) (live.Kept, live.State, error) {
	s, err := live.Start(cfg)
	if err != nil {
		return live.Kept{}, live.State{}, err
	}
	ctx, stop := context.WithCancel(e.ctx)
	defer stop()
	teller := listenTeller{w: e.out}
	if v.JSON {
		teller.w = e.err
	}
	fmt.Fprintf(teller.w, "listening to %s: %d channels, %d Hz, into %s\n", cfg.Source, cfg.Channels, cfg.SampleRate, s.State().File)
	told := make(chan struct{})
	go func() {
		defer close(told)
		for seq := uint64(0); ; {
			st, err := s.Wait(ctx, seq)
			teller.tell(st)
			if err != nil || st.Phase == live.PhaseClosed {
				return
			}
			if v.UntilEnough && st.Enough || v.Seconds > 0 && st.Seconds >= v.Seconds {
				stop()
				return
			}
			seq = st.Seq
		}
	}()
	err = run(ctx, s)
	if errors.Is(err, context.Canceled) {
		err = nil
	}
	stop()
	<-told
	kept, cerr := s.Close()
	st := s.State()
	teller.tell(st)
	if cerr != nil {
		err = cerr
	}
	switch {
	case v.UntilEnough && st.Enough:
		fmt.Fprintln(teller.w, "enough: stop the tape")
	case !st.Enough && slices.ContainsFunc(st.Sections, func(x live.Section) bool { return x.Stage != live.Missed }):
		for _, x := range st.Sections {
			if !x.Enough {
				fmt.Fprintf(teller.w, "not enough of %s: %s\n", x.Name, x.Lacks)
			}
		}
	}
	fmt.Fprintf(teller.w, "kept %s: %.1f s, %d frames, SHA-256 %s\n", kept.Path, kept.Seconds, kept.Frames, kept.SHA256)
	return kept, st, err
}

// noteHeard notes in the log of the bench how a capture of one of its jobs went.
func (v *listenVerb) noteHeard(e *env, kept live.Kept, st live.State, err error) {
	dir, derr := v.folder()
	if v.Job == "" || derr != nil {
		return
	}
	from := "device"
	if v.Raw != "" {
		from = "standard input"
	}
	heard := []any{"verb", "listen", "from", from, "channels", len(st.Channels), "hz", st.SampleRate, "seconds", kept.Seconds, "frames", kept.Frames, "voids", st.VoidCount}
	if err != nil {
		benchLog(e, dir).Error("a capture was cut off", append(heard, "err", err)...)
		return
	}
	benchLog(e, dir).Info("a capture was heard", heard...)
}

// keep puts the file into the job, or says how to measure it. listened is the error that listening ended with.
func (v *listenVerb) keep(e *env, x listenTo, kept live.Kept, st live.State, listened error) error {
	if kept.Frames == 0 {
		return errors.Join(listened, &fault{exitNoJudge, fmt.Errorf("nothing came from %s", st.Source), "is it the right device, and does it run?"})
	}
	if v.Job != "" {
		return errors.Join(listened, v.intoJob(e, x, kept, st))
	}
	if v.JSON {
		if err := printJSON(e.out, st); err != nil {
			return err
		}
	} else if x.Tape != nil {
		fmt.Fprintf(e.out, "measure all of it: headstack measure --machine %s --tape %s --tracks %s --case %s %s\n", v.Machine, v.Tape, trackList(st), v.Case, kept.Path)
	}
	if listened == nil && x.Tape != nil && !slices.ContainsFunc(st.Sections, func(s live.Section) bool { return s.Stage == live.Heard }) {
		return &fault{exitNoJudge, fmt.Errorf("no section of %q was found in %s", x.Tape.Name, kept.Path), "the file is kept; is it this tape, this speed, and did the channels have signal?"}
	}
	return listened
}

func trackList(st live.State) string {
	var t []string
	for _, c := range st.Channels {
		t = append(t, strconv.Itoa(c.Track))
	}
	return strings.Join(t, ",")
}

// intoJob keeps the file as a capture of the job.
func (v *listenVerb) intoJob(e *env, x listenTo, kept live.Kept, st live.State) error {
	f, err := os.Open(kept.Path)
	if err != nil {
		return err
	}
	defer f.Close()
	voids, beside := job.LiveVoids(kept, st)
	tracks := make([]int, len(st.Channels))
	for i, c := range st.Channels {
		tracks[i] = c.Track
	}
	return v.with(e, func(b *job.Bench) error {
		bar := e.progress("measuring " + filepath.Base(kept.Path))
		entry, err := b.AddCapture(e.ctx, v.Job, job.CaptureUpload{Name: filepath.Base(kept.Path), Data: f, Tape: x.tapeID, Interface: v.Interface,
			Tracks: tracks, Case: caseState(v.Case), Remark: v.Remark, Voids: voids, Beside: beside, Progress: bar.at})
		bar.done()
		var unmeasured *job.NotMeasuredError
		if errors.As(err, &unmeasured) {
			return &fault{exitNoJudge, err, "the file is kept; take the entry back with headstack correct, or measure it again with the right tape and tracks"}
		}
		if err != nil {
			return withHint(err, kept.Path+" is kept: headstack capture puts it into the job")
		}
		if !v.JSON {
			printReport(e.out, entry.Capture.Report, false)
		}
		return v.say(e, entry)
	})
}

// listenTeller prints what is new in a state.
type listenTeller struct {
	w        io.Writer
	heard    map[int]bool
	running  int // section that was said to run, from 1
	voids    int
	clipped  map[int]int64
	silent   map[int]bool
	warnings int
}

func (t *listenTeller) tell(st live.State) {
	if t.heard == nil {
		t.heard, t.clipped, t.silent = map[int]bool{}, map[int]int64{}, map[int]bool{}
	}
	for _, s := range st.Sections {
		if s.Stage == live.Running && t.running != s.Index+1 && !t.heard[s.Index] {
			t.running = s.Index + 1
			fmt.Fprintf(t.w, "%7.1f s  %s runs\n", st.Seconds, s.Name)
		}
		if s.Stage == live.Heard && !t.heard[s.Index] {
			t.heard[s.Index] = true
			fmt.Fprintf(t.w, "%7.1f s  %s heard, %s\n", st.Seconds, s.Name, summary(s))
		}
	}
	for _, v := range st.Voids[min(t.voids, len(st.Voids)):] {
		fmt.Fprintf(t.w, "warning: %.2f to %.2f s is not to be believed: %s\n", v.FromS, v.ToS, v.Reason)
	}
	t.voids = len(st.Voids)
	for i, c := range st.Channels {
		if c.Clipped > 2*t.clipped[i] {
			t.clipped[i] = c.Clipped
			fmt.Fprintf(t.w, "warning: channel %d clips, %d samples so far: turn the input down and play it again\n", c.Channel, c.Clipped)
		}
		if c.Silent && !t.silent[i] && c.Track > 0 {
			fmt.Fprintf(t.w, "warning: channel %d is silent\n", c.Channel)
		}
		t.silent[i] = c.Silent
	}
	for _, w := range st.Warnings[min(t.warnings, len(st.Warnings)):] {
		fmt.Fprintf(t.w, "warning: %s\n", w)
	}
	t.warnings = len(st.Warnings)
}

// summary is a section in a line: its levels with the widest interval, its speed.
func summary(s live.Section) string {
	word := "not enough: " + s.Lacks
	if s.Enough {
		word = "enough"
	}
	if s.ToneHz == 0 {
		return fmt.Sprintf("%.1f s of silence, %s", s.EndS-s.StartS, word)
	}
	var levels []string
	widest := 0.
	var speed *measure.Result
	for _, r := range s.Figures {
		switch {
		case r.Name == "level" && r.Refused != "":
			levels = append(levels, fmt.Sprintf("track %d none", r.Track))
		case r.Name == "level":
			levels = append(levels, fmt.Sprintf("track %d %s", r.Track, unit.Figure{Value: r.Value, Lo: r.Lo, Hi: r.Hi, Unit: r.Unit}.Number()))
			widest = math.Max(widest, (r.Hi-r.Lo)/2)
		case r.Name == "speed_error" && r.Refused == "" && (speed == nil || r.Hi-r.Lo < speed.Hi-speed.Lo):
			speed = &r
		}
	}
	out := "dBFS: " + strings.Join(levels, ", ")
	if widest > 0 {
		out += fmt.Sprintf(" (±%.2g or less)", widest)
	}
	if speed != nil {
		out += "; speed " + speed.Figure().String()
	}
	return out + "; " + word
}
