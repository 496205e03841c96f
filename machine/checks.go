package machine

import (
	"cmp"
	"fmt"
	"slices"

	"headstack/unit"
)

// CheckItem is one line of the control check sheet: one knob, key or socket.
type CheckItem struct {
	ID       string // "fader/3", "tape-key/play"; stable, for the record
	Name     string // "fader 3"
	Kind     string
	Board    string
	Key      string // replica key or item name; empty for a single control
	Stage    string // stage id, when the control is a stage of a path
	Part     string // that stage instance's designator
	Order    int    // along the signal flow
	Minutes  unit.Minutes
	Try      string // what to do and what should happen
	Cautions []string
	Setups   []SetupInstance // under any of which it can be tried; empty: none is needed
	Control  *Control
}

// defaultCheckMinutes is one item of a script-led control test: 135 items in
// about half an hour. [estimate] common practice, no source.
const defaultCheckMinutes = 0.25

// CheckItems expands the controls into the check sheet, in signal-flow order:
// by Order, then as written. Controls of one Order that repeat over one set are
// interleaved, so that a strip is tried from top to bottom before the next one.
func (d *Definition) CheckItems() []CheckItem {
	type row struct {
		CheckItem
		set, rank int
	}
	var rows []row
	for i := range d.Controls {
		x := &d.Controls[i]
		for n, it := range d.itemsOf(x) {
			set := 0
			if x.Each != "" {
				set = n
			}
			rows = append(rows, row{it, set, i})
		}
	}
	slices.SortStableFunc(rows, func(a, b row) int {
		return cmp.Or(cmp.Compare(a.Order, b.Order), cmp.Compare(a.set, b.set), cmp.Compare(a.rank, b.rank))
	})
	out := make([]CheckItem, len(rows))
	for i, r := range rows {
		out[i] = r.CheckItem
	}
	return out
}

// itemsOf are the check items of one control.
func (d *Definition) itemsOf(x *Control) []CheckItem {
	base := CheckItem{ID: x.ID, Name: x.Name, Kind: x.Kind, Board: x.Board, Stage: x.Stage, Order: x.Order,
		Minutes: unit.Minutes(x.Minutes), Try: x.Try, Cautions: x.Cautions, Control: x}
	if base.Minutes == 0 {
		base.Minutes = defaultCheckMinutes
	}
	if x.Each == "" && len(x.Items) == 0 {
		base.Part, base.Setups = d.controlPart(x, ""), d.setupsOf(x, "")
		return []CheckItem{base}
	}
	keys := x.Items
	if x.Each != "" {
		keys = d.ReplicaKeys(x.Each)
	}
	out := make([]CheckItem, len(keys))
	for i, k := range keys {
		it := base
		it.ID, it.Key, it.Setups = x.ID+"/"+slug(k), k, d.setupsOf(x, k)
		if x.Each != "" {
			it.Name = expand(x.Name, x.Each, k)
			it.Try = expand(x.Try, x.Each, k)
			it.Part = d.controlPart(x, k)
		} else {
			it.Name = fmt.Sprintf("%s %s", x.Name, k)
		}
		out[i] = it
	}
	return out
}

// controlPart is the designator of the stage instance that a control is.
func (d *Definition) controlPart(x *Control, key string) string {
	s, ok := d.Stage(x.Stage)
	if !ok || s.Each != x.Each {
		return ""
	}
	return Instance{s, key}.Part()
}

// slug makes an item name fit for an id: spaces become dashes.
func slug(s string) string {
	out := []rune(s)
	for i, r := range out {
		if r == ' ' || r == '/' {
			out[i] = '-'
		}
	}
	return string(out)
}

// Measures are the words a trim's Sets may be: what an adjuster moves.
func Measures() []string {
	return []string{"level", "response", "response_low", "speed_error", "azimuth", "height", "rack", "bias", "bias_frequency",
		"trap_leak", "erase", "record_level", "record_response", "compander_level", "meter", "offset", "tension", "brake_torque",
		"distortion", "noise", "crosstalk", "sync_level", "sync_response"}
}
