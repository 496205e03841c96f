package testtape

import "sort"

const (
	// searchWidth is how far from its nominal frequency a tone is looked for:
	// the promised 6 % of speed and a little for flutter.
	searchWidth = 0.07
	// frameSeconds is the least length of a spectrum. At 0.08 s a 31.5 Hz tone
	// has 2.5 cycles, the least that its frequency can be read from.
	frameSeconds = 0.08
	// levelFloorDB is the level kept for nothing at all; levels are kept in half
	// decibels above it.
	levelFloorDB = -125.
	// hissHz is where tape noise is told from hum.
	hissHz = 1000.
	// humTopHz is where hum and its strong harmonics end.
	humTopHz = 220.
)

// features is what is kept of a capture: for each frame (centred at frame·hop)
// and each distinct tone of the tape, the strongest spectral line within
// searchWidth of the nominal frequency.
type features struct {
	rate      float64 // after halving
	halvings  int     // how often the capture's rate was halved
	channels  int
	tones     []float64 // distinct nominal frequencies, rising
	hop       int       // samples at rate
	blockHops int       // hops read at a time, at most
	binHz     float64
	frames    int
	samples   int64 // at the capture's own rate

	// Per frame and tone, from the channel where the line stands out most.
	offset  []int16 // (line/nominal - 1)·1e5
	snr     []uint8 // half dB above the spectrum around it; 0 for no line
	channel []uint8
	over    []uint8 // half dB above any other line above humTopHz
	// Per frame, tone and channel.
	level []uint8 // half dB above levelFloorDB re a full-scale sine
	// Per frame and channel.
	total []uint8
	// Per frame and channel: the same above hissHz, which hum hardly reaches.
	hiss []uint8
	// Per frame: frequency of the strongest line of all, any channel.
	loudest []float32

	truncated bool  // the capture was longer than memory allows
	notFinite int64 // samples that were NaN or infinite
}

func (f *features) seconds(frame int) float64 { return float64(frame) * float64(f.hop) / f.rate }
func (f *features) captureRate() float64      { return f.rate * float64(int(1)<<f.halvings) }
func (f *features) duration() float64         { return float64(f.samples) / f.captureRate() }
func (f *features) perSecond() float64        { return f.rate / float64(f.hop) }

// toneIndex is the place of a frequency in tones.
func (f *features) toneIndex(hz float64) int { return sort.SearchFloat64s(f.tones, hz) }

// levelDB is a tone's level in a frame and channel, dBFS.
func (f *features) levelDB(frame, tone, channel int) float64 {
	return levelFloorDB + 0.5*float64(f.level[(frame*len(f.tones)+tone)*f.channels+channel])
}

// perChannelDB reads total or hiss.
func (f *features) perChannelDB(of []uint8, frame, channel int) float64 {
	return levelFloorDB + 0.5*float64(of[frame*f.channels+channel])
}

func distinctTones(t *Tape) []float64 {
	var tones []float64
	for _, s := range t.Sections {
		if s.Silent() {
			continue
		}
		k := sort.SearchFloat64s(tones, s.ToneHz)
		if k == len(tones) || tones[k] != s.ToneHz {
			tones = append(tones, 0)
			copy(tones[k+1:], tones[k:])
			tones[k] = s.ToneHz
		}
	}
	return tones
}

// merge adds one frame, as the channels heard it, to the features.
func (f *features) merge(heard []*sound) {
	k := len(f.tones)
	var loud, loudHz float64
	for _, s := range heard {
		f.total = append(f.total, s.total)
		f.hiss = append(f.hiss, s.hiss)
		if s.loud > loud {
			loud, loudHz = s.loud, s.loudHz
		}
	}
	f.loudest = append(f.loudest, float32(loudHz))
	for i := range k {
		best := 0
		for c, s := range heard {
			f.level = append(f.level, s.lines[i].level)
			if s.lines[i].snr > heard[best].lines[i].snr {
				best = c
			}
		}
		line := heard[best].lines[i]
		f.offset = append(f.offset, line.offset)
		f.snr = append(f.snr, line.snr)
		f.over = append(f.over, line.over)
		f.channel = append(f.channel, uint8(min(best, 255)))
	}
	f.frames++
}
