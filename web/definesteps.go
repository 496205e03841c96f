package web

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
)

// defineStep is one page of writing a definition: a list of the definition with a form
// for one of its items, or, without a list, the fields at its top.
type defineStep struct {
	ID, Name string
	Line     string // what it is for, in one line
	One      string // what one item is called
	List     string // the list in the definition; empty: fields at the top
	Fields   []defineField
	Cautions []string // names of standard cautions that the writing touches
}

// defineField is one field of a step. What offers and what stands in an empty form may
// depend on what the draft holds already.
type defineField struct {
	Key     string // in the definition; a point leads into nested fields: "expect.value"
	Label   string
	Kind    fieldKind
	Hint    string // shown in the empty field
	Offer   func(d *machine.Definition) []choice
	Default func(d *machine.Definition) string
	Note    func(d *machine.Definition) string // what can be named here
	Plain   bool                               // a choice or word of a list that is a number
	Always  bool                               // a tick that is written when it is off, too
}

type fieldKind string

const (
	fieldText   fieldKind = "text"
	fieldNumber fieldKind = "number"
	fieldChoice fieldKind = "choice"
	fieldTick   fieldKind = "tick"
	fieldWords  fieldKind = "words" // a list, with commas
	fieldLines  fieldKind = "lines" // a list, one in a line
	fieldPairs  fieldKind = "pairs" // names with values: "side: L"
	fieldFaults fieldKind = "faults"
)

func fixed(s string) func(*machine.Definition) string {
	return func(*machine.Definition) string { return s }
}

func offered(words ...string) func(*machine.Definition) []choice {
	return func(*machine.Definition) []choice {
		out := make([]choice, len(words))
		for i, w := range words {
			out[i] = choice{w, cmp.Or(w, "–"), ""}
		}
		return out
	}
}

// offerIDs offers the ids of what the draft has, with their names.
func offerIDs[T any](list func(*machine.Definition) []T, id func(*T) (string, string), first ...choice) func(*machine.Definition) []choice {
	return func(d *machine.Definition) []choice {
		out := slices.Clone(first)
		l := list(d)
		for i := range l {
			id, name := id(&l[i])
			out = append(out, choice{id, strings.TrimSuffix(id+", "+name, ", "), ""})
		}
		return out
	}
}

var (
	noChoice      = choice{"", "–", ""}
	offerBoards   = offerIDs(func(d *machine.Definition) []machine.Board { return d.Boards }, func(b *machine.Board) (string, string) { return b.ID, b.Name }, noChoice)
	offerOpenings = offerIDs(func(d *machine.Definition) []machine.Opening { return d.Openings }, func(o *machine.Opening) (string, string) { return o.ID, o.Name },
		choice{machine.Closed, "closed: nothing to open", ""})
	offerWork      = offerIDs(func(d *machine.Definition) []machine.Opening { return d.Openings }, func(o *machine.Opening) (string, string) { return o.ID, o.Name }, choice{"", "the same", ""})
	offerFunctions = offerIDs(func(d *machine.Definition) []machine.Function { return d.Functions }, func(f *machine.Function) (string, string) { return f.ID, f.Name },
		choice{"", "none: a rail or logic level", ""})
	offerStages = offerIDs(func(d *machine.Definition) []machine.Stage { return d.Stages }, func(s *machine.Stage) (string, string) { return s.ID, s.Name }, noChoice)
	offerPlugs  = offerIDs(func(d *machine.Definition) []machine.Connector { return d.Connectors }, func(c *machine.Connector) (string, string) { return c.ID, c.Kind }, noChoice)
)

// offerEach offers the sets over which things repeat, with what that makes.
func offerEach(d *machine.Definition) []choice {
	out := []choice{{"", "one, shared by all tracks", ""}}
	for _, set := range setsOf(d) {
		keys := d.ReplicaKeys(set)
		out = append(out, choice{set, fmt.Sprintf("one for each %s: %s", set, keySpan(keys)), ""})
	}
	return out
}

func setsOf(d *machine.Definition) []string {
	out := []string{machine.EachTrack}
	if len(d.Groups) > 0 {
		out = append(out, machine.EachGroup)
	}
	var own []string
	for name := range d.Replicas {
		own = append(own, name)
	}
	slices.Sort(own)
	return append(out, own...)
}

