package capture

import "fmt"

// subframe decodes the samples of one channel into s, RFC 9639 section 9.2.
// what is empty, or says what is wrong; after the end of the input br.short is
// set and what means nothing.
func (b *bitReader) subframe(s []int64, bits uint) (what string) {
	h := b.read(8)
	if h&0x80 != 0 {
		return "a subframe header with its first bit set"
	}
	var wasted uint
	if h&1 != 0 {
		wasted = uint(b.unary(64)) + 1
	}
	if wasted >= bits {
		return fmt.Sprintf("%d wasted bits of %d", wasted, bits)
	}
	bits -= wasted
	switch kind := h >> 1; {
	case kind == 0:
		fill(s, b.signed(bits))
	case kind == 1:
		b.verbatim(s, bits)
	case kind >= 8 && kind <= 12:
		what = b.fixed(s, int(kind-8), bits)
	case kind >= 32:
		what = b.linear(s, int(kind-31), bits)
	default:
		return fmt.Sprintf("reserved subframe type %d", kind)
	}
	if wasted > 0 {
		for i := range s {
			s[i] <<= wasted
		}
	}
	return what
}

func fill(s []int64, v int64) {
	for i := range s {
		s[i] = v
	}
}

func (b *bitReader) verbatim(s []int64, bits uint) {
	for i := range s {
		if s[i] = b.signed(bits); b.short {
			return
		}
	}
}

// fixed decodes a subframe with one of the fixed predictors, section 9.2.5.
func (b *bitReader) fixed(s []int64, order int, bits uint) (what string) {
	if order > len(s) {
		return fmt.Sprintf("a predictor of order %d for %d samples", order, len(s))
	}
	b.verbatim(s[:order], bits)
	if what = b.residuals(s, order); what != "" || b.short {
		return what
	}
	switch order {
	case 1:
		for i := 1; i < len(s); i++ {
			s[i] += s[i-1]
		}
	case 2:
		for i := 2; i < len(s); i++ {
			s[i] += 2*s[i-1] - s[i-2]
		}
	case 3:
		for i := 3; i < len(s); i++ {
			s[i] += 3*(s[i-1]-s[i-2]) + s[i-3]
		}
	case 4:
		for i := 4; i < len(s); i++ {
			s[i] += 4*(s[i-1]+s[i-3]) - 6*s[i-2] - s[i-4]
		}
	}
	return ""
}

// linear decodes a subframe with its own predictor, section 9.2.6.
func (b *bitReader) linear(s []int64, order int, bits uint) (what string) {
	if order > len(s) {
		return fmt.Sprintf("a predictor of order %d for %d samples", order, len(s))
	}
	b.verbatim(s[:order], bits)
	precision := uint(b.read(4)) + 1
	shift := b.signed(5)
	if precision == 16 || shift < 0 {
		return fmt.Sprintf("a predictor of precision %d, shift %d", precision, shift)
	}
	// Oldest sample first, so that coefficients and samples run the same way.
	var room [32]int64
	coef := room[:order]
	for i := range coef {
		coef[order-1-i] = b.signed(precision)
	}
	if what = b.residuals(s, order); what != "" || b.short {
		return what
	}
	predict(s, coef, uint(shift))
	return ""
}

// predict adds the prediction from the samples before it to each residual.
func predict(s, coef []int64, shift uint) {
	order := len(coef)
	for i := order; i < len(s); i++ {
		past := s[i-order : i]
		past = past[:len(coef)]
		var sum int64
		for j, c := range coef {
			sum += c * past[j]
		}
		s[i] += sum >> shift
	}
}

// residuals decodes the coded residuals into s[order:], section 9.2.7.
func (b *bitReader) residuals(s []int64, order int) (what string) {
	method, partOrder := b.read(2), uint(b.read(4))
	if method > 1 {
		return fmt.Sprintf("reserved residual coding %d", method)
	}
	paramBits, escape := uint(4+method), uint(15+16*method)
	part := len(s) >> partOrder
	if part<<partOrder != len(s) || part < order {
		return fmt.Sprintf("%d samples in %d partitions after %d for the predictor", len(s), 1<<partOrder, order)
	}
	from := order
	for end := part; end <= len(s); end += part {
		if param := uint(b.read(paramBits)); param != escape {
			if !b.rice(s[from:end], param) {
				return "a residual of more than 32 bits"
			}
		} else {
			b.verbatim(s[from:end], uint(b.read(5)))
		}
		if b.short {
			return ""
		}
		from = end
	}
	return ""
}
