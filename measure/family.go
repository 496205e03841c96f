package measure

import (
	"headstack/programme"
	"headstack/testtape"
)

// family is one group of measures: what it must hear while the capture goes by, and
// what it makes of it afterwards. A family lives in a file of its own.
type family struct {
	name string
	// hear returns what listens to one channel in a stretch; nil when the stretch
	// does not concern the family. Listeners of one channel are called by one
	// goroutine at a time, those of different channels side by side.
	hear func(t *take, at stretch, channel int) listener
	// results and traces are called once all captures were heard; either may be nil.
	results func(s *session) []Result
	traces  func(s *session) []Trace
}

// families in the order of a report.
var families = []family{
	{name: "tones", hear: hearTone, results: (*session).toneResults},
	{name: "comb", hear: hearComb, results: (*session).combResponses},
	{name: "crosstalk", hear: hearOneTrack, results: (*session).crosstalks},
	{name: "identity", hear: hearIdentity, results: (*session).identities},
	{name: "erase", hear: hearErase, results: (*session).erasures},
	{name: "staircase", hear: hearStaircase, traces: (*session).staircases},
	{name: "speed", hear: hearSpeed, results: (*session).speedResults, traces: (*session).speedTraces},
	{name: "distortion", hear: hearDistortion, results: (*session).distortions, traces: (*session).stepTraces},
	{name: "companding", hear: hearCompanding, results: (*session).compandings},
	{name: "noise", hear: hearSilence, results: (*session).noises},
	{name: "flicker", results: (*session).flickers, traces: (*session).levelTimes},
}

// stretch is a section of the tape, or a part of a programme, as it is heard in one
// capture.
type stretch struct {
	index   int // in Options.Tape.Sections, and in Programme.Parts if there is one
	section testtape.Section
	part    *programme.Part // nil on a test tape
	kind    programme.Kind
	speed   bool    // the speed is followed here, for wow and flutter
	ratio   float64 // actual over nominal speed, about
	partial bool    // cut by the start or end of the capture
	atRef   bool    // it is the reference section
	rate    float64 // of the capture, Hz
	seconds float64 // that are heard; the first sample heard is fromS into the capture
	fromS   float64
	startS  float64 // of the whole section, edges included, in the capture
	endS    float64
}

// kindOf says what section i is for.
func kindOf(p *programme.Programme, sec testtape.Section, i int) programme.Kind {
	switch {
	case p != nil:
		return p.Parts[i].Kind
	case sec.ToneHz == 0:
		return programme.Silence
	}
	return programme.Tone
}

// heard is what a family hears in one stretch of one capture.
type heard struct {
	at   stretch
	ears []listener // by channel, nil where the family hears nothing
}

// heardBy returns what a family heard in section index of a take, and why it heard
// nothing.
func (t *take) heardBy(familyName string, index int) (h *heard, why string) {
	if h = t.heard[familyName][index]; h != nil {
		return h, ""
	}
	if why = t.missing[index]; why == "" {
		why = "section not found"
	}
	return nil, why
}

// kind is that of section i.
func (s *session) kind(i int) programme.Kind {
	return kindOf(s.prog, s.opt.Tape.Sections[i], i)
}
