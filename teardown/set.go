package teardown

import "math/bits"

// most is how many classes of tasks, and how many openings, a problem may have.
const most = 128

// set is a small set of numbers below [most].
type set [most / 64]uint64

func (s *set) add(i int)     { s[i/64] |= 1 << (i % 64) }
func (s *set) drop(i int)    { s[i/64] &^= 1 << (i % 64) }
func (s set) has(i int) bool { return s[i/64]>>(i%64)&1 == 1 }
func (s set) empty() bool    { return s[0]|s[1] == 0 }

func (s set) or(t set) set    { return set{s[0] | t[0], s[1] | t[1]} }
func (s set) and(t set) set   { return set{s[0] & t[0], s[1] & t[1]} }
func (s set) minus(t set) set { return set{s[0] &^ t[0], s[1] &^ t[1]} }

// within tells whether all of s are in t.
func (s set) within(t set) bool { return s[0]&^t[0] == 0 && s[1]&^t[1] == 0 }

func (s set) meets(t set) bool { return s[0]&t[0] != 0 || s[1]&t[1] != 0 }

func (s set) count() int {
	return bits.OnesCount64(s[0]) + bits.OnesCount64(s[1])
}

// all yields the members in order.
func (s set) all(yield func(int) bool) {
	for i, w := range s {
		for ; w != 0; w &= w - 1 {
			if !yield(64*i + bits.TrailingZeros64(w)) {
				return
			}
		}
	}
}
