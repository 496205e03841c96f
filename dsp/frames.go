package dsp

// frames cuts a stream that comes in pieces into stretches of size samples that
// start step apart, step at most size, without copying more than the ends.
type frames struct {
	size, step int
	rest       []float64 // begins where the next stretch does
}

// feed calls use with spans that hold count stretches, the first at the span's
// start. How the stream was cut makes no difference to the stretches.
func (f *frames) feed(x []float64, use func(span []float64, count int)) {
	if len(f.rest) > 0 {
		old := len(f.rest)
		f.rest = append(f.rest, x[:min(len(x), f.size-1)]...)
		count := f.count(len(f.rest))
		// As many as begin in the rest; the others lie wholly in x.
		if most := (old + f.step - 1) / f.step; count > most {
			count = most
		}
		if count > 0 {
			use(f.rest, count)
		}
		next := count * f.step
		if next < old {
			f.rest = f.rest[:copy(f.rest, f.rest[next:])]
			return
		}
		x, f.rest = x[next-old:], f.rest[:0]
	}
	count := f.count(len(x))
	if count > 0 {
		use(x, count)
		x = x[count*f.step:]
	}
	f.rest = append(f.rest, x...)
}

// count is how many stretches n samples hold.
func (f *frames) count(n int) int {
	if n < f.size {
		return 0
	}
	return (n-f.size)/f.step + 1
}
