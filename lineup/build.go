package lineup

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
	"headstack/measure"
	"headstack/programme"
)

// builder puts an order together.
type builder struct {
	d   *machine.Definition
	opt Options
	o   *Order
	// standard are the standard programmes made so far, by speed.
	standard map[float64]*programme.Programme
	// extra are the rules that this definition adds.
	extra []rule
}

// step starts a step of a kind; its id is kind and parts joined by strokes.
func (b *builder) step(k Kind, parts ...string) Step {
	in, _ := infoOf(k)
	return Step{ID: strings.Join(append([]string{string(k)}, parts...), "/"), Kind: k, Phase: in.phase, Name: in.name, Gate: in.gate, Measure: in.measure, Reach: Reach{Case: measure.CaseClosed}, Probe: Reach{Case: measure.CaseClosed}}
}

func (b *builder) add(s Step) { b.o.Steps = append(b.o.Steps, s) }

func (b *builder) gates() {
	for _, k := range []Kind{PathClean, Demagnetised, DemagnetiserAway, ScrapRun, NoiseReductionOff, PitchCentre, Warm, CaseClosed} {
		s := b.step(k)
		switch k {
		case PathClean:
			s.Cautions = cautions("solvent", "rotating")
		case Demagnetised, DemagnetiserAway:
			s.Cautions = cautions("demagnetise")
		case ScrapRun:
			s.Note = "A tape that may be lost: it shows a transport that harms tapes, and a dead track, before a good tape is at risk."
			s.Cautions = cautions("rotating")
		case Warm:
			s.Name = fmt.Sprintf("warmed up for %g minutes, running", b.opt.WarmMinutes)
		case CaseClosed:
			s.Cautions = cautions("unplug")
			s.Note = "Seal the trims, photograph the seals, count the screws."
		}
		b.add(s)
	}
	if b.d.Medium.Kind == "cassette" {
		b.add(b.step(FreshShell))
	}
	for _, sp := range b.d.Speeds {
		for _, k := range []Kind{Flutter, Drift} {
			s := b.step(k, speedText(sp.CmS))
			s.SpeedCmS = sp.CmS
			b.part(&s, programme.Tone, speedToneHz, -10)
			s.Note = "Not with the good test tape yet: a recording of its own, or a daily tape. An own recording may read between nothing and twice one pass: start it several times."
			b.add(s)
		}
	}
}

// cautions writes out standard cautions.
func cautions(names ...string) []string {
	var out []string
	for _, n := range names {
		text, ok := machine.StandardCaution(n)
		if !ok {
			panic("lineup: no standard caution " + n)
		}
		out = append(out, text)
	}
	return out
}

func speedText(cmS float64) string { return strconv.FormatFloat(cmS, 'g', -1, 64) }

// kindOf is what a trim is set for.
func (b *builder) kindOf(t *machine.Trim) Kind {
	switch t.Sets {
	case "speed_error":
		return Speed
	case "tension":
		return Tension
	case "brake_torque":
		return Brake
	case "height":
		return Height
	case "rack":
		return Rack
	case "azimuth":
		switch b.side(t.At) {
		case "erase":
			return EraseAzimuth
		case "record":
			return RecordAzimuth
		}
		return Azimuth
	case "level":
		return Level
	case "response":
		return Treble
	case "response_low":
		return PlayBass
	case "meter":
		return Meter
	case "erase":
		return Erase
	case "trap_leak":
		return Trap
	case "bias_frequency":
		return BiasFrequency
	case "bias":
		return Bias
	case "record_level":
		return RecordLevel
	case "record_response":
		return RecordTreble
	case "sync_level":
		return SyncLevel
	case "sync_response":
		return SyncTreble
	case "compander_level":
		return NoiseReduction
	}
	return Other
}

