package diagnosis

import (
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// A recorder of three tracks that is small enough to be summed over all 3^10
// states of its stages: two shared stages, a group stage for tracks 1 and 2, one
// for track 3, and two stages on each track. A stage is good with 0.97, dead with
// 0.02 and intermittent with 0.01.
var threeTracks = discreteTracks{
	names:  []string{"S1", "S2", "G1", "G2", "T1a", "T1b", "T2a", "T2b", "T3a", "T3b"},
	scopes: []scopeDef{{"shared", -1}, {"group 1", 0}, {"group 2", 0}, {"track 1", 1}, {"track 2", 1}, {"track 3", 2}},
	scope:  []int{0, 0, 1, 2, 3, 3, 4, 4, 5, 5},
	paths:  [][]int{{0, 1, 2, 4, 5}, {0, 1, 2, 6, 7}, {0, 1, 3, 8, 9}},
	looks: []threeLook{{0, 5, closed, false}, {1, 5, closed, false}, {2, 5, closed, true}, {0, 3, open, true},
		{1, 5, open, true}, {0, 4, open, false}},
	evidence: 0.0003267731047992345,
	faulty: []float64{.056269667417447294, .056269667417447294, .0736892234602141, .00954253489382389, .8383682597359327,
		.06275062118031892, .047234816258679375, .047234816258679375, .00954253489382389, .00954253489382389},
}

// discreteTracks is a recorder whose observations are only passed or failed.
type discreteTracks struct {
	names  []string
	scopes []scopeDef
	scope  []int
	paths  [][]int
	looks  []threeLook
	// From full enumeration.
	evidence float64
	faulty   []float64
}

// moreTracks is the same for any number of tracks, in groups of up to six, each tried
// whole and up to its last stage but one; every fifth fails.
func moreTracks(n int) discreteTracks {
	d := discreteTracks{names: []string{"S1", "S2"}, scopes: []scopeDef{{"shared", -1}}, scope: []int{0, 0}}
	stage := func(name string, scope int) int {
		d.names, d.scope = append(d.names, name), append(d.scope, scope)
		return len(d.names) - 1
	}
	group, of := 0, 0
	for k := range n {
		if k%min(6, max(2, n/2)) == 0 {
			of = len(d.scopes)
			d.scopes = append(d.scopes, scopeDef{fmt.Sprint("group ", of), 0})
			group = stage(fmt.Sprint("G", of), of)
		}
		at := len(d.scopes)
		d.scopes = append(d.scopes, scopeDef{fmt.Sprint("track ", k+1), of})
		a, b := stage(fmt.Sprint("T", k+1, "a"), at), stage(fmt.Sprint("T", k+1, "b"), at)
		d.paths = append(d.paths, []int{0, 1, group, a, b})
		d.looks = append(d.looks, threeLook{k, 5, closed, k%5 != 1}, threeLook{k, 4, open, k%5 != 1})
	}
	return d
}

// threeLook is whether a signal passed the first stages of a track's path.
type threeLook struct {
	track, upto int
	condition   float64 // probability that an intermittent stage passes
	passed      bool
}

const (
	closed = 0.9
	open   = 0.5

	threeWrong = 0.03 // a reading that is wrong passes with 0.5
)

// chance of what was seen when the path passes with probability pass.
func (l threeLook) chance(pass float64) (right, wrong float64) {
	if !l.passed {
		pass = 1 - pass
	}
	return (1 - threeWrong) * pass, threeWrong * 0.5
}

func threeTrackModel() *model { return threeTracks.model(10) }

func (d discreteTracks) model(maxFaults int) *model {
	m := &model{scopes: d.scopes, maxFaults: maxFaults}
	for _, s := range d.scope {
		m.components = append(m.components, component{scope: s, prior: 0.03, atoms: []atom{
			{mode: 0, weight: 2. / 3, effect: effect{dead: true, presence: 1}},
			{mode: 1, weight: 1. / 3, effect: effect{dead: true, presence: 0.5}},
		}})
	}
	for i, l := range d.looks {
		o := &observation{ref: fmt.Sprint("o", i+1), fam: -1, states: 2, path: d.paths[l.track][:l.upto]}
		o.space = newSpace(func(e effect) effect {
			if e.presence < 1 {
				e.presence = 1 - l.condition
			}
			return e
		})
		o.like = func(arrive []total, _ float64, out []float64) {
			pass := 0.0
			for _, t := range arrive {
				if !t.dead {
					pass += t.p
				}
			}
			out[0], out[1] = l.chance(pass)
		}
		m.obs = append(m.obs, o)
	}
	return m
}

// TestThreeTracks: with as many faults in a scope as there are stages the sums are
// those over all states; by messages, two faults at most, they are as close as the
// mass of three faults allows.
func TestThreeTracks(t *testing.T) {
	t.Parallel()
	p, err := solve(threeTrackModel())
	if err != nil {
		t.Fatal(err)
	}
	if got := math.Exp(p.logEvidence()); math.Abs(got/threeTracks.evidence-1) > 1e-9 {
		t.Errorf("P(evidence) %.16g, want %.16g", got, threeTracks.evidence)
	}
	for c, want := range threeTracks.faulty {
		if got := p.faulty(c); math.Abs(got-want) > 1e-9 {
			t.Errorf("P(%s faulty) %.12f, want %.12f", threeTracks.names[c], got, want)
		}
	}
	m := threeTrackModel()
	m.maxFaults = 2 // no scope has more stages
	s := newSolver(m)
	s.budget = 0
	if p, err = s.solve(context.Background()); err != nil {
		t.Fatal(err)
	}
	for c, want := range threeTracks.faulty {
		if got := p.faulty(c); math.Abs(got-want) > 1e-3 {
			t.Errorf("by messages P(%s faulty) %.6f, want %.6f", threeTracks.names[c], got, want)
		}
	}
}

// TestTracksBesideJunctionTree: the same nets worked out by the junction tree of a
// general-purpose package, Debian's weka, as an independent reference. No scope has more
// than two stages, so two faults in each are all. It is skipped where weka.jar (or
// WEKA_JAR) or a Java that runs source files is missing.
func TestTracksBesideJunctionTree(t *testing.T) {
	t.Parallel()
	nets := []discreteTracks{threeTracks, moreTracks(6)}
	if os.Getenv("HEADSTACK_LONG") != "" {
		nets = append(nets, moreTracks(24))
	}
	for _, d := range nets {
		good, _ := junctionTree(t, d)
		p, err := solve(d.model(2))
		if err != nil {
			t.Fatal(err)
		}
		for c, name := range d.names {
			if got := p.faulty(c); math.Abs(got-(1-good[c])) > 1e-9 {
				t.Errorf("%d tracks: P(%s faulty) %.12f, junction tree %.12f", len(d.paths), name, got, 1-good[c])
			}
		}
	}
}

// BenchmarkBesideJunctionTree is a posterior over every stage of the same discrete net by
// this package, and by that junction tree once it is warm, building it included.
func BenchmarkBesideJunctionTree(b *testing.B) {
	for _, n := range []int{3, 6, 12, 24} {
		b.Run(fmt.Sprint(n, " tracks"), func(b *testing.B) {
			d := moreTracks(n)
			for b.Loop() {
				if _, err := solve(d.model(2)); err != nil {
					b.Fatal(err)
				}
			}
			b.StopTimer()
			b.ReportMetric(float64(len(d.names)), "stages")
			_, ms := junctionTree(b, d)
			b.ReportMetric(ms, "junction-tree-ms/op")
		})
	}
}

// junctionTree is the probability of each stage of being good, and the milliseconds that
// took.
func junctionTree(t testing.TB, d discreteTracks) (good []float64, ms float64) {
	t.Helper()
	jar := os.Getenv("WEKA_JAR")
	if jar == "" {
		jar = "/usr/share/java/weka.jar"
	}
	if _, err := os.Stat(jar); err != nil {
		t.Skip("no weka.jar: apt-get install weka, or WEKA_JAR")
	}
	java, err := exec.LookPath("java")
	if err != nil {
		t.Skip("no java")
	}
	dir := t.TempDir()
	net, source := filepath.Join(dir, "net.xml"), filepath.Join(dir, "Margins.java")
	if err := os.WriteFile(net, []byte(d.bif()), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(source, []byte(margins), 0o600); err != nil {
		t.Fatal(err)
	}
	args := []string{"-cp", jar, source, net, fmt.Sprint(len(d.names))}
	for i, l := range d.looks {
		seen := "1"
		if l.passed {
			seen = "0"
		}
		args = append(args, fmt.Sprint(len(d.names)+i), seen)
	}
	text, err := exec.Command(java, args...).Output()
	if err != nil {
		t.Skipf("java cannot run it: %v", err)
	}
	for _, x := range strings.Fields(string(text)) {
		v, err := strconv.ParseFloat(x, 64)
		if err != nil {
			t.Fatalf("said %q", text)
		}
		good = append(good, v)
	}
	if len(good) != len(d.names)+1 {
		t.Fatalf("said %q", text)
	}
	return good[:len(d.names)], good[len(d.names)]
}

// margins prints P(good) of the first nodes, as many as its second argument says, given
// pairs of node and value, and the milliseconds of the third time.
const margins = `import weka.classifiers.bayes.net.*;
public class Margins {
	public static void main(String[] a) throws Exception {
		BIFReader net = new BIFReader();
		net.processFile(a[0]);
		MarginCalculator m = null;
		long t = 0;
		for (int k = 0; k < 3; k++) {
			t = System.nanoTime();
			m = new MarginCalculator();
			m.calcMargins(net);
			for (int i = 2; i < a.length; i += 2) m.setEvidence(Integer.parseInt(a[i]), Integer.parseInt(a[i + 1]));
			t = System.nanoTime() - t;
		}
		for (int i = 0; i < Integer.parseInt(a[1]); i++) System.out.println(m.getMargin(i)[0]);
		System.out.println(t / 1e6);
	}
}
`

// bif is the net as XML BIF: the stages, then the looks.
func (d discreteTracks) bif() string {
	var b strings.Builder
	b.WriteString("<?xml version=\"1.0\"?>\n<BIF VERSION=\"0.3\"><NETWORK><NAME>three</NAME>\n")
	variable := func(name string, outcomes ...string) {
		fmt.Fprintf(&b, "<VARIABLE TYPE=\"nature\"><NAME>%s</NAME>", name)
		for _, o := range outcomes {
			fmt.Fprintf(&b, "<OUTCOME>%s</OUTCOME>", o)
		}
		b.WriteString("</VARIABLE>\n")
	}
	for _, n := range d.names {
		variable(n, "good", "dead", "intermittent")
	}
	for i := range d.looks {
		variable(fmt.Sprint("o", i+1), "passed", "failed")
	}
	for _, n := range d.names {
		fmt.Fprintf(&b, "<DEFINITION><FOR>%s</FOR><TABLE>0.97 0.02 0.01</TABLE></DEFINITION>\n", n)
	}
	for i, l := range d.looks {
		path := d.paths[l.track][:l.upto]
		fmt.Fprintf(&b, "<DEFINITION><FOR>o%d</FOR>", i+1)
		for _, c := range path {
			fmt.Fprintf(&b, "<GIVEN>%s</GIVEN>", d.names[c])
		}
		b.WriteString("<TABLE>")
		states := make([]int, len(path)) // the last parent changes fastest
		for {
			pass := 1.0
			for _, s := range states {
				pass *= []float64{1, 0, l.condition}[s]
			}
			l.passed = true
			right, wrong := l.chance(pass)
			fmt.Fprintf(&b, "%.17g %.17g ", right+wrong, 1-right-wrong)
			k := len(states) - 1
			for ; k >= 0; k-- {
				if states[k]++; states[k] < 3 {
					break
				}
				states[k] = 0
			}
			if k < 0 {
				break
			}
		}
		b.WriteString("</TABLE></DEFINITION>\n")
	}
	b.WriteString("</NETWORK></BIF>\n")
	return b.String()
}
