package sim

import (
	"context"
	"fmt"
	"io"
	"math"
	"sort"

	"headstack/capture"
	"headstack/tape"
)

// blockFrames is how much is rendered at a time: a multiple of hop. It bounds the
// memory, about 32 KiB per channel.
const blockFrames = 4096

// Render plays the scenario's tape and writes the capture as WAV to w. The truth
// it returns is valid when the error is nil; that is [ErrScenario], the error of
// ctx, or one of writing. The same scenario gives the same bytes.
func Render(ctx context.Context, w io.WriteSeeker, sc Scenario) (Truth, error) {
	if err := sc.check(); err != nil {
		return Truth{}, err
	}
	out, err := capture.NewWriter(w, sc.spec())
	if err != nil {
		return Truth{}, fmt.Errorf("rendering %s: %w", sc.Tape.Name, err)
	}
	r := newRenderer(&sc)
	if err := r.run(ctx, out.Write); err != nil {
		return Truth{}, err
	}
	if err := out.Close(); err != nil {
		return Truth{}, fmt.Errorf("rendering %s: %w", sc.Tape.Name, err)
	}
	return r.truth(), nil
}

// run renders block after block and hands each to write.
func (r *renderer) run(ctx context.Context, write func(block [][]float64, n int) error) error {
	for r.first < r.total {
		if err := ctx.Err(); err != nil {
			return err
		}
		n := int(min(blockFrames, r.total-r.first))
		r.block()
		if err := write(r.out, n); err != nil {
			return fmt.Errorf("rendering %s: %w", r.sc.Tape.Name, err)
		}
		r.first += int64(n)
		if r.sc.Progress != nil {
			r.sc.Progress(float64(r.first) / float64(r.total))
		}
	}
	return nil
}

// renderer holds one block and what runs on from block to block.
type renderer struct {
	sc     *Scenario
	rate   float64
	motion motion
	wander []wave // of the azimuth, in radians
	places []place
	own    [][]complex128 // per place, per track
	slow   []flicker      // per track
	voices []voice        // per channel
	total  int64
	first  int64 // frame at which the block begins

	position []float64 // of each frame, in seconds of tape
	sin, cos []float64 // of the tone at position
	out      [][]float64
	tracks   [][]complex128 // amplitude at the ends of hops, per track
	ends     []complex128   // the same of one channel, with crosstalk
}

// voice is what one channel has of its own.
type voice struct {
	track int
	hiss  *hiss
	hum   []harmonic
	clip  float64 // peak, 0 none
}

func newRenderer(sc *Scenario) *renderer {
	r := &renderer{
		sc: sc, rate: float64(sc.SampleRate), motion: sc.motion(), places: sc.layout(),
		position: make([]float64, blockFrames), sin: make([]float64, blockFrames), cos: make([]float64, blockFrames),
		ends: make([]complex128, blockFrames/hop+1),
	}
	for range r.ends {
		r.tracks = append(r.tracks, make([]complex128, len(sc.Tracks)))
	}
	a := sc.AzimuthWander
	r.wander = band(sc.random(streamWander), a.RMSArcmin*float64(tape.Arcminute), a.LowHz, a.HighHz, 12)
	r.total = int64(r.motion.when(sc.endOfTape()-sc.CutTailS) * r.rate)
	for _, p := range r.places {
		own := make([]complex128, len(sc.Tracks))
		for i := range own {
			if p.section.ToneHz > 0 {
				own[i] = sc.own(i+1, p.section)
			}
		}
		r.own = append(r.own, own)
	}
	for i, t := range sc.Tracks {
		r.slow = append(r.slow, newFlicker(t.Flicker, sc.random(streamFlicker+uint64(i))))
	}
	for _, track := range sc.channels() {
		t := sc.Tracks[track-1]
		v := voice{track: track, hiss: newHiss(t.Noise, r.rate, sc.random(streamNoise+uint64(track))), hum: t.Hum.series(sc.MainsHz)}
		if t.ClipDBFS < 0 {
			v.clip = math.Pow(10, t.ClipDBFS/20)
		}
		r.voices = append(r.voices, v)
		r.out = append(r.out, make([]float64, blockFrames))
	}
	return r
}

// block renders blockFrames frames from first on; the last block's are written
// in part.
func (r *renderer) block() {
	r.motion.fill(r.position, r.first, r.rate)
	for _, o := range r.out {
		clear(o)
	}
	for i, p := range r.places {
		if p.section.ToneHz > 0 {
			r.tone(p, r.own[i])
		}
	}
	for c, v := range r.voices {
		o := r.out[c]
		v.hiss.add(o)
		addHum(o, v.hum, r.first, r.rate)
		if v.clip > 0 {
			for i, x := range o {
				o[i] = max(-v.clip, min(v.clip, x))
			}
		}
	}
}

