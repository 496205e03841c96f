package programme

import (
	"math"

	"headstack/dsp"
)

const (
	// hopSeconds is the time over which levels are kept.
	hopSeconds = 0.1
	// leakChunk is the number of frames over which channels are compared, two periods
	// of 50 Hz at 96 kHz.
	leakChunk = 4096
	// leakRatio is by how much the power of another round's channel must exceed all of
	// this round's for these to be taken as a leak: 20 dB.
	leakRatio = 100.0
)

// picked is a stream of some of another's channels. It counts frames and keeps levels.
// Where a channel that is not picked is far louder than all picked ones, these are
// silenced: there the tape holds another round, and what is heard of it here is
// crosstalk, which carries the same tones in the same order.
type picked struct {
	dsp.Stream
	use, rest []int
	all       [][]float64
	spare     [][]float64 // for the channels in rest
	frames    int64

	hop    int         // frames
	into   int         // frames of the hop so far
	sums   []float64   // of the hop: sum and sum of squares of each picked channel
	levels [][]float32 // per whole hop, per picked channel: mean square about the mean, dB
}

func (s *picked) Channels() int { return len(s.use) }

func (s *picked) Read(dst [][]float64) (int, error) {
	if len(s.spare) < len(s.rest) || len(s.rest) > 0 && len(s.spare[0]) < len(dst[0]) {
		s.spare = make([][]float64, len(s.rest))
		for i := range s.spare {
			s.spare[i] = make([]float64, len(dst[0]))
		}
	}
	for i, c := range s.rest {
		s.all[c] = s.spare[i][:len(dst[0])]
	}
	for i, c := range s.use {
		s.all[c] = dst[i]
	}
	n, err := s.Stream.Read(s.all)
	s.frames += int64(n)
	if len(s.rest) > 0 {
		for from := 0; from < n; from += leakChunk {
			s.silenceLeak(from, min(from+leakChunk, n))
		}
	}
	s.keepLevels(dst, n)
	return n, err
}

func (s *picked) silenceLeak(from, to int) {
	loudest := func(channels []int) float64 {
		most := 0.0
		for _, c := range channels {
			sum := 0.0
			for _, v := range s.all[c][from:to] {
				sum += v * v
			}
			most = max(most, sum)
		}
		return most
	}
	if loudest(s.rest) > leakRatio*loudest(s.use) {
		for _, c := range s.use {
			clear(s.all[c][from:to])
		}
	}
}

func (s *picked) keepLevels(x [][]float64, n int) {
	for from := 0; from < n; {
		to := min(n, from+s.hop-s.into)
		for c := range x {
			sum, squares := s.sums[2*c], s.sums[2*c+1]
			for _, v := range x[c][from:to] {
				sum += v
				squares += v * v
			}
			s.sums[2*c], s.sums[2*c+1] = sum, squares
		}
		s.into += to - from
		if s.into == s.hop {
			s.endHop()
		}
		from = to
	}
}

func (s *picked) endHop() {
	row := make([]float32, len(s.use))
	for c := range row {
		mean := s.sums[2*c] / float64(s.hop)
		row[c] = float32(10 * math.Log10(max(1e-20, s.sums[2*c+1]/float64(s.hop)-mean*mean)))
	}
	s.levels = append(s.levels, row)
	clear(s.sums)
	s.into = 0
}

// level is the mean level in dB of a picked channel in a stretch of time; ok is false
// when that holds no whole hop.
func (s *picked) level(channel int, from, to float64) (db float64, ok bool) {
	each := float64(s.hop) / s.SampleRate()
	lo, hi := max(0, int(math.Ceil(from/each))), min(len(s.levels), int(to/each))
	if hi <= lo {
		return 0, false
	}
	for _, row := range s.levels[lo:hi] {
		db += float64(row[channel]) / float64(hi-lo)
	}
	return db, true
}
