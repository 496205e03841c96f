package sim

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"os"
	"sort"

	"headstack/capture"
	"headstack/dsp"
	"headstack/programme"
)

// RenderRecording records the programme, replays it, and writes the capture as WAV to
// w. The truth it returns is valid when the error is nil; that is [ErrScenario], the
// error of ctx, or one of writing. The same recording gives the same bytes.
func RenderRecording(ctx context.Context, w io.WriteSeeker, rec Recording) (RecordingTruth, error) {
	s, truth, err := rec.Play()
	if err != nil {
		return RecordingTruth{}, err
	}
	fail := func(err error) (RecordingTruth, error) {
		return RecordingTruth{}, fmt.Errorf("rendering %s: %w", rec.Programme.Name, err)
	}
	out, err := capture.NewWriter(w, rec.spec())
	if err != nil {
		return fail(err)
	}
	block := make([][]float64, s.Channels())
	for c := range block {
		block[c] = make([]float64, blockFrames)
	}
	for {
		if err := ctx.Err(); err != nil {
			return RecordingTruth{}, err
		}
		n, err := s.Read(block)
		if errors.Is(err, io.EOF) {
			break
		}
		if err := out.Write(block, n); err != nil {
			return fail(err)
		}
	}
	if err := out.Close(); err != nil {
		return fail(err)
	}
	return truth, nil
}

// RenderRecordingFile renders to a file and writes the truth to [TruthPath] beside it.
// A capture that could not be finished is removed. Errors are those of
// [RenderRecording] and of the files.
func RenderRecordingFile(ctx context.Context, wav string, rec Recording) (truth RecordingTruth, err error) {
	f, err := os.Create(wav)
	if err != nil {
		return RecordingTruth{}, fmt.Errorf("rendering a recording: %w", err)
	}
	truth, err = RenderRecording(ctx, f, rec)
	if closing := f.Close(); err == nil && closing != nil {
		err = fmt.Errorf("rendering a recording: %w", closing)
	}
	if err == nil {
		err = writeJSONFile(TruthPath(wav), truth)
	}
	if err != nil {
		os.Remove(wav) // half a capture without its truth is of no use
		return RecordingTruth{}, err
	}
	return truth, nil
}

// Play is the replay as a stream of samples before rounding, with its truth: a capture
// that never was a file. The error is [ErrScenario].
func (r Recording) Play() (dsp.Stream, RecordingTruth, error) {
	if err := r.check(); err != nil {
		return nil, RecordingTruth{}, err
	}
	p := newPlayer(&r)
	return p, p.truth(), nil
}

// player holds one block and what runs on from block to block.
type player struct {
	rec      *Recording
	rate     float64
	warp     warp
	segments []segment
	heard    [][][]component // per segment, per channel
	voices   []recordVoice
	total    int64
	first    int64 // frame at which the block begins
	given    int   // frames of the block already handed out
	ready    int   // frames in the block

	tau      []float64 // of each frame
	sin, cos []float64
	out      [][]float64
}

// recordVoice is what one channel has of its own.
type recordVoice struct {
	voice
	slow flicker
	ends []float64 // steadiness at the ends of hops
}

func newPlayer(r *Recording) *player {
	p := &player{rec: r, rate: float64(r.SampleRate), warp: r.warp(), segments: r.segments()}
	p.tau, p.sin, p.cos = make([]float64, blockFrames), make([]float64, blockFrames), make([]float64, blockFrames)
	p.total = int64(p.warp.when(r.endOfTape()-r.CutTailS) * p.rate)
	sc := Scenario{Seed: r.Seed}
	for c := range r.channels() {
		track := r.played(c)
		t := r.Tracks[track-1]
		v := recordVoice{voice: voice{track: track, hiss: newHiss(t.Noise, p.rate, sc.random(streamNoise+uint64(track))), hum: t.Hum.series(r.MainsHz)}}
		v.slow = newFlicker(t.Flicker, sc.random(streamFlicker+uint64(track-1)))
		v.ends = make([]float64, blockFrames/hop+1)
		if t.ClipDBFS < 0 {
			v.clip = math.Pow(10, t.ClipDBFS/20)
		}
		p.voices = append(p.voices, v)
		p.out = append(p.out, make([]float64, blockFrames))
	}
	for _, s := range p.segments {
		channels := make([][]component, len(p.voices))
		for c := range channels {
			channels[c] = r.heard(c, s)
		}
		p.heard = append(p.heard, channels)
	}
	return p
}