// tone adds the part of a section that falls into the block.
func (r *renderer) tone(p place, own []complex128) {
	reach := r.reach()
	from := sort.SearchFloat64s(r.position, p.start-reach)
	to := sort.SearchFloat64s(r.position, p.end+reach)
	if from == to {
		return
	}
	for i := from; i < to; i++ {
		cycles := p.section.ToneHz * (r.position[i] - p.start)
		r.sin[i], r.cos[i] = math.Sincos(2 * math.Pi * (cycles - math.Floor(cycles)))
	}
	low, high := from/hop, (to-1)/hop+1
	moving := r.moves()
	if !moving {
		high = low
	}
	r.amplitudes(p.section.ToneHz, own, low, high)
	for c, v := range r.voices {
		for j := low; j <= high; j++ {
			r.ends[j] = r.sc.crosstalk(v.track, r.tracks[j])
		}
		late := r.sc.offset(v.track) * r.sc.tanAzimuth(0)
		gate := gate{p.start + late, p.end + late, r.sc.RampS}
		if moving {
			r.addMoving(r.out[c], gate, from, to)
		} else {
			r.addSteady(r.out[c], gate, r.ends[low], from, to)
		}
	}
}

// moves reports whether any amplitude changes within a section.
func (r *renderer) moves() bool {
	for _, t := range r.sc.Tracks {
		if t.unsteady() {
			return true
		}
	}
	return len(r.wander) > 0
}

// reach is more than any delay, in seconds of tape.
func (r *renderer) reach() float64 {
	most := 0.0
	for i := range r.sc.Tracks {
		most = max(most, math.Abs(r.sc.offset(i+1)))
	}
	angle := math.Abs(r.sc.AzimuthArcmin) + 6*r.sc.AzimuthWander.RMSArcmin
	return most * math.Tan(angle*float64(tape.Arcminute))
}

// amplitudes fills tracks[from..to] with the complex amplitude of every track's own
// tone at the ends of the hops.
func (r *renderer) amplitudes(toneHz float64, own []complex128, from, to int) {
	for j := from; j <= to; j++ {
		at := float64(r.first+int64(j)*hop) / r.rate
		tan := r.sc.tanAzimuth(sum(r.wander, at))
		for i, t := range r.sc.Tracks {
			a := own[i]
			if t.unsteady() {
				a *= complex(t.steadiness(r.slow[i], toneHz, at), 0)
			}
			r.tracks[j][i] = r.sc.late(i+1, a, toneHz, tan)
		}
	}
}

// gate is the stretch of tape on which a section is heard, with its ramps.
type gate struct{ start, end, ramp float64 }

func (g gate) at(p float64) float64 {
	edge := min(p-g.start, g.end-p)
	switch {
	case edge <= 0:
		return 0
	case edge >= g.ramp:
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*edge/g.ramp)
}

// addSteady adds the imaginary part of a·exp(iθ), a sine of constant amplitude. Between
// the ramps, nearly everywhere, no gate is asked.
func (r *renderer) addSteady(o []float64, g gate, a complex128, from, to int) {
	re, im := real(a), imag(a)
	rose := from + sort.SearchFloat64s(r.position[from:to], g.start+g.ramp)
	falls := max(rose, from+sort.SearchFloat64s(r.position[from:to], g.end-g.ramp))
	for i := from; i < rose; i++ {
		o[i] += (re*r.sin[i] + im*r.cos[i]) * g.at(r.position[i])
	}
	sin, cos, out := r.sin[rose:falls], r.cos[rose:falls], o[rose:falls]
	for i, s := range sin {
		out[i] += re*s + im*cos[i]
	}
	for i := falls; i < to; i++ {
		o[i] += (re*r.sin[i] + im*r.cos[i]) * g.at(r.position[i])
	}
}

// addMoving is addSteady with the amplitude running straight from end to end of
// each hop.
func (r *renderer) addMoving(o []float64, g gate, from, to int) {
	for i := from; i < to; i++ {
		j, u := i/hop, float64(i%hop)/hop
		a := r.ends[j] + complex(u, 0)*(r.ends[j+1]-r.ends[j])
		x := real(a)*r.sin[i] + imag(a)*r.cos[i]
		if e := g.at(r.position[i]); e != 1 {
			x *= e
		}
		o[i] += x
	}
}