// side tells on which head's side a function or test point lies: erase, record, sync or
// play.
func (b *builder) side(at string) string {
	if tp, ok := b.d.TestPoint(at); ok {
		at = tp.Function
	}
	f, ok := b.d.Function(at)
	if !ok {
		return "play"
	}
	if path, err := b.d.Path(f.ID, first(b.d.ReplicaKeys(f.Each))); err == nil &&
		slices.ContainsFunc(path, func(in machine.Instance) bool { return in.Stage.Kind == "erase-head" }) {
		return "erase"
	}
	for _, m := range []string{"play", "sync", "record"} {
		if slices.Contains(f.Modes, m) {
			return m
		}
	}
	return "play"
}

func first(list []string) string {
	if len(list) == 0 {
		return ""
	}
	return list[0]
}

// trim adds a step for each replica of a trim.
func (b *builder) trim(t *machine.Trim) {
	k := b.kindOf(t)
	if k == NoiseReduction {
		b.companderRules(t)
	}
	keys := b.d.ReplicaKeys(t.Each)
	for _, key := range keys {
		parts := []string{t.ID}
		if t.Each != "" {
			parts = append(parts, key)
		}
		s := b.step(k, parts...)
		s.Trim, s.Part, s.Each, s.Key = t.ID, b.d.Designator(t.Part, t.Each, key), t.Each, key
		s.Name, s.Sign, s.Range = t.Name, t.Sign, t.Range
		s.Tracks = b.tracks(t.Each, key)
		s.SpeedCmS = t.SpeedCmS
		if s.SpeedCmS == 0 {
			s.SpeedCmS, s.AllSpeeds = b.d.Speeds[0].CmS, true
		}
		if k == Other {
			s.Measure = t.Sets
			s.Note = "What this trim moves has no place in the order: set it as the service text says, then see that nothing above has changed."
		}
		s.OnEvidence = k == Height || k == Rack || k == EraseAzimuth
		s.Cautions = slices.Clone(t.Cautions)
		b.where(&s, t.At, key)
		b.carrier(&s)
		s.Reach = b.reach(t.Opening, t.Board)
		b.add(s)
	}
}

// companderRules places the level of an encoder that stands in the record path before
// the record-level trim, or of a decoder behind the play level.
func (b *builder) companderRules(t *machine.Trim) {
	if b.side(t.At) == "play" {
		b.extra = append(b.extra, rule{NoiseReduction, Level, true, "the decoder is fed from the play level"}, rule{NoiseReduction, LevelAgain, false, "the decoder is fed from the play level"})
		return
	}
	b.extra = append(b.extra, rule{NoiseReduction, ScrapRun, false, "recording is tried on a worthless tape first"},
		rule{RecordLevel, NoiseReduction, b.upstream(t.At), "the encoder stands in the record path before the record level"})
}

// upstream tells whether a test point of the record path stands before a record-level
// trim; where the path does not tell, it is taken to.
func (b *builder) upstream(at string) bool {
	tp, ok := b.d.TestPoint(at)
	if !ok {
		return true
	}
	f, ok := b.d.Function(tp.Function)
	if !ok {
		return true
	}
	path, err := b.d.Path(f.ID, first(b.d.ReplicaKeys(f.Each)))
	if err != nil {
		return true
	}
	at1 := slices.IndexFunc(path, func(in machine.Instance) bool { return in.Stage.ID == tp.After })
	at2 := slices.IndexFunc(path, func(in machine.Instance) bool {
		return slices.ContainsFunc(b.d.Trims, func(r machine.Trim) bool {
			return r.Sets == "record_level" && (r.ID == in.Stage.ID || r.Part == in.Stage.Part)
		})
	})
	return at1 < 0 || at2 < 0 || at1 <= at2
}

// tracks are those that a replica serves; nil for the whole recorder.
func (b *builder) tracks(each, key string) []int {
	if each == machine.EachGroup {
		for _, g := range b.d.Groups {
			if g.ID == key {
				return slices.Clone(g.Tracks)
			}
		}
		return nil
	}
	if n, err := strconv.Atoi(key); err == nil && each != "" && n >= 1 && n <= b.d.Tracks.Count {
		return []int{n}
	}
	return nil
}

