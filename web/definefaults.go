package web

import (
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
	"headstack/report"
)

// faultOffer is one way in which a stage may fail, to be ticked.
type faultOffer struct {
	Value, Text string
	Ticked      bool
}

// faultsView is what the field "how it fails" shows.
type faultsView struct {
	Kind     string // for which the offers stand
	OneIn    int    // one of how many such parts is faulty on an untouched machine
	Offers   []faultOffer
	Families []string
	Family   string // own mode, as typed
	Cause    string
	Cure     string
	Minutes  string
}

// faultsOf offers the usual ways of a kind and those that the stage has of its own.
// Without any of its own all the usual ones are ticked.
func faultsOf(kind string, own machine.List) *faultsView {
	prior, usual := machine.UsualFaults(kind)
	v := &faultsView{Kind: kind, Families: machine.Families()}
	if prior > 0 {
		v.OneIn = int(math.Round(1 / prior))
	}
	causes := map[string]bool{}
	for i, x := range own {
		f, ok := x.(machine.Fields)
		if !ok {
			continue
		}
		cause := shownValue(f.Get("cause"), fieldText)
		causes[cause] = true
		v.Offers = append(v.Offers, faultOffer{"own:" + strconv.Itoa(i), report.ModeWord(machine.Mode(shownValue(f.Get("mode"), fieldText)), cause), true})
	}
	for i, m := range usual {
		if !causes[m.Cause] {
			v.Offers = append(v.Offers, faultOffer{"usual:" + strconv.Itoa(i), report.ModeWord(m.Mode, m.Cause) + effects(m), len(own) == 0})
		}
	}
	return v
}

// effects says what a mode does to the signal: " (level −10 to −0.5 dB)".
func effects(m machine.FaultMode) string {
	var out []string
	for _, r := range []struct {
		what string
		db   []float64
	}{{"level", m.LevelDB}, {"treble", m.TrebleDB}, {"bass", m.BassDB}, {"noise", m.NoiseDB}} {
		if len(r.db) == 2 {
			out = append(out, r.what+" "+number(r.db[0])+" to "+number(r.db[1])+"\u2009dB")
		}
	}
	if len(out) == 0 {
		return ""
	}
	return " (" + strings.Join(out, ", ") + ")"
}

// ticked is the value of the field as the digest of a fresh form has it.
func (v *faultsView) ticked() string {
	var out []string
	for _, o := range v.Offers {
		if o.Ticked {
			out = append(out, o.Value)
		}
	}
	return strings.Join(out, "\n") + v.Families[0]
}

// typedFaults is the list of fault modes that was ticked; nil: the usual ones of the
// kind, which need not be written out. Ticks for another kind than the one chosen count
// for nothing: they were not seen.
func typedFaults(old machine.Value, form url.Values) (machine.Value, error) {
	own, _ := old.(machine.List)
	kind := form.Get("f.kind")
	_, usual := machine.UsualFaults(kind)
	ticks := form["f.faults"]
	out := machine.List{}
	if form.Get("faultsof") != kind {
		out, ticks = slices.Clone(own), nil
	}
	nUsual := 0
	for _, t := range ticks {
		source, at, _ := strings.Cut(t, ":")
		i, err := strconv.Atoi(at)
		switch {
		case err != nil || i < 0:
		case source == "own" && i < len(own):
			out = append(out, own[i])
		case source == "usual" && i < len(usual):
			out = append(out, usual[i].Fields())
			nUsual++
		}
	}
	allUsual := nUsual == len(out) && (nUsual == len(usual) || nUsual == 0)
	if strings.TrimSpace(form.Get("own.cause")) != "" {
		minutes := 0.0
		if s := strings.TrimSpace(form.Get("own.minutes")); s != "" {
			v, err := typedNumber(s)
			if err != nil {
				return nil, err
			}
			minutes, _ = strconv.ParseFloat(string(v.(machine.Plain)), 64)
		}
		m, err := machine.Family(form.Get("own.family"), strings.TrimSpace(form.Get("own.cause")), strings.TrimSpace(form.Get("own.cure")), minutes)
		if err != nil {
			return nil, err
		}
		if allUsual { // its own beside the usual ones: they have to be written out
			out = machine.List{}
			for _, u := range usual {
				out = append(out, u.Fields())
			}
		}
		m.Weight = heaviest(usual)
		return append(out, m.Fields()), nil
	}
	if allUsual || len(out) == 0 {
		return nil, nil
	}
	return out, nil
}

// heaviest is the weight of the likeliest mode: an own cause is written down because it
// is met, so it starts as likely as that.
func heaviest(modes []machine.FaultMode) float64 {
	w := 0.0
	for _, m := range modes {
		w = max(w, m.Weight)
	}
	if w == 0 {
		return 1
	}
	return w
}
