package live

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"sync"
	"time"

	"headstack/dsp"
	"headstack/measure"
)

// MeterConfig says what a [Meter] shows.
type MeterConfig struct {
	Channel int     // from 1
	Against int     // a second channel whose delay re Channel is shown; 0: none
	ToneHz  float64 // of the tone as it is played, to about 3 %; 20 Hz to 0.45 of the sample rate
}

// Reading is one update of a meter. Half widths are of 95 % intervals of the means over the window: what
// is faster than the window, noise and flicker, stands in them, what is slower is seen
// from reading to reading.
type Reading struct {
	AtS       float64 `json:"at_s"` // middle of the window, seconds from the first frame
	WindowS   float64 `json:"window_s"`
	LevelDBFS float64 `json:"level_dbfs"` // r.m.s. of the tone, noise taken off; 0: a sine of full scale
	LevelHalf float64 `json:"level_half_db"`
	ToneHz    float64 `json:"tone_hz"` // as found
	// DelayUs is how much later Against is than Channel, within half a period of the
	// tone; HasDelay is false without a second channel or without tone on it.
	HasDelay  bool    `json:"has_delay,omitempty"`
	DelayUs   float64 `json:"delay_us,omitempty"`
	DelayHalf float64 `json:"delay_half_us,omitempty"`
	// Refused says why there is no figure: no tone, clipped, no numbers. The figures are then 0.
	Refused string `json:"refused,omitempty"`
	// Processing is the time from the call of Write that brought the last frame to this
	// reading.
	Processing time.Duration `json:"processing_ns"`
}

// A Meter gives readings of one tone ten times a second of the capture. Each is over a window of
// 0.12 s, or eight periods of a tone below 67 Hz, that ends with the newest frame: the figure stands
// for what was half a window ago. Take the readings from C; one who does not take them in
// time gets the newest.
type Meter struct {
	C <-chan Reading // closed by Close, and at the end of the session

	s      *Session
	cfg    MeterConfig
	window int // frames
	hop    int
	due    int64     // frame of the next reading
	a, b   []float64 // the last frames of both channels, twice a window at most
	fft    *dsp.RealFFT
	frame  []float64
	spec   []complex128

	mu   sync.Mutex
	c    chan Reading
	dead bool
}

const (
	meterSeconds = 0.12
	meterPeriods = 8
	meterParts   = 8     // of a window, whose scatter gives the interval
	meterWide    = 0.035 // of the stated frequency, to either side
	meterSNR     = 6     // dB of tone over everything else below which there is no tone
)

// Meter starts a meter. The caller ends it with its Close.
func (s *Session) Meter(cfg MeterConfig) (*Meter, error) {
	rate := float64(s.cfg.SampleRate)
	if cfg.Channel < 1 || cfg.Channel > s.cfg.Channels || cfg.Against < 0 || cfg.Against > s.cfg.Channels || cfg.Against == cfg.Channel {
		return nil, fmt.Errorf("a meter on channels %d and %d: the capture has channels 1 to %d, and two are to differ", cfg.Channel, cfg.Against, s.cfg.Channels)
	}
	if !(cfg.ToneHz >= 20) || cfg.ToneHz > 0.45*rate {
		return nil, fmt.Errorf("a meter for %g Hz: from 20 Hz to %.0f Hz can be shown at a sample rate of %d Hz", cfg.ToneHz, 0.45*rate, s.cfg.SampleRate)
	}
	c := make(chan Reading, 1)
	m := &Meter{C: c, c: c, s: s, cfg: cfg, hop: s.cfg.SampleRate / 10}
	m.window = int(math.Ceil(max(meterSeconds, meterPeriods/cfg.ToneHz)*rate/meterParts)) * meterParts
	n := 1
	for n < 2*m.window {
		n *= 2
	}
	m.fft, m.frame, m.spec = dsp.NewRealFFT(n), make([]float64, n), make([]complex128, n/2+1)
	s.in.Lock()
	defer s.in.Unlock()
	if s.closed {
		return nil, ErrClosed
	}
	m.due = s.file.w.Frames() + int64(m.window)
	s.meters = append(s.meters, m)
	return m, nil
}

// Close ends the meter and closes C.
func (m *Meter) Close() {
	m.s.in.Lock()
	m.s.meters = slices.DeleteFunc(m.s.meters, func(x *Meter) bool { return x == m })
	m.s.in.Unlock()
	m.shut()
}

func (m *Meter) shut() {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.dead {
		m.dead = true
		close(m.c)
	}
}

// hear takes k frames, the first of which is frame at of the capture.
func (m *Meter) hear(planar [][]float64, k int, at int64, came time.Time) {
	for from := 0; from < k; {
		to := min(k, from+int(max(1, m.due-at-int64(from))))
		m.a = keep(m.a, planar[m.cfg.Channel-1][from:to], m.window)
		if m.cfg.Against > 0 {
			m.b = keep(m.b, planar[m.cfg.Against-1][from:to], m.window)
		}
		from = to
		if at+int64(to) < m.due || len(m.a) < m.window {
			continue
		}
		r := m.read()
		rate := float64(m.s.cfg.SampleRate)
		r.WindowS = float64(m.window) / rate
		r.AtS = float64(m.due)/rate - r.WindowS/2
		m.due += int64(m.hop)
		r.Processing = m.s.now().Sub(came)
		m.give(r)
	}
}

