package dsp

// Bank demodulates several carriers of one signal. Carriers that are low beside
// the sample rate, if there are two or more, share a first decimation of the
// real signal, which keeps what they need as well as a Demodulator does. Its
// outputs equal those of Demodulators but for rate and start, which may differ.
type Bank struct {
	demods []*Demodulator // by band; a low one is that of the inner bank
	direct []*Demodulator
	shared *Decimator
	inner  *Bank
}

// NewBank returns a bank for input at sampleRate, one output per band, in order.
// It panics where [NewDemodulator] does.
func NewBank(sampleRate float64, bands []Band) *Bank {
	return bankFrom(sampleRate, 0, bands)
}

// leastShare is the least factor by which low carriers are decimated together;
// with less the shared filter costs more than it saves.
const leastShare = 4

func bankFrom(sampleRate, start float64, bands []Band) *Bank {
	b := &Bank{demods: make([]*Demodulator, len(bands))}
	var low []Band
	var at []int
	top := 0.0
	for i, band := range bands {
		if t := band.CarrierHz + band.StopHz; t < foldingPart*sampleRate/leastShare {
			low, at, top = append(low, band), append(at, i), max(top, t)
			continue
		}
		b.demods[i] = demodulatorFrom(sampleRate, start, band)
		b.direct = append(b.direct, b.demods[i])
	}
	if len(low) >= 2 {
		factor := int(foldingPart * sampleRate / top)
		if shared, ok := newFolding(sampleRate, factor, top/sampleRate, demodAttenDB); ok {
			b.shared = shared
			b.inner = bankFrom(shared.Rate(), start+shared.Start(), low)
			for k, i := range at {
				b.demods[i] = b.inner.demods[k]
			}
			return b
		}
	}
	for k, i := range at {
		b.demods[i] = demodulatorFrom(sampleRate, start, low[k])
		b.direct = append(b.direct, b.demods[i])
	}
	return b
}

// foldingPart of the shared rate is the highest that low carriers reach: nearer
// to half of it the filter before the decimation grows.
const foldingPart = 0.15

// Feed takes the next samples.
func (b *Bank) Feed(x []float64) {
	for _, d := range b.direct {
		d.Feed(x)
	}
	if b.shared != nil {
		b.shared.Feed(x)
		b.inner.Feed(b.shared.Drain())
	}
}

// Rate is the rate of output i in hertz.
func (b *Bank) Rate(i int) float64 { return b.demods[i].Rate() }

// Start is the time of the first of output i in seconds after the first sample fed.
func (b *Bank) Start(i int) float64 { return b.demods[i].Start() }

// Output returns the complex amplitudes of band i not yet drained.
func (b *Bank) Output(i int) []complex128 { return b.demods[i].Output() }

// Drain returns the complex amplitudes of band i not yet drained and forgets
// them. The slice is good until the next Feed.
func (b *Bank) Drain(i int) []complex128 { return b.demods[i].Drain() }
