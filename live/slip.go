package live

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"

	"headstack/dsp"
)

// slips looks for places where samples are missing or repeated, by what they do to a steady tone.
// With L about a quarter of the tone's period,
//
//	r[n] = x[n+L] + x[n-L] - c·x[n],  c = 2·cos(ωL)
//
// is nothing for a tone, noise for noise, and up to twice the tone where its phase jumps
// between n-L and n+L; flutter hardly shows, as L is short. Where r stands out, the phases
// before and behind are fitted and compared, so that a click, a drop-out or another tone is no
// slip. A jump counts that most channels with a tone share, since all lose the same frames; one
// that a single channel has among others is that channel's.
//
// What it cannot see: a jump in noise or silence, and one of a whole number of periods of the
// only tone there is. The count of frames against the clock sees those.
type slips struct {
	rate   float64
	n      int // length of a block
	filled int // of the newest
	at     int64
	ch     []slipChannel
	window []float64
	fft    *dsp.RealFFT
	frame  []float64
	spec   []complex128
	r      []float64
	last   int64 // frame of the last slip
}

// slipChannel is a channel's last three blocks, and the tone in each.
type slipChannel struct {
	x    []float64
	tone [3]tone
}

// tone is the one tone of a block; hz 0: there is none.
type tone struct{ hz, amplitude float64 }

const (
	slipPure     = 0.5   // part of a block's power that a tone must have
	slipStands   = 6     // r over its usual r.m.s.
	slipLeast    = 0.02  // r over the tone's amplitude
	slipRad      = 0.05  // phase jump that flutter does not make in the few ms compared
	slipErrors   = 5     // and over its own error
	slipDB       = 3     // the level stays within
	slipOffPart  = 0.03  // the frequency stays within
	slipTogether = 0.004 // seconds within which channels see the same jump
	slipPieces   = 16    // of a block, for the usual r.m.s.
	slipEvents   = 4     // in a block and channel, at most
)

func newSlips(rate, channels int) *slips {
	n := 1 << bits.Len(uint(0.08*float64(rate)))
	s := &slips{rate: float64(rate), n: n, ch: make([]slipChannel, channels), window: dsp.Hann(n), fft: dsp.NewRealFFT(n),
		frame: make([]float64, n), spec: make([]complex128, n/2+1), r: make([]float64, n), last: -1 << 60}
	for c := range s.ch {
		s.ch[c].x = make([]float64, 3*n)
	}
	return s
}

// hear takes k frames and gives the slips found; it is one block of about 0.1 s behind.
func (s *slips) hear(planar [][]float64, k int) (found []Void) {
	for from := 0; from < k; {
		m := min(k-from, s.n-s.filled)
		for c := range s.ch {
			copy(s.ch[c].x[2*s.n+s.filled:], planar[c][from:from+m])
		}
		s.filled += m
		from += m
		if s.filled < s.n {
			continue
		}
		s.at += int64(s.n)
		found = append(found, s.block()...)
		s.filled = 0
		for c := range s.ch {
			ch := &s.ch[c]
			copy(ch.x, ch.x[s.n:])
			copy(ch.tone[:], ch.tone[1:])
		}
	}
	return found
}

// jump is a phase jump on one channel, at frame at of the three blocks.
type jump struct {
	channel, at int
	rad         float64
}

// block looks at the middle one of three blocks.
func (s *slips) block() []Void {
	var jumps []jump
	tonal := 0
	for c := range s.ch {
		ch := &s.ch[c]
		ch.tone[2] = s.listen(ch.x[2*s.n:])
		if t := ch.tone[0]; t.hz > 0 && ch.tone[2].hz > 0 && math.Abs(ch.tone[2].hz/t.hz-1) < slipOffPart {
			tonal++
			jumps = append(jumps, s.jumps(c, t)...)
		}
	}
	slices.SortFunc(jumps, func(a, b jump) int { return a.at - b.at })
	var out []Void
	for len(jumps) > 0 {
		k := 1
		for k < len(jumps) && float64(jumps[k].at-jumps[0].at) < s.together(jumps[0].channel) {
			k++
		}
		if v, ok := s.judge(jumps[:k], tonal); ok {
			out = append(out, v)
		}
		jumps = jumps[k:]
	}
	return out
}

