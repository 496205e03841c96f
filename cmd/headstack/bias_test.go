package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"headstack/bias"
	"headstack/capture"
	"headstack/programme"
)

// TestBiasFromPlanToSetting plans a staircase, replays it as a track would whose 10 kHz
// peaks 1 dB of bias above where the trim stands, and reads the peak and the setting.
func TestBiasFromPlanToSetting(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "staircase")
	call := func(want int, args ...string) string {
		t.Helper()
		var out, complaint bytes.Buffer
		if code := run(&env{ctx: t.Context(), in: strings.NewReader(""), out: &out, err: &complaint}, args); code != want {
			t.Fatalf("%v: exit %d, want %d\n%s%s", args, code, want, out.String(), complaint.String())
		}
		return out.String()
	}
	call(exitDone, "bias", "plan", "--machine", "octogrange", "--tracks", "3", "--now", "3=0.45", "--to", dir)
	call(exitError, "bias", "plan", "--machine", "octogrange", "--tracks", "3", "--to", dir) // overwrites nothing
	data, err := os.ReadFile(filepath.Join(dir, "plan.json"))
	if err != nil {
		t.Fatal(err)
	}
	var file biasPlan
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	const peak = 1.0 // dB of bias
	wav := filepath.Join(dir, "replay.wav")
	replayStaircase(t, file.Plan, peak, wav)

	var got biasFit
	text := call(exitDone, "bias", "fit", "--plan", filepath.Join(dir, "plan.json"), "--tracks", "3", wav)
	if !strings.Contains(text, "set it to") {
		t.Errorf("no setting is named:\n%s", text)
	}
	if err := json.Unmarshal([]byte(call(exitDone, "bias", "fit", "--json", "--plan", filepath.Join(dir, "plan.json"), "--tracks", "3", wav)), &got); err != nil {
		t.Fatal(err)
	}
	x := got.Tracks[0]
	if x.Track != 3 || x.Curve == nil || x.Curve.Verdict != bias.Peak || x.Setting.Refused != "" {
		t.Fatalf("track %d, %s: no peak", x.Track, x.Refused)
	}
	if b := x.Curve.Peak.Bias; math.Abs(b.Value-peak) > 0.3 || b.Lo > peak || b.Hi < peak {
		t.Errorf("peak at %.2f dB of bias (%.2f to %.2f), truly %g", b.Value, b.Lo, b.Hi, peak)
	}
	// The same in the record of a job: the plan is an entry, its replay a capture, and the
	// line-up says how far to turn.
	data2 := filepath.Join(t.TempDir(), "bench")
	call(exitDone, "job", "open", "--bench", data2, "--machine", "octogrange", "--serial", "7")
	said := call(exitDone, "bias", "plan", "--bench", data2, "--job", "job-0001", "--tracks", "3", "--now", "3=0.45", "--to", filepath.Join(dir, "kept"))
	_, sha, _ := strings.Cut(said, "--programme ")
	sha, _, _ = strings.Cut(sha, " ")
	call(exitDone, "capture", "--bench", data2, "job-0001", "--programme", sha, "--tracks", "3", wav)
	var l struct {
		Steps []struct {
			ID        string `json:"id"`
			Staircase *struct {
				Capture string        `json:"capture"`
				Setting *bias.Setting `json:"setting"`
			} `json:"staircase"`
			Turn *struct {
				Do string  `json:"do"`
				By float64 `json:"by"`
			} `json:"turn"`
		} `json:"steps"`
	}
	if err := json.Unmarshal([]byte(call(exitDone, "lineup", "--bench", data2, "--json", "job-0001")), &l); err != nil {
		t.Fatal(err)
	}
	found := false
	for _, s := range l.Steps {
		if s.ID != "bias/B38/3" {
			continue
		}
		found = true
		if s.Staircase == nil || s.Staircase.Capture != "capture 1" || s.Staircase.Setting.At == nil || s.Turn == nil || s.Turn.Do != "turn" {
			t.Fatalf("%+v", s)
		}
		if want := (s.Staircase.Setting.At.Position - 0.45) * 270; math.Abs(s.Turn.By-want) > 0.1 || math.Abs(s.Staircase.Setting.At.Position-x.Setting.At.Position) > 0.01 {
			t.Errorf("turn %.1f° to %.3f; the verb by itself says %.3f", s.Turn.By, s.Staircase.Setting.At.Position, x.Setting.At.Position)
		}
	}
	if !found {
		t.Error("no step bias/B38/3")
	}
	// The sound as it was written is no replay: nothing moves with the trim.
	call(exitNoJudge, "bias", "fit", "--plan", filepath.Join(dir, "plan.json"), "--tracks", "3", filepath.Join(dir, "round-1.wav"))
}

// replayStaircase writes what a track plays of a plan's first round: each tone of the
// staircase by a curve of its own.
func replayStaircase(t *testing.T, p *bias.Plan, peakDB float64, name string) {
	t.Helper()
	const rate = 48000
	part := 0
	for i, x := range p.Programme.Parts {
		if x.Kind == programme.Staircase {
			part = i
			break
		}
	}
	start, stairs, track := p.Programme.Start(part), p.Programme.Parts[part], p.Tracks[0]
	var streams [2]interface {
		Read([][]float64) (int, error)
	}
	for k := range streams { // the round with one tone of the staircase alone
		q := *p.Programme
		q.Parts = append([]programme.Part(nil), q.Parts...)
		q.Parts[part].All = q.Parts[part].All[k : k+1]
		s, err := q.Signal(track.Round, rate)
		if err != nil {
			t.Fatal(err)
		}
		streams[k] = s
	}
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w, err := capture.NewWriter(f, capture.Spec{Encoding: capture.PCM, Bits: 24, Channels: 1, SampleRate: rate})
	if err != nil {
		t.Fatal(err)
	}
	gain := func(db float64) float64 { return math.Pow(10, db/20) }
	now := track.Trim.Law.DB(track.Trim.Now)
	a, b := [][]float64{make([]float64, 4096)}, [][]float64{make([]float64, 4096)}
	for at := 0; ; {
		n, err := streams[0].Read(a)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		for got := 0; got < n; {
			m, err := streams[1].Read([][]float64{b[0][got:n]})
			if err != nil {
				t.Fatal(err)
			}
			got += m
		}
		for i := range n {
			s := float64(at+i)/rate - start
			if s < 0 || s >= stairs.Seconds {
				continue // both hold the same
			}
			x := track.Trim.Law.DB(track.Positions[min(len(track.Positions)-1, int(s/stairs.StepSeconds))]) - now
			a[0][i] = a[0][i]*gain(-0.45*(x-peakDB)*(x-peakDB)) + b[0][i]*gain(-0.06*(x-peakDB-1.5)*(x-peakDB-1.5))
		}
		at += n
		if err := w.Write(a, n); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}
