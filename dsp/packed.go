package dsp

// Packed is a block of frames as they were read, each channel to be decoded by whoever
// works on it. Decoding then is shared out among processors, and its samples are met
// where they are used.
type Packed interface {
	// Frames is the length of the block, above 0.
	Frames() int
	// Unpack fills dst with the block's frames of channel c from frame from on. It may
	// be called by several goroutines at a time. The error says which sample is no
	// number; dst then holds nothing of use.
	Unpack(c, from int, dst []float64) error
}

// PackedStream is a [Stream] that also gives its frames undecoded. Calls of Read and
// ReadPacked may be mixed.
type PackedStream interface {
	Stream
	// ReadPacked reads the next frames, at most most. Fewer come only before the end or
	// a failure; then the next call returns io.EOF or the error, and no block. reuse is
	// an earlier block of this stream that nobody needs any more, or nil.
	ReadPacked(most int, reuse Packed) (Packed, error)
}

// AsPacked returns s itself if it is a PackedStream, else one that decodes when it reads.
func AsPacked(s Stream) PackedStream {
	if p, ok := s.(PackedStream); ok {
		return p
	}
	return &packing{Stream: s}
}

// packing decodes at once what its stream gives.
type packing struct {
	Stream
	err error // met behind the last block
}

func (p *packing) ReadPacked(most int, reuse Packed) (Packed, error) {
	if p.err != nil {
		return nil, p.err
	}
	b, err := ReadPlanar(p.Stream, most, reuse)
	if p.err = err; b != nil {
		return b, nil
	}
	return nil, err
}

// planar is a decoded block.
type planar struct {
	ch   [][]float64
	n    int
	view [][]float64
}

// ReadPlanar reads a block as ReadPacked does from a stream that can only decode. What
// it met behind a block it returns with the block.
func ReadPlanar(s Stream, most int, reuse Packed) (Packed, error) {
	b, ok := reuse.(*planar)
	if !ok || len(b.ch) != s.Channels() || len(b.ch[0]) < most {
		b = &planar{ch: make([][]float64, s.Channels()), view: make([][]float64, s.Channels())}
		for c := range b.ch {
			b.ch[c] = make([]float64, most)
		}
	}
	for b.n = 0; b.n < most; {
		for c := range b.view {
			b.view[c] = b.ch[c][b.n:most]
		}
		n, err := s.Read(b.view)
		b.n += n
		if err != nil && b.n == 0 {
			return nil, err
		}
		if err != nil {
			return b, err
		}
	}
	return b, nil
}

func (b *planar) Frames() int { return b.n }

func (b *planar) Unpack(c, from int, dst []float64) error {
	copy(dst, b.ch[c][from:b.n])
	return nil
}