// keep appends to the last frames and forgets old ones now and then.
func keep(old, x []float64, window int) []float64 {
	if cap(old) == 0 {
		old = make([]float64, 0, 2*window+pieceFrames)
	}
	if len(old)+len(x) > cap(old) {
		n := copy(old, old[max(0, len(old)-window):])
		old = old[:n]
	}
	return append(old, x...)
}

// give hands a reading over in place of one that nobody took.
func (m *Meter) give(r Reading) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.dead {
		return
	}
	select {
	case <-m.c:
	default:
	}
	m.c <- r // there is room: nobody else sends
}

// read makes a reading of the last window.
func (m *Meter) read() (r Reading) {
	a := m.a[len(m.a)-m.window:]
	if _, peak := dsp.Extent(a); peak >= measure.FullScale {
		r.Refused = "clipped: turn the input down"
		return r
	}
	omega := m.find(a)
	z, whole, why := m.parts(a, &omega)
	if why != "" {
		r.Refused = why
		return r
	}
	power := make([]float64, len(z))
	for i, v := range z {
		power[i] = real(v)*real(v) + imag(v)*imag(v)
	}
	mean, half := meanHalf(power)
	// What noise adds to the square of a part's fitted amplitude: 4σ²/n on the mean.
	mean -= 4 * whole.noise * whole.noise * meterParts / float64(m.window)
	if !(mean > 0) {
		r.Refused = "no tone: its power does not exceed the noise"
		return r
	}
	r.ToneHz = omega * float64(m.s.cfg.SampleRate) / (2 * math.Pi)
	r.LevelDBFS = 10 * math.Log10(mean)
	r.LevelHalf = 10 / math.Ln10 * half / mean
	if m.cfg.Against > 0 {
		m.delay(&r, z, omega)
	}
	return r
}

// find is the frequency of the strongest line near the stated one, rad per sample.
func (m *Meter) find(x []float64) float64 {
	n := len(x)
	for i, v := range x {
		m.frame[i] = v * (0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n)))
	}
	clear(m.frame[n:])
	m.fft.Coefficients(m.spec, m.frame)
	bin := 2 * math.Pi / float64(len(m.frame))
	want := 2 * math.Pi * m.cfg.ToneHz / float64(m.s.cfg.SampleRate)
	best, top := want, 0.
	for k := int(want * (1 - meterWide) / bin); k <= int(want*(1+meterWide)/bin)+1 && k < len(m.spec); k++ {
		if p := real(m.spec[k])*real(m.spec[k]) + imag(m.spec[k])*imag(m.spec[k]); p > top {
			best, top = float64(k)*bin, p
		}
	}
	return max(want*(1-meterWide), min(want*(1+meterWide), best))
}

// parts fits the tone to each part of the window and to the whole; omega is set right. why says that
// there is no tone.
func (m *Meter) parts(x []float64, omega *float64) (z []complex128, whole sine, why string) {
	whole, ok := fitTone(x, 0, len(x), *omega)
	want := 2 * math.Pi * m.cfg.ToneHz / float64(m.s.cfg.SampleRate)
	switch {
	case !ok || math.Abs(whole.omega/want-1) > meterWide+0.005:
		return nil, whole, fmt.Sprintf("no tone near %.4g Hz", m.cfg.ToneHz)
	case 20*math.Log10(whole.amplitude/math.Sqrt2/max(whole.noise, 1e-12)) < meterSNR:
		return nil, whole, fmt.Sprintf("no tone near %.4g Hz stands out: it would be less than %d dB over everything else", m.cfg.ToneHz, meterSNR)
	}
	*omega = whole.omega
	n := len(x) / meterParts
	for i := range meterParts {
		v, _, ok := project(x[i*n:(i+1)*n], *omega)
		if !ok {
			return nil, whole, "the window is too short for this tone"
		}
		z = append(z, v)
	}
	return z, whole, ""
}

// delay fills in how much later the second channel is.
func (m *Meter) delay(r *Reading, z []complex128, omega float64) {
	x := m.b[len(m.b)-m.window:]
	_, peak := dsp.Extent(x)
	other, _, why := m.parts(x, &omega)
	if why != "" || peak >= measure.FullScale {
		return
	}
	var sum complex128
	for i := range z {
		sum += z[i] * cmplx.Conj(other[i])
	}
	centre := cmplx.Phase(sum)
	phase := make([]float64, len(z))
	for i := range z {
		phase[i] = wrap(cmplx.Phase(z[i]*cmplx.Conj(other[i])) - centre)
	}
	mean, half := meanHalf(phase)
	us := 1e6 / (2 * math.Pi * r.ToneHz)
	r.HasDelay, r.DelayUs, r.DelayHalf = true, (centre+mean)*us, half*us
}

// meanHalf is the mean of a few values with the half width of its 95 % interval, Student's for
// values that do not depend on each other.
func meanHalf(x []float64) (mean, half float64) {
	n := float64(len(x))
	for _, v := range x {
		mean += v / n
	}
	v := 0.
	for _, y := range x {
		v += (y - mean) * (y - mean)
	}
	return mean, dsp.Estimate{Value: mean, SE: math.Sqrt(v / (n - 1) / n), Dof: n - 1}.Half()
}
