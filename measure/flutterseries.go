package measure

import "math"

// speedSeries is the relative deviation of one speed signal from its own mean.
type speedSeries struct {
	dev     []float64
	rate    float64
	mean    float64 // taken off, relative to the expected carrier
	noise   float64 // density of the deviation's noise over f², 1/Hz³: the carrier's phase noise over its frequency squared
	dropped float64 // share of time that was mended
}

// commonSpeed is the speed signal that all channels share: their mean, each counted by
// its noise. The noise of the middling channel is added to all, so that one very quiet
// channel does not count for everything: then its own jitter would pass for common.
func (st *speedTake) commonSpeed(order []int) *speedSeries {
	var chans []*speedChannel
	var noises []float64
	n := math.MaxInt
	for _, c := range order {
		if ch := st.channels[c]; ch != nil && ch.absent == "" {
			chans, noises, n = append(chans, ch), append(noises, ch.noise), min(n, len(ch.dev))
		}
	}
	if len(chans) == 0 {
		return nil
	}
	floor := median(noises)
	s := &speedSeries{dev: make([]float64, n), rate: chans[0].rate}
	weights, bad := make([]float64, n), make([]bool, n)
	total := 0.0
	for _, ch := range chans {
		w := part(ch.noise, floor)
		total += w
		s.noise += w * w * ch.noise
		s.mean += w * ch.mean
		for i, v := range ch.dev[:n] {
			if v == v {
				s.dev[i] += w * (float64(v) - ch.mean)
				weights[i] += w
			}
		}
	}
	s.mean /= total
	s.noise /= total * total * st.band.CarrierHz * st.band.CarrierHz
	for i, w := range weights {
		if bad[i] = w == 0; !bad[i] {
			s.dev[i] /= w
		}
	}
	s.dropped = share(bad)
	mend(s.dev, bad)
	s.aboutItsMean()
	return s
}

// series is the speed signal of one channel; drop-outs are filled with the common one.
func (st *speedTake) series(ch *speedChannel) *speedSeries {
	s := &speedSeries{dev: make([]float64, len(st.common.dev)), rate: ch.rate, mean: ch.mean, dropped: ch.dropped}
	s.noise = ch.noise / (st.band.CarrierHz * st.band.CarrierHz)
	for i := range s.dev {
		if v := ch.dev[i]; v == v {
			s.dev[i] = float64(v) - ch.mean
		} else {
			s.dev[i] = st.common.dev[i]
		}
	}
	s.aboutItsMean()
	return s
}

// rest is what a channel's speed signal has beside the common one; none in drop-outs.
func (st *speedTake) rest(ch *speedChannel) *speedSeries {
	s := &speedSeries{dev: make([]float64, len(st.common.dev)), rate: ch.rate, dropped: ch.dropped}
	for i := range s.dev {
		if v := ch.dev[i]; v == v {
			s.dev[i] = float64(v) - ch.mean - st.common.dev[i]
		}
	}
	// The common signal holds a part w of the channel's own noise.
	k := st.band.CarrierHz * st.band.CarrierHz
	own, w := ch.noise/k, st.weight(ch)
	s.noise = math.Max(0, own*(1-2*w)+st.common.noise)
	return s
}

// weight is a channel's part in the common signal.
func (st *speedTake) weight(ch *speedChannel) float64 {
	var noises []float64
	for _, c := range st.channels {
		if c != nil && c.absent == "" {
			noises = append(noises, c.noise)
		}
	}
	floor, total := median(noises), 0.0
	for _, v := range noises {
		total += part(v, floor)
	}
	return part(ch.noise, floor) / total
}

// part is how much a channel counts. Noises within 1 dB of the middling one count as
// equal, so that equal tracks have a plain mean in spite of the noise's own error.
func part(noise, floor float64) float64 {
	if !(floor > 0) || math.Abs(10*math.Log10(noise/floor)) < 1 {
		return 1
	}
	return 2 * floor / (floor + noise)
}

// aboutItsMean scales from the expected carrier to the mean speed.
func (s *speedSeries) aboutItsMean() {
	m := meanOf(s.dev)
	s.mean += m
	k := 1 / (1 + s.mean)
	for i := range s.dev {
		s.dev[i] = (s.dev[i] - m) * k
	}
	s.noise *= k * k
}

func (s *speedSeries) seconds() float64 { return float64(len(s.dev)) / s.rate }

// means are those of blocks of about speedDecimation, longer in a long series: at most
// 1500, and one value for each dt.
func means(x []float64, rate float64) (y []float64, dt float64) {
	m := max(1, int(math.Max(speedDecimation*rate, float64(len(x))/1500)))
	for i := 0; i+m <= len(x); i += m {
		y = append(y, meanOf(x[i:i+m]))
	}
	return y, float64(m) / rate
}
