package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"headstack/live"
	"headstack/measure"
	"headstack/unit"
)

// heardView is a capture in progress as its page shows it.
type heardView struct {
	Headline shape  // whether the tape may be stopped
	Say      string // the same in a sentence
	Time     string // 3:12
	Facts    string
	Channels []channelView
	Slips    []string
	Warnings []string
	Sections []heardSection
	Azimuth  string
	Late     string
	Failed   string
}

type channelView struct {
	Name, Level, Peak string
	Meter             float64 // dBFS, from lowest
	Marks             []shape
	Why               string
}

type heardSection struct {
	Name    string
	Mark    shape
	Figures []heardFigure
	Why     string
}

type heardFigure struct{ What, Figure string }

// lowest is where a level meter begins, dBFS.
const lowest = -72

// heardOf shows a state.
func heardOf(h *hearing, st live.State) heardView {
	v := heardView{Time: tapeClock(st.Seconds), Facts: h.Source + ", " + number(float64(st.SampleRate)/1000) + unit.ThinSpace + "kHz, file " + h.File, Warnings: st.Warnings, Failed: st.Error}
	for _, c := range st.Channels {
		v.Channels = append(v.Channels, channelOf(c))
	}
	for i, x := range st.Voids {
		if i == 8 {
			break
		}
		v.Slips = append(v.Slips, voidText(x))
	}
	if n := st.VoidCount - len(v.Slips); n > 0 {
		v.Slips = append(v.Slips, plural(n, "further place", "further places")+" not to be believed")
	}
	enough := 0
	for _, s := range st.Sections {
		v.Sections = append(v.Sections, sectionOf(s))
		enough += btoi(s.Enough)
	}
	for _, a := range st.Azimuth {
		if a.Refused == "" {
			v.Azimuth = a.Figure().String()
		}
	}
	if st.LateS > 5 {
		v.Late = fmt.Sprintf("Figures are %.0f\u2009s behind the sound; they catch up, and none is lost.", st.LateS)
	}
	v.headline(st, enough)
	return v
}

// headline says whether the tape may be stopped. The words are our own.
func (v *heardView) headline(st live.State, enough int) {
	running := slices.IndexFunc(st.Sections, func(s live.Section) bool { return s.Stage == live.Running })
	of := fmt.Sprintf("%d of %s good enough", enough, plural(len(st.Sections), "section", "sections"))
	switch {
	case st.Phase == live.PhaseFailed:
		v.Headline, v.Say = shape{"suspect", "✕", "the file does not grow any more"}, "What came until then is kept. Stop the tape."
	case st.Enough:
		v.Headline, v.Say = shape{"proved", "■", "enough: stop the tape"}, "Every section is heard well enough. Running on only wears the tape."
	case st.Frames == 0:
		v.Headline, v.Say = shape{"unknown", "○", "waiting for the sound"}, "Nothing arrived yet."
	case len(st.Sections) == 0:
		v.Headline, v.Say = shape{"due", "▶", "listening"}, "What was played is not recognised while it runs; it is measured at the stop."
	case running >= 0:
		v.Headline, v.Say = shape{"due", "▶", "go on: " + st.Sections[running].Name}, of+"."
	case enough == 0 && !slices.ContainsFunc(st.Sections, func(s live.Section) bool { return s.Stage == live.Heard }):
		v.Headline, v.Say = shape{"unknown", "○", "no tone of the tape yet"}, "Start the tape, and look whether the level moves."
	default:
		v.Headline, v.Say = shape{"due", "▶", "go on"}, of+"."
	}
}

func channelOf(c live.Channel) channelView {
	v := channelView{Name: strconv.Itoa(c.Track), Level: levelText(c.RMSDBFS), Peak: levelText(c.MaxPeakDBFS), Meter: math.Round(10*max(lowest, min(0, c.RMSDBFS))) / 10}
	if c.Track == 0 {
		v.Name = "–"
	}
	if c.Clipped > 0 {
		v.Marks = append(v.Marks, shape{"suspect", "✕", "clipped"})
		v.Why = plural(int(c.Clipped), "sample", "samples") + " at full scale"
		if len(c.ClippedAtS) > 0 {
			v.Why += ", first at " + tapeClock(c.ClippedAtS[0])
		}
		v.Why += ": turn the interface’s input down and take it again"
	}
	if c.Silent {
		v.Marks = append(v.Marks, shape{"suspect", "▲", "silent"})
	}
	if c.Clipped == 0 && c.MaxPeakDBFS > -3 {
		v.Marks = append(v.Marks, shape{"retake", "◆", "close to full scale"})
	}
	return v
}

// levelText is a level of the moment: it moves, and has no interval.
func levelText(db float64) string {
	if db <= -150 {
		return "nothing"
	}
	return unit.Signed(db, 1) + unit.ThinSpace + "dBFS"
}

// tapeClock writes a time in the capture: 3:07.2
func tapeClock(s float64) string {
	tenths := int(math.Round(10 * max(0, s)))
	return fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10)
}

// voidText says where a capture is not to be believed, and why.
func voidText(v live.Void) string {
	t := tapeClock(v.FromS) + " to " + tapeClock(v.ToS)
	if v.Channel > 0 {
		t += ", channel " + strconv.Itoa(v.Channel)
	}
	t += " is not believed: " + v.Reason
	switch {
	case v.Frames > 0:
		t += ", about " + plural(int(v.Frames), "frame", "frames") + " missing"
	case v.Frames < 0:
		t += ", about " + plural(int(-v.Frames), "frame", "frames") + " repeated"
	}
	return t
}

func sectionOf(s live.Section) heardSection {
	v := heardSection{Name: s.Name}
	switch {
	case s.Stage == live.NotYet:
		v.Mark = shape{"unknown", "○", "not yet"}
	case s.Stage == live.Missed:
		v.Mark, v.Why = shape{"suspect", "✕", "missed"}, s.Reason
	case s.Voided && !s.Enough:
		v.Mark, v.Why = shape{"retake", "◆", "re-take"}, "a slip lies in it"
	case s.Enough:
		v.Mark = shape{"proved", "■", "enough"}
		if s.Voided {
			v.Why = "a slip lies in it; the figures are of the stretch beside it"
		}
	case s.Stage == live.Running:
		v.Mark, v.Why = shape{"due", "▶", "running"}, s.Lacks
	default:
		v.Mark, v.Why = shape{"suspect", "▲", "too short"}, s.Lacks
	}
	for _, r := range s.Figures {
		v.Figures = append(v.Figures, heardFigure{measureWord(r), r.Figure().String()})
	}
	return v
}

// measureWord names a figure in a few words: "level, track 3".
func measureWord(r measure.Result) string {
	word := map[string]string{"speed_error": "speed", "azimuth_line": "azimuth"}[r.Name]
	if word == "" {
		word = r.Name
	}
	switch {
	case r.TrackB > 0:
		return fmt.Sprintf("%s %d to %d", word, r.Track, r.TrackB)
	case r.Track > 0:
		return fmt.Sprintf("%s %d", word, r.Track)
	}
	return word
}
