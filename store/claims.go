package store

import (
	"cmp"
	"encoding/json"
	"maps"
	"slices"
)

// claims are what several sources say of the same things.
type claims[K cmp.Ordered, T any] map[K][]*claim[T]

// claim is one thing as one or more sources have it.
type claim[T any] struct {
	value  T
	text   string
	source int // the last that said it
	votes  int // sources that said it
}

// add notes what a source says. Sources come one after another.
func (c claims[K, T]) add(source int, key K, value T) {
	data, err := json.Marshal(value)
	if err != nil {
		return // a figure that JSON has not: no bench kept it
	}
	for _, old := range c[key] {
		if old.text == string(data) {
			if old.source != source {
				old.source, old.votes = source, old.votes+1
			}
			return
		}
	}
	c[key] = append(c[key], &claim[T]{value, string(data), source, 1})
}

// keys are the things spoken of, in order.
func (c claims[K, T]) keys() []K { return slices.Sorted(maps.Keys(c)) }

// best is what most sources say, of equals the first that came. doubt says in words why it is
// not sure; empty: two or more say it, and more than say anything else.
func (c claims[K, T]) best(key K) (value T, doubt string) {
	var best, second *claim[T]
	for _, x := range c[key] {
		switch {
		case best == nil || x.votes > best.votes:
			best, second = x, best
		case second == nil || x.votes > second.votes:
			second = x
		}
	}
	switch {
	case second != nil && second.votes == best.votes:
		doubt = "it is told in two ways, each as often; this is the one of the newest copy"
	case best.votes == 1:
		doubt = "it stands in one place only, where nothing tells whether it is as it was written"
	}
	return best.value, doubt
}