func (p *player) Channels() int         { return len(p.voices) }
func (p *player) SampleRate() float64   { return p.rate }
func (p *player) Frames() (int64, bool) { return p.total, true }

func (p *player) Read(dst [][]float64) (int, error) {
	if p.given == p.ready {
		p.first += int64(p.ready)
		p.given, p.ready = 0, int(min(blockFrames, p.total-p.first))
		if p.ready <= 0 {
			p.ready = 0
			return 0, io.EOF
		}
		p.block()
	}
	n := min(len(dst[0]), p.ready-p.given)
	for c := range dst {
		copy(dst[c][:n], p.out[c][p.given:])
	}
	p.given += n
	return n, nil
}

// block renders blockFrames frames from first on.
func (p *player) block() {
	p.warp.fill(p.tau, p.first, p.rate)
	for c, o := range p.out {
		clear(o)
		v := &p.voices[c]
		v.hiss.add(o)
		addHum(o, v.hum, p.first, p.rate)
	}
	for i, s := range p.segments {
		from := sort.SearchFloat64s(p.tau, s.start)
		to := sort.SearchFloat64s(p.tau, s.end)
		if from < to {
			p.segment(s, p.heard[i], from, to)
		}
	}
	for c, v := range p.voices {
		if v.clip > 0 {
			for i, x := range p.out[c] {
				p.out[c][i] = max(-v.clip, min(v.clip, x))
			}
		}
	}
}

// segment adds frames [from, to) of a segment to every channel. Each frequency is
// worked out once for all channels that have it.
func (p *player) segment(s segment, heard [][]component, from, to int) {
	at := make([]int, len(heard)) // next component of each channel
	g := gate{s.start, s.end, programme.RampSeconds}
	for {
		hz := math.Inf(1)
		for c, list := range heard {
			if at[c] < len(list) {
				hz = min(hz, list[at[c]].hz)
			}
		}
		if math.IsInf(hz, 1) {
			return
		}
		for i := from; i < to; i++ {
			cycles := hz * (p.tau[i] - s.origin)
			sin, cos := math.Sincos(2 * math.Pi * (cycles - math.Floor(cycles)))
			e := g.at(p.tau[i])
			p.sin[i], p.cos[i] = sin*e, cos*e
		}
		for c, list := range heard {
			if at[c] < len(list) && list[at[c]].hz-hz < 1e-6 {
				p.add(c, list[at[c]], from, to)
				at[c]++
			}
		}
	}
}

// add adds one component to a channel.
func (p *player) add(channel int, c component, from, to int) {
	o, re, im := p.out[channel], real(c.amp), imag(c.amp)
	v := &p.voices[channel]
	t := p.rec.Tracks[v.track-1]
	if !t.unsteady() {
		for i := from; i < to; i++ {
			o[i] += re*p.sin[i] + im*p.cos[i]
		}
		return
	}
	for j := from / hop; j <= (to-1)/hop+1; j++ {
		v.ends[j] = t.steadiness(v.slow, c.hz, float64(p.first+int64(j)*hop)/p.rate)
	}
	for i := from; i < to; i++ {
		j, u := i/hop, float64(i%hop)/hop
		o[i] += (re*p.sin[i] + im*p.cos[i]) * (v.ends[j] + u*(v.ends[j+1]-v.ends[j]))
	}
}

// amplitude is the peak of a component at a frequency in a list, 0 when it is not
// there.
func amplitude(list []component, hz float64) float64 {
	for _, c := range list {
		if math.Abs(c.hz-hz) < 1e-6 {
			return cmplx.Abs(c.amp)
		}
	}
	return 0
}
