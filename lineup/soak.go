package lineup

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"headstack/machine"
	"headstack/measure"
	"headstack/unit"
)

// SoakPlan is a run of some hours with readings in between: some faults show only when a
// recorder is hot. All of it is common practice, no source: 4 hours are the usual
// minimum, 10 to 12 the habit of shops that have been bitten.
type SoakPlan struct {
	Hours  float64     `json:"hours"`
	Points []SoakPoint `json:"points"`
	Limits []SoakLimit `json:"limits"`
	// Between is what the recorder does between the readings.
	Between string `json:"between"`
}

// SoakPoint is one set of readings.
type SoakPoint struct {
	AtMinutes float64 `json:"at_minutes"`
	What      string  `json:"what"` // what plays
}

// SoakLimit is how far a measure may move from the cold reading.
type SoakLimit struct {
	Measure string  `json:"measure"` // as in package measure
	ToneHz  float64 `json:"tone_hz,omitempty"`
	// PerTrack: read on each track; Tracks is how many.
	Tracks int     `json:"tracks,omitempty"`
	Change float64 `json:"change"`
	Unit   string  `json:"unit"`
	Why    string  `json:"why"`
}

// The soak's hours and limits of change; common practice, no source.
const (
	SoakLeastHours = 4.0
	SoakHabitHours = 12.0

	soakLevelDB     = 0.5
	soakTrebleDB    = 1.0
	soakAzimuth     = 1.0 // arcminute
	soakSpeedReel   = 0.1 // %
	soakSpeedCass   = 0.3
	soakNearMinutes = 20.0
)

// NewSoak plans a soak of so many hours; 0: the least. Readings are taken cold, at half
// an hour, at one hour, every two hours from two on, and at the end, of one recording
// that the recorder made itself at the start: the good test tape stays out. Hours below
// the least are allowed and said in the plan.
func NewSoak(d *machine.Definition, hours float64) *SoakPlan {
	if !(hours > 0) {
		hours = SoakLeastHours
	}
	p := &SoakPlan{Hours: hours, Between: "play, record and wind in turn, the case closed, every hour each key once"}
	if hours < SoakLeastHours {
		p.Between += fmt.Sprintf("; %g hours are less than the usual least of %g", hours, SoakLeastHours)
	}
	end := 60 * hours
	times := []float64{0, 30, 60}
	for m := 120.0; m < end; m += 120 {
		times = append(times, m)
	}
	for _, m := range append(times, end) {
		what := "the own recording made cold: speed tone, reference tone, treble"
		if m == 0 {
			what = "record reference tone, treble and speed tone on all tracks, cold; play them"
		}
		if m <= end && !slices.ContainsFunc(p.Points, func(x SoakPoint) bool { return x.AtMinutes == m }) {
			p.Points = append(p.Points, SoakPoint{m, what})
		}
	}
	speed := soakSpeedCass
	if d.Medium.Kind == "open-reel" {
		speed = soakSpeedReel
	}
	treble := TrebleHz(d.Speeds[0].CmS)
	p.Limits = []SoakLimit{
		{Measure: "speed_error", Change: speed, Unit: "%", Why: practice},
		{Measure: "azimuth_line", Change: soakAzimuth, Unit: "arcmin", Why: practice},
		{Measure: "level", ToneHz: d.Reference.ToneHz, Tracks: d.Tracks.Count, Change: soakLevelDB, Unit: "dB", Why: practice},
		{Measure: "response", ToneHz: treble, Tracks: d.Tracks.Count, Change: soakTrebleDB, Unit: "dB", Why: practice},
	}
	if d.Tracks.Count < 2 {
		p.Limits = slices.DeleteFunc(p.Limits, func(l SoakLimit) bool { return l.Measure == "azimuth_line" })
	}
	return p
}

// SoakState is how far a soak has come.
type SoakState struct {
	// Points are in the order of the plan; Changes one for each measure and track that
	// was read twice.
	Points  []SoakStanding `json:"points"`
	Changes []SoakChange   `json:"changes,omitempty"`
	Next    float64        `json:"next_minutes"` // of the next point; meaningless when Done
	Done    bool           `json:"done"`
	Why     string         `json:"why,omitempty"` // what keeps it from being done
}

// SoakStanding is one point: done when every measure of the plan was read near its time.
type SoakStanding struct {
	AtMinutes float64  `json:"at_minutes"`
	Done      bool     `json:"done"`
	Missing   []string `json:"missing,omitempty"`
}

// SoakChange is how far a figure moved from the first point, at its worst.
type SoakChange struct {
	Measure   string    `json:"measure"`
	Track     int       `json:"track,omitempty"`
	AtMinutes float64   `json:"at_minutes"` // of the worst reading
	Judgement Judgement `json:"judgement"`
}

