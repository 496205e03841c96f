package capture

import (
	"io"

	"github.com/mewkiz/flac"
)

type flacSource struct {
	r   *Reader
	st  *flac.Stream
	cur [][]int32
	off int
}

type inputReader struct{ in *input }

func (r inputReader) Read(p []byte) (int, error) {
	r.in.fill(1)
	n := copy(p, r.in.buf[r.in.off:r.in.end])
	r.in.off += n
	if n == 0 {
		return 0, r.in.err
	}
	return n, nil
}

func (r *Reader) openFLAC() error {
	st, err := flac.New(inputReader{r.in})
	if err != nil {
		return r.fault(ErrDamaged, r.in.offset(), err.Error(), "", hintAgain)
	}
	r.info = Info{Format: FLAC, Encoding: PCM, Bits: int(st.Info.BitsPerSample), Channels: int(st.Info.NChannels), SampleRate: int(st.Info.SampleRate)}
	r.src = &flacSource{r: r, st: st}
	return nil
}

func (s *flacSource) frames() (int64, bool) { return int64(s.st.Info.NSamples), false }

func (s *flacSource) read(dst [][]float64) (int, error) {
	scale := 1 / float64(int64(1)<<(s.st.Info.BitsPerSample-1))
	for done := 0; ; {
		if done == len(dst[0]) {
			return done, nil
		}
		if len(s.cur) == 0 || s.off == len(s.cur[0]) {
			f, err := s.st.Next()
			if err == nil {
				f.BitsPerSample = s.st.Info.BitsPerSample
				err = f.Parse()
			}
			if err == io.EOF {
				return done, err
			}
			if err != nil {
				return done, s.r.fault(ErrDamaged, s.r.in.offset(), err.Error(), "", hintAgain)
			}
			s.cur, s.off = s.cur[:0], 0
			for _, sf := range f.Subframes {
				s.cur = append(s.cur, sf.Samples)
			}
		}
		k := min(len(dst[0])-done, len(s.cur[0])-s.off)
		for c := range dst {
			for i, v := range s.cur[c][s.off : s.off+k] {
				dst[c][done+i] = float64(v) * scale
			}
		}
		s.off += k
		done += k
	}
}
