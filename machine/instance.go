package machine

import (
	"slices"
	"strconv"
	"strings"
)

// Instance is one stage of one replica: "C11-3".
type Instance struct {
	Stage *Stage
	Key   string // replica key: "3", "a", "L"; empty for a shared stage
}

// Part is the instance's designator: "C11-3".
func (i Instance) Part() string {
	return expand(i.Stage.Part, i.Stage.Each, i.Key)
}

// The replica sets that every definition has.
const (
	EachTrack = "track"
	EachGroup = "group"
)

// Closed is the root of the teardown tree: nothing opened.
const Closed = "closed"

// ReplicaKeys are the keys of a replica set in order: "1" to the track count
// for "track", the group ids for "group", and the list of the definition's
// replicas for any other. "" (shared) has the one key "". An unknown set has
// none.
func (d *Definition) ReplicaKeys(each string) []string {
	switch each {
	case "":
		return []string{""}
	case EachTrack:
		keys := make([]string, max(0, d.Tracks.Count))
		for i := range keys {
			keys[i] = strconv.Itoa(i + 1)
		}
		return keys
	case EachGroup:
		keys := make([]string, len(d.Groups))
		for i, g := range d.Groups {
			keys[i] = g.ID
		}
		return keys
	}
	return slices.Clone(d.Replicas[each])
}

// GroupOf returns the group that a track (from 1) belongs to.
func (d *Definition) GroupOf(track int) (Group, bool) {
	for _, g := range d.Groups {
		if slices.Contains(g.Tracks, track) {
			return g, true
		}
	}
	return Group{}, false
}

// Instances returns every stage instance, in definition order; the replicas of
// one stage stand together.
func (d *Definition) Instances() []Instance {
	var out []Instance
	for i := range d.Stages {
		s := &d.Stages[i]
		for _, k := range d.ReplicaKeys(s.Each) {
			out = append(out, Instance{s, k})
		}
	}
	return out
}

// Designator writes a pattern for one replica: "C11-{track}", "track", "3" gives
// "C11-3".
func (d *Definition) Designator(pattern, each, key string) string {
	return expand(pattern, each, key)
}

func expand(pattern, each, key string) string {
	if each == "" {
		return pattern
	}
	return strings.ReplaceAll(pattern, "{"+each+"}", key)
}

// placeholders are the names in braces in a pattern.
func placeholders(pattern string) []string {
	var out []string
	for {
		_, rest, ok := strings.Cut(pattern, "{")
		if !ok {
			return out
		}
		name, after, ok := strings.Cut(rest, "}")
		if !ok {
			return append(out, rest)
		}
		out, pattern = append(out, name), after
	}
}

// partNames are the single designators in a part: "R21-1/C14-1" is two parts
// that form one stage.
func partNames(part string) []string {
	return strings.Split(part, "/")
}

// index finds things by their id.
type index struct {
	boards     map[string]*Board
	connectors map[string]*Connector
	stages     map[string]*Stage
	functions  map[string]*Function
	points     map[string]*TestPoint
	openings   map[string]*Opening
}

func newIndex(d *Definition) *index {
	return &index{
		boards:     byID(d.Boards, func(b *Board) string { return b.ID }),
		connectors: byID(d.Connectors, func(c *Connector) string { return c.ID }),
		stages:     byID(d.Stages, func(s *Stage) string { return s.ID }),
		functions:  byID(d.Functions, func(f *Function) string { return f.ID }),
		points:     byID(d.TestPoints, func(t *TestPoint) string { return t.ID }),
		openings:   byID(d.Openings, func(o *Opening) string { return o.ID }),
	}
}

func byID[T any](list []T, id func(*T) string) map[string]*T {
	m := make(map[string]*T, len(list))
	for i := range list {
		m[id(&list[i])] = &list[i]
	}
	return m
}

// idx is the index made by Load, or a fresh one for a definition put together
// by hand (tests do); the fresh one is not kept, so that a Definition stays safe
// to read from several goroutines.
func (d *Definition) idx() *index {
	if d.index != nil {
		return d.index
	}
	return newIndex(d)
}

// Stage returns a stage by its id.
func (d *Definition) Stage(id string) (*Stage, bool) { s, ok := d.idx().stages[id]; return s, ok }

// Function returns a function by its id.
func (d *Definition) Function(id string) (*Function, bool) {
	f, ok := d.idx().functions[id]
	return f, ok
}

// TestPoint returns a test point by its id.
func (d *Definition) TestPoint(id string) (*TestPoint, bool) {
	t, ok := d.idx().points[id]
	return t, ok
}

// Board returns a board by its id.
func (d *Definition) Board(id string) (*Board, bool) { b, ok := d.idx().boards[id]; return b, ok }

// Connector returns a connector by its id.
func (d *Definition) Connector(id string) (*Connector, bool) {
	c, ok := d.idx().connectors[id]
	return c, ok
}

// Opening returns an edge of the teardown tree by its id.
func (d *Definition) Opening(id string) (*Opening, bool) {
	o, ok := d.idx().openings[id]
	return o, ok
}