// where says at which function or test point a step is read.
func (b *builder) where(s *Step, at, key string) {
	s.At = at
	if tp, ok := b.d.TestPoint(at); ok {
		s.AtName = tp.Name
		if tp.Mode != "" {
			s.AtName += " (" + tp.Mode + ")"
		}
		if k := b.pointKey(tp, s, key); k != "" || tp.Each == "" {
			s.AtPart = b.d.Designator(tp.Part, tp.Each, k)
		}
		if bd, ok := b.d.Board(tp.Board); ok {
			s.Probe = b.reach(bd.Opening, tp.Board)
		}
		for _, c := range tp.Cautions {
			if !slices.Contains(s.Cautions, c) {
				s.Cautions = append(s.Cautions, c)
			}
		}
		return
	}
	if f, ok := b.d.Function(at); ok {
		s.AtName = f.Name
	}
}

// pointKey is the replica of a test point that a step reads; empty for none.
func (b *builder) pointKey(tp *machine.TestPoint, s *Step, key string) string {
	switch {
	case tp.Each == s.Each:
		return key
	case tp.Each == machine.EachGroup && len(s.Tracks) > 0:
		if g, ok := b.d.GroupOf(s.Tracks[0]); ok {
			return g.ID
		}
	case len(s.Tracks) == 1:
		return strconv.Itoa(s.Tracks[0])
	}
	return ""
}

func (b *builder) reach(opening, board string) Reach {
	r := Reach{Opening: opening, Case: measure.CaseClosed, Board: board}
	for _, o := range b.d.OpeningChain(opening) {
		r.Chain = append(r.Chain, o.Name)
		r.Case = worse(r.Case, measure.CaseState(o.Case))
	}
	if bd, ok := b.d.Board(board); ok {
		r.Board, r.Place = bd.Name, bd.Place
	}
	return r
}

// worse is the more open of two case states.
func worse(a, b measure.CaseState) measure.CaseState {
	rank := map[measure.CaseState]int{measure.CaseClosed: 0, measure.CasePropped: 1, measure.CaseOpen: 2}
	if rank[b] > rank[a] {
		return b
	}
	return a
}

// readings adds the steps that only read: what no trim sets at a speed, and what is
// read again.
func (b *builder) readings() {
	whole := func(k Kind, at string, sp machine.Speed) {
		if b.has(k, sp.CmS, 0) {
			return
		}
		s := b.step(k, speedText(sp.CmS))
		s.SpeedCmS = sp.CmS
		b.where(&s, at, "")
		b.carrier(&s)
		b.add(s)
	}
	each := func(k Kind, at string, sp machine.Speed) {
		for t := 1; t <= b.d.Tracks.Count; t++ {
			if b.has(k, sp.CmS, t) {
				continue
			}
			s := b.step(k, speedText(sp.CmS), strconv.Itoa(t))
			s.SpeedCmS, s.Tracks, s.Each, s.Key = sp.CmS, []int{t}, machine.EachTrack, strconv.Itoa(t)
			b.where(&s, at, s.Key)
			b.carrier(&s)
			b.add(s)
		}
	}
	playAt, recordAt, syncAt := b.function("play", "play"), b.function("record-play", "record"), b.function("sync", "sync")
	for i, sp := range b.d.Speeds {
		whole(Speed, b.function("run", "play"), sp)
		each(Level, playAt, sp)
		each(Treble, playAt, sp)
		each(LevelAgain, playAt, sp)
		if i == 0 && b.d.Tracks.Count > 1 {
			whole(Azimuth, playAt, sp)
			whole(AzimuthAgain, playAt, sp)
		}
		if !records(b.d) {
			continue
		}
		if i == 0 {
			if b.o.ThreeHeads && b.d.Tracks.Count > 1 {
				whole(RecordAzimuth, recordAt, sp)
			}
			each(Erase, b.pointOn(b.function("erase", "record")), sp)
		}
		each(Bias, recordAt, sp)
		each(RecordLevel, recordAt, sp)
		each(RecordTreble, recordAt, sp)
		each(RecordAgain, recordAt, sp)
		each(PlayBass, recordAt, sp)
		if b.o.ThreeHeads && syncAt != "" {
			each(SyncLevel, syncAt, sp)
			each(SyncTreble, syncAt, sp)
		}
		if i == 0 && b.companding() {
			each(NoiseReductionOn, recordAt, sp)
		}
	}
}

