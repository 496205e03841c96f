package programme

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"headstack/dsp"
	"headstack/testtape"
)

// Finding says where the parts of a round lie in a replay.
type Finding struct {
	// Parts has one entry for each part of the programme, in its order.
	Parts []Located `json:"parts"`
	// SpeedRatio is the speed of replay over that of recording; 0 when nothing was
	// found. It is good to about 0.02 %: enough to place windows, not the measure of
	// speed.
	SpeedRatio float64 `json:"speed_ratio"`
	// Warnings are doubts about the whole, in sentences.
	Warnings []string `json:"warnings,omitempty"`
}

// Located is one part's place in the replay.
type Located struct {
	// Index is the part's place in Programme.Parts.
	Index int  `json:"index"`
	Found bool `json:"found"`
	// Partial is true when the capture begins or ends inside the part.
	Partial bool `json:"partial,omitempty"`
	// StartS and EndS are seconds from the first sample, good to about 0.1 s. Both 0
	// when not found.
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
	// Reason says why the part was not found.
	Reason string `json:"reason,omitempty"`
}

// ErrChannels is the error of a list of tracks that does not suit the stream or round.
var ErrChannels = errors.New("channels do not suit the round")

// Locate finds the parts of a round, from 0, in a stream that holds its replay at
// unknown start and speed, reading it once to its end. channels gives the track on
// each channel of the stream, from 1, 0 for none; only the round's tracks are listened
// to. Which of them is which does not matter: wrong order of cables is for the
// identity part to show.
//
// Parts with one steady tone on all tracks are looked for with
// [testtape.Find]; the others are placed between and beside them, since a recording
// runs through: replay time is a line through the edges found, straight from edge to
// edge. Beyond the outermost tones heard, parts count as recorded as far as their level
// says so. What leaks in from the channels of other rounds is left out. A programme of which too little is heard is not found at all. That is no
// error: all parts are then not found and a warning says so. Errors are [ErrRound],
// [ErrChannels], that of [Programme.Check], of the stream, or of ctx.
func (p *Programme) Locate(ctx context.Context, stream dsp.Stream, channels []int, round int) (*Finding, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	s, err := p.pick(stream, channels, round)
	if err != nil {
		return nil, err
	}
	tape, index := p.anchors()
	found, err := testtape.Find(ctx, s, tape)
	if err != nil {
		return nil, fmt.Errorf("finding the parts of %q: %w", p.Name, err)
	}
	l := &locator{p: p, heardBy: s, seconds: float64(s.frames) / s.SampleRate(), ratio: found.SpeedRatio, warnings: found.Warnings}
	for k, sec := range found.Sections {
		if a := l.anchor(index[k], sec); a.found && l.ratio > 0 {
			l.heard = append(l.heard, a)
		}
	}
	return l.finding(), nil
}

// pick leaves in the stream the channels with tracks of the round.
func (p *Programme) pick(stream dsp.Stream, channels []int, round int) (*picked, error) {
	if round < 0 || round >= len(p.Rounds) {
		return nil, fmt.Errorf("%w: round %d of %d", ErrRound, round+1, len(p.Rounds))
	}
	if len(channels) != stream.Channels() {
		return nil, fmt.Errorf("%w: tracks are given for %d channels, the capture has %d", ErrChannels, len(channels), stream.Channels())
	}
	s := &picked{Stream: stream, all: make([][]float64, len(channels))}
	for c, track := range channels {
		if slices.Contains(p.Rounds[round], track) {
			s.use = append(s.use, c)
		} else {
			s.rest = append(s.rest, c)
		}
	}
	s.hop = max(1, int(hopSeconds*stream.SampleRate()))
	s.sums = make([]float64, 2*len(s.use))
	if len(s.use) == 0 {
		return nil, fmt.Errorf("%w: none of the tracks %v of round %d is on a channel; those are %v", ErrChannels, p.Rounds[round], round+1, channels)
	}
	return s, nil
}

// strongDB is the least level of a tone by which a programme is recognised: well above
// the same tone in a comb.
const strongDB = -15.0

// anchors are the parts by which the programme is recognised, as a tape, and the index
// of each in Parts: single tones on all tracks, stronger than those of a comb, of
// frequencies that any machine replays. Steps of level and parts of one track were tried
// and took each other's places where a track was dead or the comb near.
func (p *Programme) anchors() (*testtape.Tape, []int) {
	t := p.emptyTape()
	var index []int
	for i, part := range p.Parts {
		lead, ok := part.Lead()
		if part.Kind == Tone && part.All != nil && ok && lead.Hz <= plainHz && lead.LevelDB >= strongDB {
			t.Sections = append(t.Sections, p.section(i))
			index = append(index, i)
		}
	}
	return t, index
}
