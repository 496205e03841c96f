package live

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// readings pushes frames in blocks and takes every reading.
func readings(t *testing.T, s *Session, m *Meter, x []float32, block int) (out []Reading) {
	t.Helper()
	n := s.cfg.Channels
	for len(x) > 0 {
		k := min(block*n, len(x))
		if err := s.Write(x[:k]); err != nil {
			t.Fatal(err)
		}
		x = x[k:]
		select {
		case r := <-m.C:
			out = append(out, r)
		default:
		}
	}
	return out
}

// TestMeter: ten readings a second whose intervals hold the truth about as often as they say, for tones
// from 31.5 Hz to 16 kHz off by 1 %, with a delay.
func TestMeter(t *testing.T) {
	const rate = 48000
	for _, hz := range []float64{31.5, 63, 315, 1000, 10000, 16000} {
		s := begin(t, Config{SampleRate: rate, Channels: 2, Folder: t.TempDir(), Name: "x"})
		m, err := s.Meter(MeterConfig{Channel: 1, Against: 2, ToneHz: hz})
		if err != nil {
			t.Fatal(err)
		}
		f := hz * 1.01
		delay := 0.11 / f // seconds
		rng := rand.New(rand.NewPCG(7, uint64(hz)))
		const seconds = 20
		x := make([]float32, 2*rate*seconds)
		for i := range rate * seconds {
			at := float64(i) / rate
			x[2*i] = float32(0.1*math.Sin(2*math.Pi*f*at) + 0.002*rng.NormFloat64())
			x[2*i+1] = float32(0.05*math.Sin(2*math.Pi*f*(at-delay)) + 0.002*rng.NormFloat64())
		}
		got := readings(t, s, m, x, 480)
		if want := 10 * (seconds - 1); len(got) < want {
			t.Errorf("%g Hz: %d readings in %d s", hz, len(got), seconds)
		}
		inLevel, inDelay := 0, 0
		want := 20 * math.Log10(0.1)
		for _, r := range got {
			if r.Refused != "" || !r.HasDelay {
				t.Fatalf("%g Hz: %+v", hz, r)
			}
			if math.Abs(r.LevelDBFS-want) <= r.LevelHalf {
				inLevel++
			}
			if math.Abs(r.DelayUs-delay*1e6) <= r.DelayHalf {
				inDelay++
			}
			if math.Abs(r.ToneHz/f-1) > 2e-3 || r.LevelHalf > 0.2 {
				t.Errorf("%g Hz: found at %g Hz, ±%.3f dB", hz, r.ToneHz, r.LevelHalf)
			}
		}
		// 190 readings overlap by little; 95 % of them is 180, and fewer than 172 come by chance once in a thousand.
		n := float64(len(got))
		t.Logf("%g Hz: level within in %.1f %%, delay in %.1f %% of %d; ±%.4f dB, ±%.3f µs, window %.3f s", hz, 100*float64(inLevel)/n, 100*float64(inDelay)/n, len(got), got[9].LevelHalf, got[9].DelayHalf, got[9].WindowS)
		if float64(inLevel) < 0.9*n || float64(inDelay) < 0.9*n {
			t.Errorf("%g Hz: of %d readings %d hold the level and %d the delay", hz, len(got), inLevel, inDelay)
		}
		m.Close()
		if _, open := <-m.C; open {
			t.Error("a closed meter gives readings")
		}
	}
}

// TestMeterFollows: a trim turned by 3 dB shows fully within a window and a tenth of a second.
func TestMeterFollows(t *testing.T) {
	const rate = 48000
	x := sines(rate, 1, 4, 997, 1e-4)
	for i := 2 * rate; i < len(x); i++ {
		x[i] *= 0.70794578
	}
	s := begin(t, Config{SampleRate: rate, Channels: 1, Folder: t.TempDir(), Name: "x"})
	m, err := s.Meter(MeterConfig{Channel: 1, ToneHz: 1000})
	if err != nil {
		t.Fatal(err)
	}
	want := 20 * math.Log10(0.3)
	after := 0
	for _, r := range readings(t, s, m, x, 240) {
		switch end := r.AtS + r.WindowS/2; {
		case end <= 2:
			if math.Abs(r.LevelDBFS-want) > 0.01 {
				t.Errorf("at %.2f s %.3f dBFS, want %.3f", r.AtS, r.LevelDBFS, want)
			}
		case end > 2+r.WindowS+1e-9:
			after++
			if math.Abs(r.LevelDBFS-want+3) > 0.01 {
				t.Errorf("at %.2f s %.3f dBFS, want %.3f", r.AtS, r.LevelDBFS, want-3)
			}
		}
	}
	if after < 17 {
		t.Errorf("%d readings after the step", after)
	}
}