// companding tells whether noise reduction is built in.
func (b *builder) companding() bool {
	return slices.ContainsFunc(b.d.Stages, func(s machine.Stage) bool { return s.Kind == "compander" })
}

// function is the function of that id, else the first that is tried by itself in the mode.
func (b *builder) function(id, mode string) string {
	if _, ok := b.d.Function(id); ok {
		return id
	}
	for _, f := range b.d.Functions {
		if slices.Contains(f.Modes, mode) && f.CheckMinutes > 0 && f.Each == machine.EachTrack {
			return f.ID
		}
	}
	return ""
}

// pointOn is the test point of a function where it has one, else the function.
func (b *builder) pointOn(function string) string {
	for _, tp := range b.d.TestPoints {
		if tp.Function == function {
			return tp.ID
		}
	}
	return function
}

// has tells whether a step of a kind is there that is read at a speed, for a track (0:
// the whole recorder).
func (b *builder) has(k Kind, speed float64, track int) bool {
	return slices.ContainsFunc(b.o.Steps, func(s Step) bool {
		return s.Kind == k && s.SpeedCmS == speed && (track == 0 || len(s.Tracks) == 0 || slices.Contains(s.Tracks, track))
	})
}

// proofs adds the closing proof, speed by speed.
func (b *builder) proofs() {
	playAt, recordAt := b.function("play", "play"), b.function("record-play", "record")
	for _, sp := range b.d.Speeds {
		for _, in := range kinds {
			if !in.kind.Proof() || b.skips(in.kind) {
				continue
			}
			at, keys := playAt, b.d.ReplicaKeys(machine.EachTrack)
			switch in.kind {
			case ProofSpeed, ProofFlutter, ProofAzimuth:
				keys = []string{""}
			case ProofRecordLevel, ProofRecordTreble, ProofErase, ProofNoise, ProofDistortion, ProofCrosstalk:
				at = recordAt
			}
			for _, key := range keys {
				parts := []string{speedText(sp.CmS)}
				if key != "" {
					parts = append(parts, key)
				}
				s := b.step(in.kind, parts...)
				s.SpeedCmS = sp.CmS
				if key != "" {
					s.Each, s.Key, s.Tracks = machine.EachTrack, key, b.tracks(machine.EachTrack, key)
				}
				b.where(&s, at, key)
				b.carrier(&s)
				b.add(s)
			}
		}
	}
}

// skips tells the proofs that a recorder cannot give.
func (b *builder) skips(k Kind) bool {
	switch k {
	case ProofAzimuth:
		return b.d.Tracks.Count < 2
	case ProofCrosstalk:
		return b.d.Tracks.Count < 2 || !records(b.d)
	case ProofRecordLevel, ProofRecordTreble, ProofErase, ProofNoise, ProofDistortion:
		return !records(b.d)
	}
	return false
}

// threeHeads tells whether record and play are heads of their own.
func threeHeads(d *machine.Definition) bool {
	has := func(use string) bool {
		return slices.ContainsFunc(d.Heads, func(h machine.Head) bool { return h.Use == use })
	}
	return has("play") && has("record")
}

func records(d *machine.Definition) bool {
	return slices.ContainsFunc(d.Heads, func(h machine.Head) bool { return h.Use == "record" || h.Use == "record-play" })
}
