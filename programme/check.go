package programme

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
)

// Ranges of plausible values, wide: their aim is to catch a wrong unit or a slipped
// digit and to bound what a file can cost. Common practice, no source.
const (
	minSpeedCmS, maxSpeedCmS = 1, 160
	minToneHz, maxToneHz     = 10, 24000
	minLevelDB, maxLevelDB   = -100, 30
	maxPhaseDeg              = 360
	minPartS, maxPartS       = 0.1, 3600
	minDBFS, maxDBFS         = -60, 0
	maxParts, maxSines       = 400, 64
	maxName                  = 100
)

// problem is a mistake at a path such as "parts[3].seconds".
type problem struct{ path, problem, want string }

// Check returns an *[Error], or several joined, when the values contradict the format
// or each other; Load and New have checked already.
func (p *Programme) Check() error {
	var errs []error
	for _, q := range p.problems() {
		errs = append(errs, &Error{Problem: q.problem, Want: q.want})
	}
	return errors.Join(errs...)
}

// problems lists every value that cannot be right, or the first hundred.
func (p *Programme) problems() []problem {
	c := checker{}
	if p.Format != 1 {
		c.bad("programme", "this program reads format 1", "is %d", p.Format)
	}
	c.name("name", p.Name)
	if p.Tracks < 1 || p.Tracks > MaxTracks {
		c.bad("tracks", fmt.Sprintf("give a number from 1 to %d", MaxTracks), "is %d", p.Tracks)
		return c.list // all else depends on it
	}
	c.within("speed_cm_s", p.SpeedCmS, minSpeedCmS, maxSpeedCmS, "cm/s")
	c.within("reference_hz", p.ReferenceHz, minToneHz, maxToneHz, "Hz")
	c.within("reference_dbfs", p.ReferenceDBFS, minDBFS, maxDBFS, "dBFS")
	c.rounds(p)
	c.parts(p)
	return c.list
}

// checker gathers problems.
type checker struct{ list []problem }

func (c *checker) bad(path, want, format string, args ...any) {
	if len(c.list) < 100 { // more say nothing new
		c.list = append(c.list, problem{path, path + " " + fmt.Sprintf(format, args...), want})
	}
}

func (c *checker) within(path string, v, lo, hi float64, unit string) {
	if !(v >= lo && v <= hi) { // NaN fails too
		c.bad(path, fmt.Sprintf("give a value from %g to %g %s", lo, hi, unit), "is %g %s", v, unit)
	}
}

func (c *checker) name(path, v string) {
	switch {
	case strings.TrimSpace(v) == "":
		c.bad(path, "give it a text", "is empty")
	case len([]rune(v)) > maxName || strings.ContainsFunc(v, func(r rune) bool { return unicode.IsControl(r) || r == unicode.ReplacementChar }):
		c.bad(path, fmt.Sprintf("use at most %d letters on one line", maxName), "is too long or holds what is no letter")
	}
}

// rounds must record every track exactly once.
func (c *checker) rounds(p *Programme) {
	seen := map[int]string{}
	for i, r := range p.Rounds {
		if len(r) == 0 {
			c.bad(fmt.Sprintf("rounds[%d]", i), "list the tracks recorded in it", "is empty")
		}
		for k, t := range r {
			at := fmt.Sprintf("rounds[%d][%d]", i, k)
			if t < 1 || t > p.Tracks {
				c.bad(at, fmt.Sprintf("tracks go from 1 to %d", p.Tracks), "is track %d", t)
			} else if other, twice := seen[t]; twice {
				c.bad(at, "record each track in one round", "is track %d again, which stands at %s", t, other)
			} else {
				seen[t] = at
			}
		}
	}
	for t := 1; t <= p.Tracks; t++ {
		if _, ok := seen[t]; !ok {
			c.bad("rounds", "record each track in one round", "leave out track %d", t)
		}
	}
}

func (c *checker) parts(p *Programme) {
	if len(p.Parts) == 0 || len(p.Parts) > maxParts {
		c.bad("parts", fmt.Sprintf("list 1 to %d parts in the order of recording", maxParts), "has %d entries", len(p.Parts))
		return
	}
	first := map[string]int{}
	for i, part := range p.Parts {
		at := fmt.Sprintf("parts[%d].", i)
		c.name(at+"name", part.Name)
		if j, twice := first[part.Name]; twice && part.Name != "" {
			c.bad(at+"name", "give each part a name of its own", "%q is the name of parts[%d] already", part.Name, j)
		} else {
			first[part.Name] = i
		}
		c.part(p, part, at)
	}
	if _, ok := p.ReferencePart(); !ok {
		c.bad("parts", "have a part of kind tone with reference_hz at 0 dB on all tracks: every level is measured against it", "have no reference")
	}
}

