package live_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"headstack/capture"
	"headstack/live"
)

// counting counts what is fed to it.
type counting struct{ samples int }

func (c *counting) Write(x []float32) error { c.samples += len(x); return nil }

// FuzzRaw: a description that is read can be written and read again, lies within its limits,
// and as many samples come out of the bytes as are in them.
func FuzzRaw(f *testing.F) {
	for _, s := range []string{"s16le,48000,2", "S24LE , 96000, 8", "f32le,1000,1", "s32le,1536000,256", "s16le,48000", "u8,1,1", ",,", "s16le,99999999999999999999,1"} {
		f.Add(s, []byte("0123456789abcdefghijklmno"))
	}
	f.Fuzz(func(t *testing.T, s string, data []byte) {
		r, err := live.ParseRaw(s)
		if err != nil {
			if !strings.Contains(err.Error(), fmt.Sprintf("%q", s)) && !strings.Contains(err.Error(), "want") && !strings.Contains(err.Error(), "such as") {
				t.Fatalf("the error names neither the text nor what is wanted: %v", err)
			}
			return
		}
		if r.SampleRate < 1000 || r.SampleRate > capture.MaxSampleRate || r.Channels < 1 || r.Channels > capture.MaxChannels {
			t.Fatalf("%q is read as %+v", s, r)
		}
		again := fmt.Sprintf("%s,%d,%d", strings.Split(s, ",")[0], r.SampleRate, r.Channels)
		if r2, err := live.ParseRaw(again); err != nil || r2 != r {
			t.Fatalf("%q is %+v, %q is %+v, %v", s, r, again, r2, err)
		}
		var got counting
		err = live.Feed(context.Background(), bytes.NewReader(data), r, &got)
		var partial *live.PartialFrameError
		if err != nil && !errors.As(err, &partial) {
			t.Fatal(err)
		}
		if got.samples%r.Channels != 0 || got.samples > len(data)/2 {
			t.Fatalf("%d samples of %d channels from %d bytes", got.samples, r.Channels, len(data))
		}
		if partial != nil && (partial.Bytes < 1 || partial.Bytes >= partial.Frame || partial.Frames != int64(got.samples/r.Channels)) {
			t.Fatalf("%+v after %d samples", partial, got.samples)
		}
	})
}