// keySpan is a list of keys in few words: "1 to 4", "L, R".
func keySpan(keys []string) string {
	switch {
	case len(keys) == 0:
		return "none yet"
	case len(keys) > 2 && keys[0] == "1" && keys[len(keys)-1] == strconv.Itoa(len(keys)):
		return "1 to " + strconv.Itoa(len(keys))
	}
	return strings.Join(keys, ", ")
}

// offerAt offers where a trim is set: a function or a test point.
func offerAt(d *machine.Definition) []choice {
	out := []choice{{"", "not said", ""}}
	for _, f := range d.Functions {
		out = append(out, choice{f.ID, "function " + f.ID, ""})
	}
	for _, p := range d.TestPoints {
		out = append(out, choice{p.ID, "test point " + p.ID, ""})
	}
	return out
}

func lastBoard(d *machine.Definition) string {
	if n := len(d.Stages); n > 0 {
		return d.Stages[n-1].Board
	}
	if len(d.Boards) > 0 {
		return d.Boards[0].ID
	}
	return ""
}

// allStages is every stage in the order of the list: what a first function passes.
func allStages(d *machine.Definition) string {
	if len(d.Functions) > 0 {
		return ""
	}
	var out []string
	for _, s := range d.Stages {
		out = append(out, s.ID)
	}
	return strings.Join(out, ", ")
}

// links names what a path can be made of.
func links(d *machine.Definition) string {
	var out []string
	for _, s := range d.Stages {
		out = append(out, s.ID)
	}
	for _, f := range d.Functions {
		out = append(out, "@"+f.ID)
	}
	return thereAre(out)
}

func plugs(d *machine.Definition) string {
	var out []string
	for _, c := range d.Connectors {
		out = append(out, c.ID)
	}
	return thereAre(out)
}

func setupIDs(d *machine.Definition) string {
	var out []string
	for _, s := range d.Setups {
		out = append(out, s.ID)
	}
	return thereAre(out)
}

func thereAre(ids []string) string {
	if len(ids) == 0 {
		return "none is described yet"
	}
	return "there are: " + strings.Join(ids, ", ")
}

func firstFunction(d *machine.Definition) string {
	if len(d.Functions) > 0 {
		return d.Functions[0].ID
	}
	return ""
}

func referenceTone(d *machine.Definition) string {
	return strconv.FormatFloat(cmp.Or(d.Reference.ToneHz, 315), 'g', -1, 64)
}

func nextOrder(d *machine.Definition) string {
	order := 0
	for _, c := range d.Controls {
		order = max(order, c.Order)
	}
	return strconv.Itoa(order + 10)
}

var (
	eachField    = defineField{Key: "each", Label: "repeats", Kind: fieldChoice, Offer: offerEach, Default: fixed(machine.EachTrack)}
	onceField    = defineField{Key: "each", Label: "repeats", Kind: fieldChoice, Offer: offerEach}
	boardField   = defineField{Key: "board", Label: "on which board", Kind: fieldChoice, Offer: offerBoards, Default: lastBoard}
	cautionField = defineField{Key: "cautions", Label: "cautions, one in a line: a sentence, or the name of a standard one", Kind: fieldLines,
		Note: fixed("standard ones: " + strings.Join(machine.StandardCautions(), ", "))}
)

func textField(key, label, hint string) defineField {
	return defineField{Key: key, Label: label, Kind: fieldText, Hint: hint}
}

func figureField(key, label, hint string) defineField {
	return defineField{Key: key, Label: label, Kind: fieldNumber, Hint: hint}
}

func (f defineField) with(def string) defineField { f.Default = fixed(def); return f }

func (f defineField) from(def func(*machine.Definition) string) defineField {
	f.Default = def
	return f
}

func pick(key, label string, words ...string) defineField {
	return defineField{Key: key, Label: label, Kind: fieldChoice, Offer: offered(words...), Default: fixed(words[0])}
}

