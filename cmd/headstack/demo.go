package main

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/sim"
	"headstack/store"
	"headstack/unit"
)

type demoVerb struct {
	Into string `placeholder:"DIR" help:"Folder to make the scratch bench in; without it a temporary one."`
	Once bool   `help:"End after the story instead of serving the pages."`
	Port int    `default:"4470" help:"Port of the pages on the loopback address; 0 takes a free one."`
	Seed uint64 `default:"4" help:"Seed of everything drawn at random: same seed, same story."`
}

func (demoVerb) Help() string {
	return `Example: headstack demo --into /tmp/bench --once

A community theatre's six-track cassette recorder, invented, comes in with faults the program is not told. It is captured,
measured, checked and probed as a person would do it, with one reading gone wrong on the way; then what the advice says
is done, until everything works again.`
}

// demonstration is one run of the demo.
type demonstration struct {
	*env
	bench   *job.Bench
	sim     *sim.Bench
	story   story
	folder  string
	job     job.Job
	minutes float64 // bench time that the observations would have taken
	looks   int
	taken   map[string]taken // readings by their ref, to be re-taken where doubted
	// complaint is what ever failed, in that order; lined that the head was lined up.
	complaint []tried
	lined     bool
}

// tried is a function tried on a replica.
type tried struct{ function, key string }

// taken is a reading that was taken, and the entry that holds it.
type taken struct {
	probe sim.Probe
	seq   int64
	value float64
}

// sure is how probable it must be that the leading explanation names the stages
// to repair before the demo stops looking; patience how many observations it makes at most after the function checks.
const (
	sure     = 0.95
	patience = 12
)

func (v *demoVerb) Run(e *env) error {
	folder := v.Into
	if folder == "" {
		var err error
		if folder, err = os.MkdirTemp("", "headstack-demo-"); err != nil {
			return err
		}
	}
	if entries, err := os.ReadDir(filepath.Join(folder, "bench")); err == nil && len(entries) > 0 {
		return withHint(fmt.Errorf("%s holds a bench already; nothing was changed", folder), "give an empty folder, or serve that one: headstack serve --bench "+filepath.Join(folder, "bench"))
	}
	s, err := store.Open(filepath.Join(folder, "bench"), store.Options{})
	if err != nil {
		return err
	}
	defer s.Close()
	d := &demonstration{env: e, bench: job.NewBench(s, s, job.BenchOptions{}), folder: folder, taken: map[string]taken{}}
	if d.story, err = theatreStory(v.Seed); err != nil {
		return err
	}
	d.sim = d.story.bench
	if err := d.run(); err != nil {
		return err
	}
	if v.Once {
		return nil
	}
	fmt.Fprintln(e.out)
	at := benchFlag{Bench: filepath.Join(folder, "bench")} // never a record on a server
	err = servePages(e, d.bench, at, v.Port, "jobs/"+d.job.ID)
	if port := (&fault{}); errors.As(err, &port) && v.Port != 0 {
		// The demo must not end in an error because an earlier one still runs.
		err = servePages(e, d.bench, at, 0, "jobs/"+d.job.ID)
	}
	return err
}

// explain says what the losses on the captures speak for.
func (d *demonstration) explain() error {
	found, err := d.bench.ExplainJob(d.ctx, d.job.ID)
	if err != nil {
		return err
	}
	d.sayf("\nWhat the losses say, before the case is opened")
	for _, x := range found {
		for _, f := range x.Explanation.Findings {
			if f.Probability >= 0.5 {
				d.sayf("  %s: %s", unit.Probability(f.Probability), f.Sentence)
			}
		}
	}
	return nil
}

// run takes the recorder from the door to the report.
func (d *demonstration) run() error {
	var err error
	d.job, err = d.bench.OpenJob(d.ctx, job.NewJob{Definition: d.sim.Def.ID, Serial: d.story.serial, Owner: d.story.owner, Claim: d.story.claim, Case: measure.CaseClosed})
	if err != nil {
		return err
	}
	d.sayf("%s: %s, serial %s, from %s\nowner's words: %s", d.job.ID, d.job.Name, d.job.Serial, d.job.Owner, d.job.Claim)
	if err := d.pictures(); err != nil {
		return err
	}
	d.sayf("\nAs found, case closed: the test tape in three passes over the stereo bus, two tracks a pass")
	for _, pair := range d.story.passes {
		if err := d.capture("as-found", pair); err != nil {
			return err
		}
	}
	if err := d.explain(); err != nil {
		return err
	}
	d.sayf("\nEach function tried on each track")
	for _, f := range []string{"play", "record-play"} {
		for _, key := range d.sim.Def.ReplicaKeys("track") {
			if _, err := d.check(f, key, diagnosis.Unprovoked, ""); err != nil {
				return err
			}
		}
	}
	d.sayf("\nThen whatever the verdict names next")
	verdict, err := d.search()
	if err != nil {
		return err
	}
	d.sayf("\nVerdict after %.0f minutes at the bench", d.minutes)
	fmt.Fprintln(d.out)
	said := *verdict
	said.Next = nil // the advice that follows plans further
	printVerdict(d.out, &said, false)
	d.compare(verdict)
	if err := d.mend(); err != nil {
		return err
	}
	html, err := reportHTML(d.env, d.bench, d.job.ID)
	if err != nil {
		return err
	}
	path := filepath.Join(d.folder, "report.html")
	if err := writeWhole(path, html); err != nil {
		return err
	}
	d.sayf("\nreport:   %s\ncaptures: %s (each with the true values beside it)\nbench:    %s", path, d.folder, filepath.Join(d.folder, "bench"))
	return nil
}