// together is how far apart channels may see one jump, in frames: the place is known to a part
// of a period.
func (s *slips) together(c int) float64 { return slipTogether*s.rate + s.rate/s.ch[c].tone[0].hz/2 }

// listen finds the one tone of a block.
func (s *slips) listen(x []float64) tone {
	for i, v := range x {
		s.frame[i] = v * s.window[i]
	}
	s.fft.Coefficients(s.spec, s.frame)
	best, top, sum := 0, 0., 0.
	power := func(k int) float64 { return real(s.spec[k])*real(s.spec[k]) + imag(s.spec[k])*imag(s.spec[k]) }
	for k := 2; k < len(s.spec)-1; k++ {
		p := power(k)
		sum += p
		if p > top {
			best, top = k, p
		}
	}
	if best < 2 || best > len(s.spec)-4 {
		return tone{}
	}
	near := 0.
	for k := max(2, best-2); k <= best+2; k++ {
		near += power(k)
	}
	// The sum over the main lobe of Hann's window for a sine of peak A is A²·n²·3/32.
	a := math.Sqrt(near*32/3) / float64(s.n)
	if near < slipPure*sum || a < 1e-5 {
		return tone{}
	}
	side, sign := power(best+1), 1.
	if p := power(best - 1); p > side {
		side, sign = p, -1
	}
	q := math.Sqrt(side / top)
	return tone{(float64(best) + sign*max(0, min(0.5, (2*q-1)/(q+1)))) * s.rate / float64(s.n), a}
}

// jumps are the phase jumps of channel c in the middle block.
func (s *slips) jumps(c int, t tone) (out []jump) {
	x, n := s.ch[c].x, s.n
	quarter := max(1, int(math.Round(s.rate/t.hz/4)))
	if 3*quarter > n {
		return nil // below about 20 Hz
	}
	// c by least squares over the block before: it holds for the tone as it is.
	var xy, xx float64
	for i := quarter; i < n; i++ {
		xy += (x[i+quarter] + x[i-quarter]) * x[i]
		xx += x[i] * x[i]
	}
	k := xy / xx
	limit := max(slipLeast*t.amplitude, slipStands*s.usual(x, quarter, k))
	for range slipEvents {
		at, most := -1, limit
		for i, r := range s.r {
			if r := math.Abs(r); r > most {
				at, most = i, r
			}
		}
		if at < 0 {
			return out
		}
		// r is large from n-L to n+L about the jump; its centre is the jump.
		lo, hi := at, at
		for i := max(0, at-2*quarter); i < min(n, at+2*quarter+1); i++ {
			if math.Abs(s.r[i]) > most/4 {
				lo, hi = min(lo, i), max(hi, i)
			}
		}
		place := n + (lo+hi)/2
		if rad, ok := s.compare(x, place, quarter, t); ok {
			out = append(out, jump{c, place, rad})
		}
		for i := max(0, lo-quarter); i < min(n, hi+quarter+1); i++ {
			s.r[i] = 0
		}
	}
	return out
}

// usual fills r of the middle block and gives its usual r.m.s.: the median of those of pieces,
// of which a slip touches few.
func (s *slips) usual(x []float64, quarter int, k float64) float64 {
	n := s.n
	var rms [slipPieces]float64
	piece := n / slipPieces
	for i := range n {
		j := n + i
		r := x[j+quarter] + x[j-quarter] - k*x[j]
		s.r[i] = r
		rms[min(i/piece, slipPieces-1)] += r * r
	}
	slices.Sort(rms[:])
	return math.Sqrt(rms[slipPieces/2] / float64(piece))
}