func (c *checker) part(p *Programme, part Part, at string) {
	if !slices.Contains(Kinds(), part.Kind) {
		c.bad(at+"kind", fmt.Sprintf("say one of %v", Kinds()), "is %q", string(part.Kind))
		return
	}
	c.within(at+"seconds", part.Seconds, minPartS, maxPartS, "s")
	if part.All != nil && part.Each != nil {
		c.bad(at+"each", "give either all or each", "stands beside all")
	}
	if len(part.Each) > p.Tracks {
		c.bad(at+"each", fmt.Sprintf("give at most one list for each of the %d tracks", p.Tracks), "has %d entries", len(part.Each))
		return
	}
	c.sines(p, at+"all", part.All)
	for t, on := range part.Each {
		c.sines(p, fmt.Sprintf("%seach[%d]", at, t), on)
	}
	c.shape(part, at)
}

func (c *checker) sines(p *Programme, at string, list []Sine) {
	if len(list) > maxSines {
		c.bad(at, fmt.Sprintf("give at most %d tones", maxSines), "has %d tones", len(list))
		return
	}
	sum := 0.0
	for i, s := range list {
		k := fmt.Sprintf("%s[%d].", at, i)
		c.within(k+"hz", s.Hz, minToneHz, maxToneHz, "Hz")
		c.within(k+"level_db", s.LevelDB, minLevelDB, maxLevelDB, "dB")
		c.within(k+"phase_deg", s.PhaseDeg, -maxPhaseDeg, maxPhaseDeg, "°")
		sum += math.Pow(10, (p.ReferenceDBFS+s.LevelDB)/20)
	}
	if sum > 1 {
		c.bad(at, "lower the tones, or reference_dbfs", "would clip the file: its tones add up to %+.1f dBFS", 20*math.Log10(sum))
	}
}

// needs is the number of tones that a kind carries, least and most.
var needs = map[Kind][2]int{
	Identity: {1, maxSines}, Tone: {1, 1}, Step: {1, 1}, Comb: {2, maxSines}, TwoTone: {2, 2},
	Silence: {0, 0}, OneTrack: {1, maxSines}, Erase: {1, 1}, Companding: {1, 1}, Staircase: {1, 2},
}

// shape checks what each kind demands of its tones and steps.
func (c *checker) shape(part Part, at string) {
	busy, wrong := 0, -1
	need := needs[part.Kind]
	for _, on := range part.Each {
		if len(on) > 0 {
			busy++
		}
		if n := len(on); n > 0 && (n < need[0] || n > need[1]) {
			wrong = n
		}
	}
	if part.Each == nil {
		if n := len(part.All); n < need[0] || n > need[1] {
			wrong = n
		}
	} else if busy == 0 && need[0] > 0 {
		wrong = 0
	}
	if wrong >= 0 {
		c.bad(at+"kind", fmt.Sprintf("a part of kind %s carries %s", part.Kind, tones(need)), "is %s with %s", part.Kind, tones([2]int{wrong, wrong}))
	}
	switch part.Kind {
	case Identity, OneTrack:
		if part.All != nil {
			c.bad(at+"all", "say in each what each track carries", "cannot stand in a part of kind %s", part.Kind)
		} else if part.Kind == OneTrack && busy > 1 {
			c.bad(at+"each", "leave the tone on one track", "has tones on %d tracks", busy)
		}
	case Staircase:
		c.within(at+"step_seconds", part.StepSeconds, 2*MarkSeconds, part.Seconds, "s")
		if part.StepSeconds > 0 && part.Seconds/part.StepSeconds > 200 {
			c.bad(at+"step_seconds", "have at most 200 steps", "gives %.0f steps", part.Seconds/part.StepSeconds)
		}
	case Companding:
		if part.StepSeconds != 0 && part.StepSeconds != part.Seconds {
			c.bad(at+"step_seconds", "give each level a part of its own; step_seconds is its length", "is %g s of %g s", part.StepSeconds, part.Seconds)
		}
	default:
		if part.StepSeconds != 0 {
			c.bad(at+"step_seconds", "only staircase and companding parts have steps; take it out", "is %g s", part.StepSeconds)
		}
	}
}

// tones writes a number of tones, or a range.
func tones(n [2]int) string {
	switch {
	case n == [2]int{1, 1}:
		return "one tone"
	case n[1] == 0:
		return "no tone"
	case n[0] == n[1]:
		return fmt.Sprintf("%d tones", n[0])
	}
	if n[1] < maxSines {
		return fmt.Sprintf("%d to %d tones", n[0], n[1])
	}
	return fmt.Sprintf("%d tones or more", n[0])
}

// ReferencePart is the part that the others are compared with: the first of kind tone
// with ReferenceHz at 0 dB on all tracks. A programme that passes Check has one.
func (p *Programme) ReferencePart() (index int, ok bool) {
	for i, part := range p.Parts {
		if part.Kind == Tone && len(part.All) == 1 && part.All[0].Hz == p.ReferenceHz && part.All[0].LevelDB == 0 {
			return i, true
		}
	}
	return 0, false
}
