// Package pulse takes captures from the sound server of a Linux desktop (PulseAudio, or PipeWire
// in its place), all channels of an interface at once, as the float samples that the server has.
// It speaks the server's protocol itself and needs no library of the system.
//
// The server never says that it lost samples. So a session with [headstack/live.Config.Clocked]
// should count them, and what is lost on this side of the connection is told to it.
//
// A server that runs at another rate than the interface, or has its volume turned down, changes
// samples on the way: Open warns of both where the server admits it.
package pulse

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync/atomic"
	"time"

	"github.com/jfreymuth/pulse"
	"github.com/jfreymuth/pulse/proto"
)

// A Device is something that the server can capture from.
type Device struct {
	ID         string `json:"id"`
	Name       string `json:"name"`
	Channels   int    `json:"channels"`
	SampleRate int    `json:"sample_rate"` // hertz
	Default    bool   `json:"default,omitempty"`
}

// NoServerError says that no sound server answers.
type NoServerError struct{ Err error }

func (e *NoServerError) Error() string { return "no sound server answers: " + e.Err.Error() }
func (e *NoServerError) Unwrap() error { return e.Err }

// Hint says what to do.
func (e *NoServerError) Hint() string {
	return "is PulseAudio or PipeWire running for this user? PULSE_SERVER may name another one; elsewhere give raw samples on standard input or a file"
}

func connect() (*pulse.Client, error) {
	c, err := pulse.NewClient(pulse.ClientApplicationName("headstack"))
	if err != nil {
		return nil, &NoServerError{err}
	}
	return c, nil
}

// Devices lists what can be captured from, in the server's order.
func Devices() ([]Device, error) {
	c, err := connect()
	if err != nil {
		return nil, err
	}
	defer c.Close()
	all, err := c.ListSources()
	if err != nil {
		return nil, fmt.Errorf("listing the devices of the sound server: %w", err)
	}
	usual := ""
	if d, err := c.DefaultSource(); err == nil {
		usual = d.ID()
	}
	out := make([]Device, 0, len(all))
	for _, s := range all {
		out = append(out, Device{ID: s.ID(), Name: s.Name(), Channels: len(s.Channels()), SampleRate: s.SampleRate(), Default: s.ID() == usual})
	}
	return out, nil
}

// MaxChannels is how many channels the server's protocol can name without giving them to
// loudspeakers.
const MaxChannels = 32

// Options say what to capture; zero values take the device's own.
type Options struct {
	Device     string // id; empty: the server's default
	Channels   int    // 1 to MaxChannels, the first of the device
	SampleRate int    // hertz
}

// A Source is an open device. Make it with Open and end it with Close.
type Source struct {
	client   *pulse.Client
	rec      *pulse.RecordStream
	device   Device
	rate     int
	channels int
	warnings []string

	blocks chan []float32 // on their way to Run
	lost   atomic.Int64   // frames for which there was no room
}

// queueSeconds is how long a slow disk may take before samples are lost on this side.
const queueSeconds = 20

// fragment is how much the server sends at a time.
const fragment = 0.02 // seconds

// silent is how long a device may give nothing at all.
const silent = 3 * time.Second

// ErrStopped is what Run returns when a device gives nothing any more.
var ErrStopped = errors.New("the device gives nothing any more: was it unplugged, or the sound server stopped?")

// Open makes a device ready. Nothing is captured before Run.
func Open(o Options) (*Source, error) {
	c, err := connect()
	if err != nil {
		return nil, err
	}
	s := &Source{client: c}
	if err := s.open(o); err != nil {
		c.Close()
		return nil, err
	}
	return s, nil
}