// defineSteps is the order in which a recorder is described: what it is, how it opens,
// what it is made of, what it does, where it is read and set.
var defineSteps = []defineStep{
	{ID: "type", Name: "what it is", Line: "The recorder type, its tape and its operating level, as its manual states them.", Fields: []defineField{
		textField("id", "short name: small letters, digits and -", "quern-6"),
		textField("make", "make", "Quern"), textField("name", "type", "Hexastrand"), textField("notes", "notes", ""),
		pick("medium.kind", "tape", "cassette", "open-reel"),
		figureField("medium.width_mm", "tape width, mm: cassette 3.81, quarter inch 6.3, half inch 12.7", "").with("3.81"),
		textField("medium.type", "tape type, where it takes one only", "II"),
		pick("supply.class", "mains: I earthed, II double-insulated", "II", "I"),
		textField("supply.text", "how it is powered", "adaptor 12 V d.c. 1 A"),
		figureField("reference.fluxivity_nwb_m", "reference fluxivity, nWb/m", "").with("250"),
		figureField("reference.tone_hz", "reference tone, Hz", "").with("315"),
		pick("reference.convention", "how the fluxivity is stated", "short-circuit", "open-circuit"),
		textField("reference.output", "what that gives at the output", "0 on the meter = -10 dBV at the line output"),
		figureField("tracks.count", "tracks", "").with("4"),
		figureField("tracks.pitch_mm", "from track centre to track centre, mm", "").with("0.95"),
		figureField("tracks.width_mm", "width of a track, mm", "").with("0.55"),
		figureField("tracks.first_centre_mm", "centre of track 1 from the edge, mm; empty: the head is centred on the tape", ""),
	}, Cautions: []string{"mains"}},
	{ID: "speeds", Name: "speeds", One: "speed", List: "speeds", Line: "Each tape speed with the time constants of its replay equalisation.", Fields: []defineField{
		figureField("cm_s", "tape speed, cm/s", "4.76, 9.525, 19.05, 38.1"),
		figureField("high_us", "high-frequency time constant, µs", "").with("70"),
		figureField("low_us", "low-frequency time constant, µs; 0: none", "").with("3180"),
		figureField("tolerance_percent", "speed tolerance, ± %", "").with("1"),
	}},
	{ID: "heads", Name: "heads", One: "head", List: "heads", Line: "Each head stack, in the order in which the tape meets them.", Fields: []defineField{
		textField("id", "id", "HR"), textField("name", "name", "record/play head"),
		pick("use", "use", "record-play", "play", "record", "erase"),
		textField("dcr", "resistance of a winding, as stated", "230 ohm"), textField("inductance", "inductance, as stated", "90 mH"),
		textField("spread", "how far windings differ, as stated", ""),
		figureField("gap_um", "replay gap as its maker states it, µm, 0.3 to 30; empty: not known", ""),
	}, Cautions: []string{"ohmmeter", "demagnetise"}},
	{ID: "transport", Name: "what turns", One: "part", List: "transport", Line: "What turns with the tape, so that a line in the flutter gets its name; callipers are near enough. Not known: go on.", Fields: []defineField{
		textField("id", "id", "capstan"), textField("name", "name", "capstan"),
		figureField("diameter_mm", "diameter of the surface the tape runs over, mm", ""), figureField("hub_mm", "of a reel: hub, mm", ""), figureField("full_mm", "of a reel: full, mm", ""),
		textField("driven_by", "id of the part that it hangs on", ""), figureField("turns", "its turns for one turn of that part", ""),
		figureField("pulley_mm", "of a belt: pulley, mm", ""), figureField("belt_mm", "of a belt: length, mm", ""),
	}, Cautions: []string{"rotating"}},
	{ID: "groups", Name: "groups", One: "group", List: "groups", Line: "Tracks that share circuitry, such as a record amplifier of two tracks. None: go on.", Fields: []defineField{
		textField("id", "id, as in designators", "a"), textField("name", "name", "first"),
		{Key: "tracks", Label: "tracks, with commas", Kind: fieldWords, Hint: "1, 3", Plain: true},
	}},
	{ID: "sets", Name: "other sets", One: "set", List: "replicas", Line: "What else repeats: mixer strips, output sides. None: go on.", Fields: []defineField{
		textField("name", "name of the set", "side"), {Key: "keys", Label: "its members, with commas", Kind: fieldWords, Hint: "L, R"},
	}},
	{ID: "openings", Name: "how it opens", One: "opening", List: "openings", Line: "Each step of teardown with its minutes down and up: honest minutes give honest advice on what to try first.", Fields: []defineField{
		textField("id", "id", "lid"), textField("name", "what is done", "lid off, four screws"),
		{Key: "from", Label: "starts from", Kind: fieldChoice, Offer: offerOpenings},
		figureField("down_minutes", "minutes to open", "8"), figureField("up_minutes", "minutes to put back", "9"),
		figureField("after_minutes", "minutes of realignment that it costs; empty: none", ""), textField("after_why", "what has to be aligned again", ""),
		{Key: "each", Label: "repeats", Kind: fieldChoice, Offer: offerEach},
		{Key: "disconnects", Label: "connectors that part, by id, with commas", Kind: fieldWords, Note: plugs},
		pick("case", "the case is then", "open", "propped", "closed"), cautionField,
	}, Cautions: []string{"unplug", "capacitors", "springs"}},
	{ID: "boards", Name: "boards", One: "board", List: "boards", Line: "Each place that carries parts, with what must be open to reach it.", Fields: []defineField{
		textField("id", "id, as printed on it", "MAIN"), textField("name", "name", "main board"), textField("place", "where it is", "under the deck"),
		{Key: "opening", Label: "opening at which it can be probed", Kind: fieldChoice, Offer: offerOpenings},
		{Key: "work", Label: "opening at which its parts can be changed", Kind: fieldChoice, Offer: offerWork}, onceField,
	}},
	{ID: "connectors", Name: "connectors", One: "connector", List: "connectors", Line: "The signal on every pin as printed on each side, pin 1 first. Write down what each side says: the check compares the two.", Fields: []defineField{
		textField("id", "id", "P1"), textField("kind", "kind", "6-way plug"),
		{Key: "keyed", Label: "it goes in one way only", Kind: fieldTick, Always: true, Default: fixed("1")},
		{Key: "mirrored", Label: "mirrored: pin 1 here is the last pin there", Kind: fieldTick},
		{Key: "a.board", Label: "side A: board", Kind: fieldChoice, Offer: offerBoards}, {Key: "a.pins", Label: "side A: signals from pin 1 on, with commas", Kind: fieldWords, Hint: "shield, H1, H2, common"},
		{Key: "b.board", Label: "side B: board", Kind: fieldChoice, Offer: offerBoards}, {Key: "b.pins", Label: "side B: signals from pin 1 on, with commas", Kind: fieldWords, Hint: "shield, H1, H2, common"},
		onceField, figureField("loom_mm", "length of its loom, mm; empty: not known", ""), figureField("rated_insertions", "insertions it is rated for; empty: not known", ""),
		textField("notes", "notes", ""), cautionField,
	}, Cautions: []string{"unplug", "mark-plug"}},
	{ID: "stages", Name: "stages", One: "stage", List: "stages", Line: "The links of one track in signal order, and what the tracks share. The kind brings the usual ways of failing.", Fields: []defineField{
		textField("id", "id", "U1"), textField("name", "name", "play amplifier"),
		textField("part", "designator; {track} where its number stands", "U1-{track}"),
		{Key: "kind", Label: "kind", Kind: fieldChoice, Offer: offered(machine.Kinds()...), Default: fixed("amplifier")},
		eachField, boardField, textField("value", "value", "10 uF"),
		figureField("prior", "chance that one is faulty on an untouched machine, 0 to 1; empty: usual of its kind", ""),
		{Key: "faults", Label: "how it fails", Kind: fieldFaults}, textField("notes", "notes", ""),
	}},
	{ID: "functions", Name: "functions", One: "function", List: "functions", Line: "What the recorder does, each as a path through stages in signal order. @play stands for all stages of play.", Fields: []defineField{
		textField("id", "id", "play"), textField("name", "name", "play a test tape"), eachField,
		{Key: "modes", Label: "active in, with commas", Kind: fieldWords, Hint: "play, record, stop, sync", Default: fixed("play")},
		{Key: "through", Label: "through these stages, ids in signal order, with commas", Kind: fieldWords, Hint: "H, U1, C1, @line", Default: allStages, Note: links},
		{Key: "with", Label: "sets that do not follow the track, fixed", Kind: fieldPairs, Hint: "side: L"},
		figureField("check_minutes", "minutes to try it once; empty: it is not tried by itself", "1"),
	}},
	{ID: "points", Name: "test points", One: "test point", List: "test_points", Line: "Where an instrument meets a path, and what good recorders read there.", Fields: []defineField{
		textField("id", "id", "TP1"), textField("name", "name", "play amplifier output"), textField("part", "designator; {track} where its number stands", "TP1-{track}"), eachField,
		{Key: "function", Label: "on the path of", Kind: fieldChoice, Offer: offerFunctions, Default: firstFunction},
		{Key: "after", Label: "after which stage", Kind: fieldChoice, Offer: offerStages},
		textField("mode", "state of the recorder and source", "").from(func(d *machine.Definition) string {
			return "play, test tape " + referenceTone(d) + " Hz at reference"
		}),
		figureField("expect.value", "expected value", "40"), textField("expect.unit", "unit", "mV, V, mA, Hz").with("mV"),
		figureField("expect.spread_db", "spread of good recorders, ± dB, about 95 %", "").with("2"), figureField("expect.spread_percent", "or ± %", ""),
		figureField("expect.low", "or a range: from", ""), figureField("expect.high", "to", ""), figureField("expect.max", "or at most", ""), textField("expect.note", "note", ""),
		textField("instrument", "instrument", "").with("a.c. millivoltmeter"), figureField("tone_hz", "tone, Hz; empty: none", "").from(referenceTone), boardField,
		{Key: "connector", Label: "connector, when it is a pin of one", Kind: fieldChoice, Offer: offerPlugs}, textField("pin", "signal on that connector", "H{track}"),
		figureField("minutes", "minutes of one reading; empty: 2", ""), cautionField,
	}, Cautions: []string{"bias", "mains"}},
	{ID: "trims", Name: "trims", One: "trim", List: "trims", Line: "What a screwdriver sets, and which measure it moves.", Fields: []defineField{
		textField("id", "id", "VR1"), textField("name", "name", "play level"), textField("part", "designator; {track} where its number stands", "VR1-{track}"), eachField,
		{Key: "sets", Label: "moves", Kind: fieldChoice, Offer: offered(machine.Measures()...), Default: fixed("level")},
		{Key: "at", Label: "set at", Kind: fieldChoice, Offer: offerAt}, figureField("speed_cm_s", "at one speed only, cm/s; empty: all", ""),
		{Key: "sign", Label: "clockwise", Kind: fieldChoice, Plain: true, Default: fixed("1"), Offer: func(*machine.Definition) []choice {
			return []choice{{"1", "raises it", ""}, {"-1", "lowers it", ""}, {"0", "goes through a peak or a dip", ""}}
		}},
		textField("range", "range", "±6 dB"), boardField, {Key: "opening", Label: "opening at which it is reached", Kind: fieldChoice, Offer: offerOpenings}, cautionField,
	}, Cautions: []string{"trimmer"}},
	{ID: "setups", Name: "set-ups", One: "set-up", List: "setups", Line: "What is fed in, or in the tray, while controls are tried; the check sheet goes by the fewest changes. None: go on.", Fields: []defineField{
		textField("id", "id", "own-tape"), textField("name", "name", "a worthless tape first, then one of your own"),
		{Key: "each", Label: "repeats", Kind: fieldChoice, Offer: offerEach},
	}},
	{ID: "controls", Name: "controls", One: "control", List: "controls", Line: "What a hand moves or a plug enters: each becomes a line of the check sheet.", Fields: []defineField{
		textField("id", "id", "key"), textField("name", "name; {track} where its number stands", "input level {track}"), textField("kind", "kind: fader, pot, switch, key, jack ...", "pot"), onceField,
		{Key: "items", Label: "or several by name, with commas", Kind: fieldWords, Hint: "play, stop, rewind, wind, record"}, boardField,
		figureField("order", "place on the sheet", "").from(nextOrder), {Key: "stage", Label: "the stage that it is, where it is one", Kind: fieldChoice, Offer: offerStages},
		{Key: "setup", Label: "set-ups under which it is tried, by id, with commas", Kind: fieldWords, Note: setupIDs},
		textField("try", "what to do, and what should happen", "Turns without crackle"), figureField("minutes", "minutes to try one; empty: usual", ""), cautionField,
	}},
	{ID: "exceptions", Name: "exceptions", One: "exception", List: "exceptions", Line: "Where one track differs from the rule. None: go on.", Fields: []defineField{
		textField("part", "designator of the one", "C1-3"), textField("differs", "how it differs", "22 uF from the works"),
		figureField("expect_factor", "factor on what test points behind it read; empty: 1", ""),
	}},
}

func defineStepOf(id string) *defineStep {
	for i := range defineSteps {
		if defineSteps[i].ID == id {
			return &defineSteps[i]
		}
	}
	return &defineSteps[0]
}
