package measure

import (
	"fmt"

	"headstack/programme"
)

// toneTake is one tone section, channel by channel; channels is nil where there
// was nothing to measure, for the reason given.
type toneTake struct {
	reason   string
	partial  bool
	carrier  float64
	channels []*toneChannel       // by channel, nil where unused
	common   *toneFit             // the phases of all channels together
	pairs    map[[2]int]*pairTone // by two channels: compared once, climbed anew each time
}

// oneTone tells the kinds of sections that carry the same single tone on all tracks.
func oneTone(k programme.Kind) bool { return k == programme.Tone || k == programme.Step }

// hearTone follows the tone of a section.
func hearTone(t *take, at stretch, c int) listener {
	if !oneTone(at.kind) {
		return nil
	}
	tt := t.tones[at.index]
	if tt == nil {
		tt = &toneTake{partial: at.partial}
		t.tones[at.index] = tt
		band, ok := toneBand(at.section.ToneHz*at.ratio, t.rate)
		if !ok {
			tt.reason = fmt.Sprintf("tone absent: %.0f Hz does not fit below half the sample rate of %.0f Hz", at.section.ToneHz*at.ratio, t.rate)
			return nil
		}
		tt.carrier, tt.channels = band.CarrierHz, make([]*toneChannel, len(t.tracks))
	}
	if tt.channels == nil {
		return nil
	}
	band, _ := toneBand(at.section.ToneHz*at.ratio, t.rate)
	tt.channels[c] = newToneChannel(t.rate, band)
	tt.channels[c].demod.Expect(at.seconds)
	tt.channels[c].passedThrough(t.face, c+1)
	return tt.channels[c]
}

// passedThrough notes the gain of the capture interface at the tone, to be taken off.
func (ch *toneChannel) passedThrough(f *Interface, channel int) {
	if f == nil {
		return
	}
	if ch.face, ch.faceKnown = f.GainDB(channel, ch.band.CarrierHz); !ch.faceKnown {
		ch.faceWarning = fmt.Sprintf("interface response not removed: its loop-back has no figure for channel %d at %s", channel, kilohertz(ch.band.CarrierHz))
	}
}

// toneTake is what was heard of a section's tone, or why nothing was.
func (t *take) toneTake(index int) *toneTake {
	if tt := t.tones[index]; tt != nil {
		return tt
	}
	_, why := t.heardBy("tones", index)
	return &toneTake{reason: why}
}