// compare fits the tone before and behind a place and gives the jump of its phase, and whether
// it is one, at the same level and frequency.
func (s *slips) compare(x []float64, place, quarter int, t tone) (rad float64, ok bool) {
	span := max(12*quarter, int(0.005*s.rate))
	span = min(span, s.n-2*quarter)
	a, okA := fitTone(x, place-quarter-span, span, 2*math.Pi*t.hz/s.rate)
	b, okB := fitTone(x, place+quarter, span, 2*math.Pi*t.hz/s.rate)
	if !okA || !okB || math.Abs(20*math.Log10(b.amplitude/a.amplitude)) > slipDB || math.Abs(b.omega/a.omega-1) > 2*slipOffPart {
		return 0, false
	}
	apart := float64(span + 2*quarter)
	rad = wrap(b.phase - a.phase - apart*(a.omega+b.omega)/2)
	se := math.Hypot(math.Hypot(a.phaseSE, b.phaseSE), apart/2*math.Hypot(a.omegaSE, b.omegaSE))
	return rad, math.Abs(rad) > slipRad+slipErrors*se
}

// wrap brings a phase to (−π, π].
func wrap(x float64) float64 { return x - 2*math.Pi*math.Ceil(x/(2*math.Pi)-0.5) }

// judge makes a void of what several channels saw, if they did.
func (s *slips) judge(jumps []jump, tonal int) (Void, bool) {
	seen := map[int]float64{}
	sum := 0
	for _, j := range jumps {
		if _, twice := seen[j.channel]; !twice {
			seen[j.channel] = j.rad
			sum += j.at
		}
	}
	at := sum / len(seen)
	frame := s.at - int64(3*s.n) + int64(at)
	if float64(frame-s.last) < voidGuard*s.rate {
		return Void{}, false // the same, seen in the block before
	}
	v := Void{FromS: max(0, float64(frame)/s.rate-voidGuard), ToS: float64(frame)/s.rate + voidGuard}
	var names []string
	for c := range s.ch {
		if rad, ok := seen[c]; ok && len(names) < 4 {
			names = append(names, fmt.Sprintf("%+.2f rad on channel %d", rad, c+1))
		}
	}
	what := "the phase of the tone jumps: " + strings.Join(names, ", ")
	switch {
	case 2*len(seen) > tonal:
		s.last = frame
		v.Reason = "samples are missing or repeated: " + what
		if k := s.repeated(jumps[0].channel, at); k > 0 {
			v.Frames = -int64(k)
			v.Reason = fmt.Sprintf("%d frames are repeated: %s", k, what)
		}
	case len(seen) == 1:
		v.Channel = jumps[0].channel + 1
		v.Reason = what + " alone"
	default:
		v.Reason = what + ", not on the others"
	}
	return v, true
}

// repeated looks whether what comes behind a place came before, sample for sample; noise sees to
// it that nothing else does. 0: no.
func (s *slips) repeated(c, at int) int {
	const run = 32
	x := s.ch[c].x
	quarter := int(s.rate / s.ch[c].tone[0].hz / 2)
	from := at + quarter
	if from+run > len(x) {
		return 0
	}
	for k := 1; k <= from && k <= 2*s.n; k++ {
		same := true
		for i := range run {
			if x[from+i] != x[from+i-k] {
				same = false
				break
			}
		}
		// A tone without noise repeats itself anyway: then it did so before.
		if same && !equal(x, from-2*quarter-run-1, k, run) {
			return k
		}
	}
	return 0
}

// equal: the samples from a place on are those k before. False where those are not at hand.
func equal(x []float64, from, k, run int) bool {
	if from-k < 0 {
		return false
	}
	for i := range run {
		if x[from+i] != x[from+i-k] {
			return false
		}
	}
	return true
}
