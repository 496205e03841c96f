package testtape

// halver takes every second sample of a signal through a short half-band
// low-pass. Up to a third of the new rate it is flat within 1 dB, and what
// folds down there is at least 20 dB lower: enough to hear tones by, at half the
// cost of the transforms, and not used where levels are measured.
//
// The taps are those of the interpolating (maximally flat, Deslauriers-Dubuc)
// half-band filter of length 11.
type halver struct {
	past [halverTaps - 1]float64
}

const (
	halverTaps             = 11
	tap0, tap1, tap3, tap5 = 256. / 512, 150. / 512, -25. / 512, 3. / 512
)

// halve reads x, of even length, and writes half as many samples to dst, which
// must not overlap x. Their
// delay of 5 samples is below anything that sections are placed to.
func (h *halver) halve(dst, x []float64) {
	at := func(i int) float64 {
		if i < 0 {
			return h.past[len(h.past)+i]
		}
		return x[i]
	}
	out := 0
	n := 0
	for ; n < len(x) && n < halverTaps; n += 2 {
		dst[out] = tap0*at(n-5) + tap1*(at(n-4)+at(n-6)) + tap3*(at(n-2)+at(n-8)) + tap5*(at(n)+at(n-10))
		out++
	}
	for ; n < len(x); n += 2 {
		w := x[n-10 : n+1 : n+1]
		dst[out] = tap0*w[5] + tap1*(w[6]+w[4]) + tap3*(w[8]+w[2]) + tap5*(w[10]+w[0])
		out++
	}
	if len(x) >= len(h.past) {
		copy(h.past[:], x[len(x)-len(h.past):])
		return
	}
	copy(h.past[:], h.past[len(x):])
	copy(h.past[len(h.past)-len(x):], x)
}

// halvings is how often a rate can be halved and still carry tones up to top
// at every speed searched for.
func halvings(rate, top float64) int {
	n := 0
	for top*speedHigh < rate/2/3 && rate/2 >= 16*hissHz {
		rate /= 2
		n++
	}
	return n
}