func (s *Source) open(o Options) error {
	var dev *pulse.Source
	var err error
	if o.Device == "" {
		dev, err = s.client.DefaultSource()
	} else {
		dev, err = s.client.SourceByID(o.Device)
	}
	if err != nil {
		return fmt.Errorf("device %q of the sound server: %w", o.Device, err)
	}
	s.device = Device{ID: dev.ID(), Name: dev.Name(), Channels: len(dev.Channels()), SampleRate: dev.SampleRate()}
	s.rate, s.channels = s.device.SampleRate, s.device.Channels
	if o.SampleRate > 0 {
		s.rate = o.SampleRate
	}
	if o.Channels > 0 {
		s.channels = o.Channels
	}
	if s.channels > MaxChannels || s.channels > s.device.Channels {
		return fmt.Errorf("%d channels of device %q: it has %d, and %d can be captured at most", s.channels, s.device.ID, s.device.Channels, MaxChannels)
	}
	s.blocks = make(chan []float32, int(queueSeconds/fragment))
	channels := make(proto.ChannelMap, s.channels)
	for i := range channels {
		channels[i] = byte(proto.ChannelAux0 + i) // tracks of a tape belong to no loudspeaker
	}
	s.rec, err = s.client.NewRecord(pulse.Float32Writer(s.came), pulse.RecordSource(dev), pulse.RecordChannels(channels), pulse.RecordSampleRate(s.rate),
		pulse.RecordMediaName("capture of a tape"), pulse.RecordRawOption(func(r *proto.CreateRecordStream) {
			r.NoRemap, r.NoRemix, r.NoMove = true, true, true
			r.BufferFragSize = uint32(fragment*float64(s.rate)) * uint32(4*s.channels)
			r.BufferMaxLength = uint32(4*s.channels*s.rate) * 4 // 4 s on the server's side
			r.AdjustLatency = true
		}))
	if err != nil {
		return fmt.Errorf("capturing %d channels at %d Hz from device %q: %w", s.channels, s.rate, s.device.ID, err)
	}
	if got := s.rec.SampleRate(); got != s.rate || s.rec.Channels() != s.channels {
		return fmt.Errorf("device %q gives %d channels at %d Hz, asked were %d at %d Hz", s.device.ID, s.rec.Channels(), got, s.channels, s.rate)
	}
	s.doubts()
	return nil
}

// doubts warns of what the server says it does to samples.
func (s *Source) doubts() {
	if s.rate != s.device.SampleRate {
		s.warnings = append(s.warnings, fmt.Sprintf("the device runs at %d Hz: the sound server resamples to %d Hz", s.device.SampleRate, s.rate))
	}
	var info proto.GetSourceInfoReply
	if err := s.client.RawRequest(&proto.GetSourceInfo{SourceIndex: proto.Undefined, SourceName: s.device.ID}, &info); err != nil {
		return
	}
	if info.Mute {
		s.warnings = append(s.warnings, "the sound server has muted the device")
	}
	for i, v := range info.ChannelVolumes {
		if v != volumeNormal && i < s.channels {
			// The server's volume is the cube root of the factor.
			s.warnings = append(s.warnings, fmt.Sprintf("the sound server's volume of channel %d stands at %.1f dB: set it to 100 %%", i+1, 60*math.Log10(float64(v)/volumeNormal)))
		}
	}
}

// volumeNormal is the server's volume that changes nothing.
const volumeNormal = 0x10000

// Device is what is captured from.
func (s *Source) Device() Device { return s.device }

// SampleRate is in hertz.
func (s *Source) SampleRate() int { return s.rate }

// Channels is their number.
func (s *Source) Channels() int { return s.channels }

// Warnings says what the server does to samples, in sentences without full stop.
func (s *Source) Warnings() []string { return s.warnings }

// came takes samples from the server's connection, which must not wait.
func (s *Source) came(x []float32) (int, error) {
	b := make([]float32, len(x))
	copy(b, x)
	select {
	case s.blocks <- b:
	default:
		s.lost.Add(int64(len(x) / s.channels))
	}
	return len(x), nil
}

// A Taker takes what a source gives, such as a [headstack/live.Session].
type Taker interface {
	Write(frames []float32) error
	Missed(frames int64, why string)
}

// Run captures into t until ctx ends, which is no error, t fails or the device gives nothing any
// more (ErrStopped).
func (s *Source) Run(ctx context.Context, t Taker) error {
	s.rec.Start()
	defer s.rec.Stop()
	stall := time.NewTimer(silent)
	defer stall.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-stall.C:
			return ErrStopped
		case b := <-s.blocks:
			if n := s.lost.Swap(0); n > 0 {
				t.Missed(n, fmt.Sprintf("%d frames could not be taken in time: the disk or the computer was too slow", n))
			}
			if err := t.Write(b); err != nil {
				return err
			}
			stall.Reset(silent)
		}
	}
}

// Close ends the connection to the server.
func (s *Source) Close() { s.client.Close() }
