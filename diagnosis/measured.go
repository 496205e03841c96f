package diagnosis

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"headstack/machine"
	"headstack/measure"
)

// Spread of a capture's figures about what a sound track gives, in dB, beside
// the figure's own interval (common practice, no source).
const (
	levelSiblingDB    = 0.5 // between sound tracks of one capture
	responseSiblingDB = 0.8
	responseCommonDB  = 1.0 // of the test tape and the head, all tracks alike
	noiseSiblingDB    = 1.0
	trebleFromHz      = 4000
	bassToHz          = 160
)

// figure is one kind of figure taken from a capture.
type figure struct {
	name    string // level, treble, bass, noise
	toneHz  float64
	results []measure.Result
	// replaced by the shape of the loss where there is one.
	replaced bool
}

// addMeasured books the figures of a capture: per track the level at the
// reference tone, the response at one high and one low tone, and the noise.
// One tone each, because tones next to each other share their errors.
func (p *problem) addMeasured(m *Measured) error {
	f, ok := p.eng.def.Function(m.Function)
	if !ok {
		return fmt.Errorf("diagnosis: %s: machine %s has no function %q", m.Ref, p.eng.def.ID, m.Function)
	}
	if f.Each != machine.EachTrack {
		return fmt.Errorf("diagnosis: %s: figures of a capture belong to tracks, but function %s does not repeat over tracks", m.Ref, f.ID)
	}
	for _, fig := range p.eng.figures(m) {
		if err := p.addFigure(m, f, fig); err != nil {
			return err
		}
	}
	return nil
}

// figures picks what is used of a report.
func (e *Engine) figures(m *Measured) []figure {
	ref := e.def.Reference.ToneHz
	pick := func(name, as string, target, low, high float64) figure {
		fig := figure{name: as}
		for _, r := range m.Results {
			if r.Name == name && r.Refused == "" && r.ToneHz >= low && r.ToneHz <= high &&
				(fig.toneHz == 0 || math.Abs(math.Log(r.ToneHz/target)) < math.Abs(math.Log(fig.toneHz/target))) {
				fig.toneHz = r.ToneHz
			}
		}
		for _, r := range m.Results {
			if r.Name == name && r.Refused == "" && r.ToneHz == fig.toneHz && fig.toneHz > 0 {
				fig.results = append(fig.results, r)
			}
		}
		return fig
	}
	noise := figure{name: "noise"}
	for _, r := range m.Results {
		if r.Name == "noise" && r.Refused == "" {
			noise.results = append(noise.results, r)
		}
	}
	treble := pick("response", "treble", 10000, trebleFromHz, 20000)
	bass := pick("response", "bass", 63, 20, bassToHz)
	treble.replaced, bass.replaced = true, true
	return []figure{pick("level", "level", ref, ref/3, 5*ref), treble, bass, noise}
}

// addFigure books one figure of every track.
func (p *problem) addFigure(m *Measured, f *machine.Function, fig figure) error {
	byTrack := map[int][]measure.Result{}
	var tracks []int
	for _, r := range fig.results {
		if byTrack[r.Track] == nil {
			tracks = append(tracks, r.Track)
		}
		byTrack[r.Track] = append(byTrack[r.Track], r)
	}
	slices.Sort(tracks)
	for _, t := range tracks {
		if fig.replaced && m.judges(t) {
			continue
		}
		key := strconv.Itoa(t)
		path, err := p.eng.def.Path(f.ID, key)
		if err != nil {
			return fmt.Errorf("diagnosis: %s: %w", m.Ref, err)
		}
		y, sd := meanOf(byTrack[t])
		if math.IsNaN(y) || math.IsInf(y, 0) {
			continue
		}
		o := &observation{path: p.path(path), states: readStates, y: y, hasY: true}
		prior := offsetPrior{sd: wideOffsetDB, wide: true}
		spread := levelSiblingDB
		switch fig.name {
		case "level":
			o.space = newSpace(scalar(0, 0))
		case "noise":
			o.space, spread = newSpace(noiseOf), noiseSiblingDB
		default:
			q, share, other := qTreble, 0.0, 0.0
			if share, other = toneShares(fig.toneHz, p.eng.def.Reference.ToneHz); fig.name == "bass" {
				q, share = qBass, other
			}
			o.space, spread = newSpace(only(q, share)), responseSiblingDB
			prior = offsetPrior{sd: responseCommonDB, slip: 2}
		}
		prior.look = spread
		model := resultModel(y, math.Hypot(sd, spread))
		o.like, o.reading = model.like, &model
		o.fam = p.offset(fmt.Sprintf("%s|%s|%g|%s", m.Ref, fig.name, fig.toneHz, f.ID), prior)
		p.add(o, note{ref: m.Ref, function: f.ID, key: key, measure: fig.name, y: y, toneHz: fig.toneHz, wide: prior.wide,
			text: resultText(f, key, fig, y)})
	}
	return nil
}

// meanOf joins repeated figures of one track.
func meanOf(list []measure.Result) (y, sd float64) {
	sd = math.Inf(1)
	for _, r := range list {
		y += r.Value / float64(len(list))
		sd = math.Min(sd, math.Max(0, r.Hi-r.Lo)/3.92)
	}
	return y, sd
}
