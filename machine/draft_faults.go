package machine

import (
	"fmt"
	"slices"
	"strconv"
)

// UsualFaults are the chance that one part of a kind is faulty on an untouched
// machine, and the ways in which it fails when a definition says nothing else. The
// slice is the caller's, what it points at is not.
func UsualFaults(kind string) (prior float64, modes []FaultMode) {
	def := kindDefaults[kind]
	return def.prior, slices.Clone(def.modes)
}

// Families are the names of the usual ways in which a stage changes its signal.
func Families() []string { return []string{"dead", "weak", "dull", "thin", "noisy", "intermittent"} }

// Family is a fault mode with the usual effect of a family on the signal, for a
// cause, a cure in one line and its minutes once the part is reachable. The spans
// are those most kinds of stage use: [estimate] common practice, no source.
func Family(name, cause, cure string, minutes float64) (FaultMode, error) {
	switch name {
	case "dead":
		return dead(1, cause, cure, minutes), nil
	case "weak":
		return weak(1, cause, span(-12, -1), cure, minutes), nil
	case "dull":
		return dull(1, cause, span(-12, -3), span(-0.5, 0), cure, minutes), nil
	case "thin":
		return FaultMode{Mode: Weak, Cause: cause, Weight: 1, BassDB: span(-20, -4), LevelDB: span(-10, -0.5), Cure: cure, CureMin: minutes}, nil
	case "noisy":
		return noisy(1, cause, hissy, cure, minutes), nil
	case "intermittent":
		return intermittent(1, cause, 0.5, cure, minutes), nil
	}
	return FaultMode{}, fmt.Errorf("%q is not a family of faults; %s", name, didYouMean(name, Families()))
}

// Fields is the mode as a definition says it.
func (m FaultMode) Fields() Fields {
	out := Fields{{"mode", Text(m.Mode)}, {"cause", Text(m.Cause)}, {"weight", figure(m.Weight)}}
	add := func(key string, v Value, there bool) {
		if there {
			out = append(out, Field{key, v})
		}
	}
	add("mechanical", Plain("true"), m.Mechanical)
	for _, r := range []struct {
		key string
		db  []float64
	}{{"level_db", m.LevelDB}, {"treble_db", m.TrebleDB}, {"bass_db", m.BassDB}, {"noise_db", m.NoiseDB}} {
		list := List{}
		for _, x := range r.db {
			list = append(list, figure(x))
		}
		add(r.key, list, len(list) > 0)
	}
	list := List{}
	for _, s := range m.Signature {
		list = append(list, Text(s))
	}
	add("signature", list, len(list) > 0)
	add("presence", figure(m.Presence), m.Presence > 0)
	add("shows", chances(m.Shows), len(m.Shows) > 0)
	add("cured_by", chances(m.CuredBy), len(m.CuredBy) > 0)
	add("cure", Text(m.Cure), m.Cure != "")
	add("cure_minutes", figure(m.CureMin), m.CureMin > 0)
	return out
}

func chances(m map[string]float64) Fields {
	out := Fields{}
	for k, v := range m {
		out = append(out, Field{k, figure(v)})
	}
	slices.SortFunc(out, func(a, b Field) int {
		if a.Key < b.Key {
			return -1
		}
		return 1
	})
	return out
}

func figure(x float64) Plain { return Plain(strconv.FormatFloat(x, 'g', -1, 64)) }
