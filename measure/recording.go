package measure

import (
	"context"
	"errors"

	"headstack/dsp"
	"headstack/programme"
	"headstack/testtape"
)

// ErrNoProgramme is returned by [Recording] without a programme.
var ErrNoProgramme = errors.New("no record programme given")

// Recording measures replays of a record programme, which the sources hold as the
// machine under test recorded and replayed it. A programme recorded in rounds is looked
// for round by round, in each source on the tracks that it has; rounds and sources are
// merged into one report. Options.Tape is not used. Otherwise as [TestTape].
func Recording(ctx context.Context, sources []Source, p *programme.Programme, opt Options) (Report, error) {
	return recording(ctx, sources, p, opt, locateProgramme(p))
}

// locateProgramme is the finding of [Recording].
func locateProgramme(p *programme.Programme) locateRound {
	return func(ctx context.Context, s dsp.Stream, channels []int, round int) (finding, error) {
		f, err := p.Locate(ctx, s, channels, round)
		if err != nil {
			return finding{}, err
		}
		out := finding{ratio: f.SpeedRatio, warnings: f.Warnings}
		for _, l := range f.Parts {
			out.places = append(out.places, place{index: l.Index, found: l.Found, partial: l.Partial, startS: l.StartS, endS: l.EndS, reason: l.Reason})
		}
		return out, nil
	}
}

// locateRound finds the parts of one round of a programme in a stream.
type locateRound func(ctx context.Context, s dsp.Stream, channels []int, round int) (finding, error)

// recording measures replays of p with the finding of its parts given.
func recording(ctx context.Context, sources []Source, p *programme.Programme, opt Options, locate locateRound) (Report, error) {
	if p == nil {
		return Report{}, ErrNoProgramme
	}
	opt.programme, opt.Tape = p, partsAsTape(p)
	var rounds []round
	for i, tracks := range p.Rounds {
		rounds = append(rounds, round{tracks: tracks, find: func(ctx context.Context, src Source, s dsp.Stream) (finding, error) {
			return locate(ctx, s, src.Tracks, i)
		}})
	}
	return measureRounds(ctx, sources, opt, rounds)
}

// partsAsTape is the programme as a tape with a section for each part: the measures of
// single tones and silences are the same for both. Levels are re the programme's 0 dB.
func partsAsTape(p *programme.Programme) *testtape.Tape {
	t := &testtape.Tape{Format: 1, Name: p.Name, SpeedCmS: p.SpeedCmS, TrackLayout: testtape.PerTrack}
	t.Reference.ToneHz = p.ReferenceHz
	for _, part := range p.Parts {
		sec := testtape.Section{Name: part.Name, Seconds: part.Seconds}
		if lead := leadOf(p, part); lead != nil {
			sec.ToneHz, sec.LevelDB = lead.Hz, lead.LevelDB
		}
		t.Sections = append(t.Sections, sec)
	}
	return t
}

// leadOf is the first tone that any track carries in a part.
func leadOf(p *programme.Programme, part programme.Part) *programme.Sine {
	for track := 1; track <= p.Tracks; track++ {
		if on := part.On(track); len(on) > 0 {
			return &on[0]
		}
	}
	return nil
}
