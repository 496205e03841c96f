package capture

// unpackerFor is the decoder of one channel out of a block that others work on at the
// same time. There the loop waits for its arithmetic and not for the file, so that of 24
// bits, the format of most interfaces, goes four samples at a time where the processor can.
func unpackerFor(f wavFormat) decoder {
	if hasVectors && f.encoding != Float && f.container == 3 {
		return unpackPCM24
	}
	return decoderFor(f)
}

// unpackPCM24 is decodePCM24, bit for bit.
func unpackPCM24(b []byte, d []float64, p, stride int) int {
	n := len(d) &^ 3
	if n > 0 {
		_ = b[p+(n-1)*stride+3] // what the loop below reads
		pcm24AVX2(&d[0], &b[p], stride, n/4)
	}
	return decodePCM24(b, d[n:], p+n*stride, stride)
}