// TestMeterRefuses: noise, another tone, clipping and silence give no figure.
func TestMeterRefuses(t *testing.T) {
	const rate = 48000
	noise, other, hot := sines(rate, 1, 1, 0, 0.1), sines(rate, 1, 1, 1300, 1e-3), sines(rate, 1, 1, 1000, 0)
	for i := range hot {
		hot[i] = max(-1, min(1, 5*hot[i]))
	}
	for name, x := range map[string][]float32{"noise": noise, "another tone": other, "clipped": hot, "silence": make([]float32, rate)} {
		s := begin(t, Config{SampleRate: rate, Channels: 1, Folder: t.TempDir(), Name: "x"})
		m, err := s.Meter(MeterConfig{Channel: 1, ToneHz: 1000})
		if err != nil {
			t.Fatal(err)
		}
		got := readings(t, s, m, x, 480)
		if len(got) < 8 {
			t.Errorf("%s: %d readings", name, len(got))
		}
		for _, r := range got {
			if r.Refused == "" || r.LevelDBFS != 0 {
				t.Errorf("%s: %+v", name, r)
			}
		}
	}
	s := begin(t, Config{SampleRate: rate, Channels: 2, Folder: t.TempDir(), Name: "x"})
	for _, c := range []MeterConfig{{}, {Channel: 1}, {Channel: 3, ToneHz: 1000}, {Channel: 1, Against: 1, ToneHz: 1000}, {Channel: 1, ToneHz: 23000}, {Channel: 1, ToneHz: math.NaN()}} {
		if _, err := s.Meter(c); err == nil {
			t.Errorf("a meter %+v is given", c)
		}
	}
}

// TestMeterLatency: in real time, from the moment the last sample of a window came in to the
// reading in the hands of who waits for it.
func TestMeterLatency(t *testing.T) {
	const rate, block = 48000, 480
	s := begin(t, Config{SampleRate: rate, Channels: 8, Folder: t.TempDir(), Name: "x"})
	m, err := s.Meter(MeterConfig{Channel: 1, Against: 8, ToneHz: 1000})
	if err != nil {
		t.Fatal(err)
	}
	begun := make(chan time.Time, 1)
	var worst, processing time.Duration
	var centre float64
	count := 0
	done := make(chan bool)
	go func() {
		defer close(done)
		t0 := <-begun
		for r := range m.C {
			// The block with the window's last frame came in when it was full.
			end := r.AtS + r.WindowS/2
			came := t0.Add(time.Duration(math.Ceil(end*rate/block)*block/rate*1e9) * time.Nanosecond)
			worst = max(worst, time.Since(came))
			processing = max(processing, r.Processing)
			centre = r.WindowS / 2
			count++
		}
	}()
	x := sines(rate, 8, 2, 1000, 1e-3)
	t0 := time.Now()
	begun <- t0
	for i := 0; len(x) > 0; i++ {
		time.Sleep(time.Until(t0.Add(time.Duration(i+1) * block * time.Second / rate)))
		if err := s.Write(x[:block*8]); err != nil {
			t.Fatal(err)
		}
		x = x[block*8:]
	}
	if _, err := s.Close(); err != nil {
		t.Fatal(err)
	}
	<-done
	t.Logf("%d readings; worst from block in to reading out %v, of it processing %v; middle of the window %.0f ms before its end", count, worst, processing, 1000*centre)
	if count < 17 || worst > 150*time.Millisecond {
		t.Errorf("%d readings, the slowest %v after its samples came in, want 150 ms at most", count, worst)
	}
}
