package testtape

import (
	"errors"
	"fmt"
	"strings"
	"unicode"

	"github.com/goccy/go-yaml/token"
)

// Ranges of plausible values. They are wide: their aim is to catch a wrong unit
// or a slipped digit. Common practice, no source, except where said.
const (
	minSpeedCmS, maxSpeedCmS   = 1, 160    // slowest loggers about 1.2, fastest studio decks 152.4
	minFluxivity, maxFluxivity = 10, 2000  // nWb/m; reference levels in the trade are 100 to 1040
	minToneHz, maxToneHz       = 10, 24000 // Hz
	minHighUs, maxHighUs       = 1, 1000   // µs; 17.5 to 280 are in use
	maxLowUs                   = 20000     // µs; 1590 and 3180 are in use
	minLevelDB, maxLevelDB     = -100, 20  // dB re reference fluxivity
	maxSeconds                 = 3600      // s
	maxSections, maxNameLength = 400, 100
	maxConventionLength        = 60
)

// problem is a mistake at a path such as "sections[3].seconds".
type problem struct{ path, problem, want string }

// Check returns an *[Error], or several joined, when the values contradict the
// format or each other; Load has checked already. Tapes from elsewhere (a web
// form, JSON) are checked with it.
func (t *Tape) Check() error {
	var errs []error
	for _, p := range t.problems() {
		errs = append(errs, &Error{Problem: p.problem, Want: p.want})
	}
	return errors.Join(errs...)
}

// missing lists required keys that the file does not have. Zero is a value, so
// the tree must be asked.
func missing(t *Tape, places map[string]*token.Token) []problem {
	var list []problem
	need := func(path, want string) {
		if _, ok := places[path]; !ok {
			list = append(list, problem{path, path + " is missing", want})
		}
	}
	need("testtape", `begin the file with "testtape: 1"`)
	need("name", "give the tape a name of your own")
	need("speed_cm_s", "give the nominal speed in cm/s, such as 9.525 or 38.1")
	need("reference.fluxivity_nwb_m", "give the certificate's reference fluxivity in nWb/m")
	need("reference.tone_hz", "give the frequency of the reference tone in Hz")
	need("reference.convention", "say short-circuit or open-circuit")
	need("equalisation_us.high", "give the high-frequency time constant in µs")
	need("equalisation_us.low", "give the low-frequency time constant in µs, 0 for none")
	need("track_layout", "say full-width or per-track")
	if t.TrackLayout == FullWidth {
		need("fringing_compensated", "say true or false as the certificate does; a full-width tape reads wrong in the bass without it")
	}
	need("sections", "list the tape's sections in playing order")
	for i, s := range t.Sections {
		at := fmt.Sprintf("sections[%d].", i)
		need(at+"name", "name the section")
		need(at+"tone_hz", "give the frequency in Hz, 0 for silence")
		need(at+"seconds", "give the length in seconds at nominal speed")
		if !s.Silent() {
			need(at+"level_db", "give the level in dB re the reference fluxivity")
		}
	}
	return list
}

// problems lists every value that cannot be right.
func (t *Tape) problems() []problem {
	var c checker
	if t.Format != 1 {
		c.bad("testtape", "this program reads format 1", "is %d", t.Format)
	}
	c.name("name", t.Name, maxNameLength)
	c.within("speed_cm_s", t.SpeedCmS, minSpeedCmS, maxSpeedCmS, "cm/s")
	c.within("reference.fluxivity_nwb_m", t.Reference.FluxivityNWbM, minFluxivity, maxFluxivity, "nWb/m")
	c.within("reference.tone_hz", t.Reference.ToneHz, minToneHz, maxToneHz, "Hz")
	c.name("reference.convention", t.Reference.Convention, maxConventionLength)
	c.within("equalisation_us.high", t.EqualisationUs.High, minHighUs, maxHighUs, "µs")
	c.within("equalisation_us.low", t.EqualisationUs.Low, 0, maxLowUs, "µs")
	if low := t.EqualisationUs.Low; low > 0 && low <= t.EqualisationUs.High {
		c.bad("equalisation_us.low", "the low-frequency constant is the longer one; 0 for none", "is %g µs, not above the high-frequency constant of %g µs", low, t.EqualisationUs.High)
	}
	if t.TrackLayout != FullWidth && t.TrackLayout != PerTrack {
		c.bad("track_layout", "say full-width or per-track", "is %q", string(t.TrackLayout))
	}
	c.sections(t)
	return c.list
}

// checker gathers problems.
type checker struct{ list []problem }

func (c *checker) bad(path, want, format string, args ...any) {
	c.list = append(c.list, problem{path, path + " " + fmt.Sprintf(format, args...), want})
}

func (c *checker) within(path string, v, lo, hi float64, unit string) {
	if !(v >= lo && v <= hi) { // NaN fails too
		c.bad(path, fmt.Sprintf("give a value from %g to %g %s", lo, hi, unit), "is %g %s", v, unit)
	}
}

func (c *checker) name(path, v string, limit int) {
	switch {
	case strings.TrimSpace(v) == "":
		c.bad(path, "give it a text", "is empty")
	case len([]rune(v)) > limit || strings.ContainsFunc(v, unicode.IsControl):
		c.bad(path, fmt.Sprintf("use at most %d letters on one line", limit), "is too long or holds control characters")
	}
}

func (c *checker) sections(t *Tape) {
	if len(t.Sections) == 0 {
		c.bad("sections", "list the tape's sections in playing order", "is empty")
		return
	}
	if len(t.Sections) > maxSections {
		c.bad("sections", fmt.Sprintf("at most %d", maxSections), "has %d entries", len(t.Sections))
		return
	}
	first := map[string]int{}
	for i, s := range t.Sections {
		at := fmt.Sprintf("sections[%d].", i)
		c.name(at+"name", s.Name, maxNameLength)
		if j, twice := first[s.Name]; twice && s.Name != "" {
			c.bad(at+"name", "give each section a name of its own", "%q is the name of sections[%d] already", s.Name, j)
		} else {
			first[s.Name] = i
		}
		if s.ToneHz != 0 {
			c.within(at+"tone_hz", s.ToneHz, minToneHz, maxToneHz, "Hz (0 for silence)")
			c.within(at+"level_db", s.LevelDB, minLevelDB, maxLevelDB, "dB")
		}
		if !(s.Seconds > 0 && s.Seconds <= maxSeconds) {
			c.bad(at+"seconds", fmt.Sprintf("give a length above 0 and up to %d s", maxSeconds), "is %g s", s.Seconds)
		}
	}
	if _, ok := t.ReferenceSection(); !ok && t.Reference.ToneHz > 0 {
		c.bad("sections", "list a section at the reference tone, or correct reference.tone_hz; every level and response is measured against it", "has none at the reference tone of %g Hz", t.Reference.ToneHz)
	}
}