func (d *demonstration) sayf(format string, args ...any) { fmt.Fprintf(d.out, format+"\n", args...) }

// capture renders one pass over two tracks, keeps it in the job and says what
// stands out.
func (d *demonstration) capture(when string, pair []int) error {
	sc := d.story.scenario(pair)
	if d.lined {
		sc.AzimuthArcmin = d.story.lined
	}
	if err := d.sim.Replay(&sc, "play"); err != nil {
		return err
	}
	name := fmt.Sprintf("%s-tracks-%d-%d.wav", when, pair[0], pair[1])
	path := filepath.Join(d.folder, name)
	bar := d.progress("playing " + name)
	sc.Progress = bar.at
	truth, err := sim.RenderFile(d.ctx, path, sc)
	bar.done()
	if err != nil {
		return err
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	bar = d.progress("measuring " + name)
	x, err := d.bench.AddCapture(d.ctx, d.job.ID, job.CaptureUpload{Name: name, Data: f, Tape: d.story.tape, Tracks: pair, Case: measure.CaseClosed, Progress: bar.at})
	bar.done()
	if err != nil {
		return err
	}
	d.minutes += float64(truth.Frames)/float64(sc.SampleRate)/60 + 2 // and the rewind
	d.sayf("  %s: %s", x.Ref, d.headline(x.Capture.Report, pair))
	return nil
}

// headline is the few figures that a person looks at first.
func (d *demonstration) headline(rep measure.Report, pair []int) string {
	var parts []string
	add := func(what string, keep func(measure.Result) bool) {
		for _, r := range rep.Measures {
			if !keep(r) {
				continue
			}
			parts = append(parts, what+" "+r.Figure().String())
			return
		}
	}
	add("speed", func(r measure.Result) bool { return r.Name == "speed_error" && r.Track == 0 })
	add("wow and flutter", func(r measure.Result) bool { return r.Name == "wow_flutter_2sigma" && r.Track == 0 })
	add("azimuth", func(r measure.Result) bool { return r.Name == "azimuth" && r.Track == pair[0] })
	for _, t := range pair {
		add(fmt.Sprintf("track %d at 10 kHz", t), func(r measure.Result) bool { return r.Name == "response" && r.Track == t && r.ToneHz == 10000 })
	}
	return strings.Join(parts, ", ")
}

// check tries a function by ear, records the outcome and says why it was tried.
func (d *demonstration) check(function, key string, how diagnosis.Provocation, why string) (works bool, err error) {
	v, err := d.bench.View(d.ctx, d.job.ID)
	if err != nil {
		return false, err
	}
	d.looks++
	c, err := d.sim.CheckUnder(function, key, d.looks, sim.Condition{Provoked: string(how), Case: v.Case})
	if err != nil {
		return false, err
	}
	f, _ := d.sim.Def.Function(function)
	d.minutes += f.CheckMinutes
	x, err := d.bench.RecordCheck(d.ctx, d.job.ID, job.Check{Function: function, Key: key, Outcome: diagnosis.Outcome(c.Outcome), Symptom: diagnosis.Symptom(c.Symptom), Provoked: how}, v.Case, "")
	if err != nil {
		return false, err
	}
	works = c.Outcome == sim.Works
	if t := (tried{function, key}); !works && !slices.Contains(d.complaint, t) {
		d.complaint = append(d.complaint, t)
	}
	line := f.Name
	if key != "" {
		line += ", " + "track " + key
	}
	d.sayf("  %s: %s: %s%s", x.Ref, line, provoked(how)+strings.TrimSpace(c.Outcome+" "+c.Symptom), because(why))
	return works, nil
}

// because is a reason behind a line.
func because(why string) string {
	if why == "" {
		return ""
	}
	return "  (" + why + ")"
}

// search follows the verdict's own advice until the leading explanation is sure
// or nothing is left that would tell more.
func (d *demonstration) search() (*diagnosis.Verdict, error) {
	done := map[string]bool{}
	for n := 0; ; n++ {
		bar := d.progress("reasoning")
		bar.at(0)
		verdict, _, err := d.bench.Diagnose(d.ctx, d.job.ID)
		bar.done()
		if err != nil {
			return nil, err
		}
		if t, ref := d.doubted(verdict); ref != "" {
			if err := d.again(t, ref, n); err != nil {
				return nil, err
			}
			continue
		}
		settled := len(verdict.Explanations) > 0 && verdict.WrongFix <= 1-sure
		i := slices.IndexFunc(verdict.Next, func(a diagnosis.Action) bool { return !done[actionKey(a)] })
		if settled || n >= patience || i < 0 {
			return verdict, nil
		}
		a := verdict.Next[i]
		done[actionKey(a)] = true
		if err := d.reach(a.Opening); err != nil {
			return nil, err
		}
		if a.Kind == "check" {
			_, err = d.check(a.Function, a.Key, diagnosis.Unprovoked, "")
		} else {
			err = d.read(sim.Probe{TestPoint: a.TestPoint, Key: a.Key, ToneHz: a.ToneHz}, a.Siblings, n, a.Expect)
		}
		if err != nil {
			return nil, err
		}
	}
}

func actionKey(a diagnosis.Action) string {
	return fmt.Sprint(a.Kind, a.Function, a.TestPoint, a.Key, a.ToneHz)
}

// doubted is the first doubted reading that was not taken again yet.
func (d *demonstration) doubted(v *diagnosis.Verdict) (taken, string) {
	for _, doubt := range v.Doubts {
		if t, ok := d.taken[doubt.Ref]; ok {
			delete(d.taken, doubt.Ref)
			return t, doubt.Ref
		}
	}
	return taken{}, ""
}

// again takes a doubted reading with a fresh probe. The old one is taken back,
// not erased, when the two have nothing to do with each other.
func (d *demonstration) again(t taken, ref string, n int) error {
	d.sayf("  %s is doubted: taken again with a fresh probe", ref)
	r, err := d.probe(t.probe, fmt.Sprintf("%d again", n), "as "+ref+" should have been")
	if err != nil {
		return err
	}
	if ratio := t.value / r.Value; ratio > 0.7 && ratio < 1.4 {
		return nil
	}
	x, err := d.bench.Withdraw(d.ctx, d.job.ID, t.seq, "a slip: taken again")
	if err != nil {
		return err
	}
	d.sayf("  %s: %s", x.Ref, strings.TrimSpace(entryText(x)))
	return nil
}

// read takes the reading that was advised, on the siblings too where that is the
// advice. One reading in the story slips.
func (d *demonstration) read(p sim.Probe, siblings []string, n int, expect string) error {
	for i, key := range append([]string{p.Key}, siblings...) {
		p.Key, p.Slip = key, sim.NoSlip
		if n == d.story.slipAt && i == 0 {
			p.Slip = sim.UnitSlip
		}
		if i > 0 {
			expect = "its sibling"
		}
		if _, err := d.probe(p, fmt.Sprintf("%d.%d", n, i), expect); err != nil {
			return err
		}
	}
	return nil
}

// probe takes one reading and records what the meter said.
func (d *demonstration) probe(p sim.Probe, setting, expect string) (sim.Reading, error) {
	p.Instrument, p.Session, p.Setting = d.story.meter, "first evening", setting
	r, err := d.sim.Read(p)
	if err != nil {
		return r, err
	}
	tp, _ := d.sim.Def.TestPoint(p.TestPoint)
	d.minutes += max(tp.Minutes, 2)
	typed, err := job.ParseReading(d.sim.Def, p.TestPoint+dash(p.Key), inMilli(r.Value, r.Unit))
	if err != nil {
		return r, err
	}
	typed.ToneHz, typed.Instrument, typed.Session, typed.Setting = p.ToneHz, p.Instrument, p.Session, p.Setting
	// The case is as the openings left it.
	x, err := d.bench.RecordReading(d.ctx, d.job.ID, typed, measure.CaseUnknown, "")
	if err != nil {
		return r, err
	}
	p.Slip = sim.NoSlip
	d.taken[x.Ref] = taken{p, x.Seq, r.Value}
	d.sayf("  %s: %s  (%s)", x.Ref, strings.TrimSpace(entryText(x)), expect)
	return r, nil
}

// inMilli writes a value as a three-digit meter shows it.
func inMilli(v float64, unit string) string {
	if math.Abs(v) < 1 {
		v, unit = v*1000, "m"+unit
	}
	return strconv.FormatFloat(v, 'g', 3, 64) + unit
}

func dash(key string) string {
	if key == "" {
		return ""
	}
	return "-" + key
}

// compare puts the verdict beside what was hidden.
func (d *demonstration) compare(v *diagnosis.Verdict) {
	d.sayf("\nWhat was hidden, and what the verdict gives it")
	for _, f := range d.sim.Faults {
		line := "not among the stages"
		for _, s := range v.Stages {
			if s.Stage == f.Stage && s.Key == f.Key {
				line = fmt.Sprintf("%s, faulty with %s", s.Status, unit.Probability(s.P))
				for _, m := range s.Modes {
					if m.Cause == f.Cause {
						line += fmt.Sprintf(", of this cause with %s", unit.Probability(m.P))
					}
				}
			}
		}
		d.sayf("  %s %s: %s", d.part(f), f.Cause, line)
	}
	d.sayf("  The head really stands %g arcminutes off: as it came in, beside the faults.", d.story.scenario([]int{1}).AzimuthArcmin)
}

func (d *demonstration) part(f sim.Fault) string {
	s, _ := d.sim.Def.Stage(f.Stage)
	return d.sim.Def.Designator(s.Part, s.Each, f.Key)
}