// State reads a log. A soak begins anew when a trim is turned or the case opened:
// readings before count no longer. A reading belongs to the nearest point within 20
// minutes of it.
func (p *SoakPlan) State(log []Event) SoakState {
	readings, why := p.readings(log)
	s := SoakState{Done: true, Next: -1}
	for i, pt := range p.Points {
		x := SoakStanding{AtMinutes: pt.AtMinutes}
		for _, l := range p.Limits {
			for t := range max(1, l.Tracks) {
				track := t + 1
				if l.Tracks == 0 {
					track = 0
				}
				if _, ok := readings[soakKey{i, l.Measure, track}]; !ok {
					x.Missing = append(x.Missing, soakName(l, track))
				}
			}
		}
		x.Done = len(x.Missing) == 0
		if !x.Done {
			if s.Done {
				s.Next, s.Why = pt.AtMinutes, fmt.Sprintf("%s to be read at %g minutes%s", count(len(x.Missing), "figure"), pt.AtMinutes, why)
			}
			s.Done = false
		}
		s.Points = append(s.Points, x)
	}
	p.changes(&s, readings)
	// The gravest change stands first.
	if len(s.Changes) > 0 && s.Changes[0].Judgement.Verdict != In {
		c := s.Changes[0]
		s.Done = false
		s.Why = fmt.Sprintf("%s moved: %s", c.Measure+trackText(c.Track), said(c.Judgement.Why, string(c.Judgement.Verdict)))
	}
	return s
}

type soakKey struct {
	point   int
	measure string
	track   int
}

type soakReading struct {
	minutes float64
	result  *measure.Result
}

// readings are the last ones of each point since anything was touched.
func (p *SoakPlan) readings(log []Event) (map[soakKey]soakReading, string) {
	out, why := map[soakKey]soakReading{}, ""
	for _, e := range log {
		switch e.Kind {
		case Turned, Opened:
			if len(out) > 0 {
				why = "; it began anew, something was touched"
			}
			clear(out)
		case Soaked:
			if e.Result == nil || e.Result.Refused != "" {
				continue
			}
			i := p.nearest(e.Minutes)
			l := slices.IndexFunc(p.Limits, func(l SoakLimit) bool {
				return l.Measure == e.Result.Name && (l.ToneHz == 0 || e.Result.ToneHz == 0 || math.Abs(e.Result.ToneHz/l.ToneHz-1) < 0.02)
			})
			if i >= 0 && l >= 0 {
				out[soakKey{i, e.Result.Name, e.Result.Track}] = soakReading{e.Minutes, e.Result}
			}
		}
	}
	return out, why
}

// nearest is the point to which a time belongs, -1 for none.
func (p *SoakPlan) nearest(minutes float64) int {
	best, off := -1, soakNearMinutes
	for i, pt := range p.Points {
		if d := math.Abs(minutes - pt.AtMinutes); d <= off && (best < 0 || d < off) {
			best, off = i, d
		}
	}
	return best
}

// changes holds every figure against its first one.
func (p *SoakPlan) changes(s *SoakState, readings map[soakKey]soakReading) {
	for _, l := range p.Limits {
		for t := range max(1, l.Tracks) {
			track := t + 1
			if l.Tracks == 0 {
				track = 0
			}
			first, ok := readings[soakKey{0, l.Measure, track}]
			if !ok {
				continue
			}
			var worst *SoakChange
			for i := 1; i < len(p.Points); i++ {
				r, ok := readings[soakKey{i, l.Measure, track}]
				if !ok {
					continue
				}
				t := &Target{Value: first.result.Value, Lo: first.result.Lo, Hi: first.result.Hi, Unit: said(first.result.Unit, l.Unit), Tolerance: l.Change}
				c := SoakChange{l.Measure, track, r.minutes, Judge(t, r.result)}
				if worst == nil || graver(&c, worst) {
					worst = &c
				}
			}
			if worst != nil {
				s.Changes = append(s.Changes, *worst)
			}
		}
	}
	slices.SortStableFunc(s.Changes, func(a, b SoakChange) int {
		return cmp.Compare(rank(b.Judgement.Verdict), rank(a.Judgement.Verdict))
	})
}

// graver orders changes: by verdict, then by size.
func graver(a, b *SoakChange) bool {
	if ra, rb := rank(a.Judgement.Verdict), rank(b.Judgement.Verdict); ra != rb {
		return ra > rb
	}
	return math.Abs(a.Judgement.Error) > math.Abs(b.Judgement.Error)
}

// rank orders verdicts, the worst last.
func rank(v Verdict) int { return slices.Index([]Verdict{In, Doubt, NotMeasured, Out}, v) }

func soakName(l SoakLimit, track int) string {
	name := l.Measure
	if l.ToneHz > 0 {
		name += " at " + unit.Frequency(unit.Hertz(l.ToneHz))
	}
	return name + trackText(track)
}

func trackText(track int) string {
	if track == 0 {
		return ""
	}
	return fmt.Sprintf(", track %d", track)
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
