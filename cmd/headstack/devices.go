package main

import (
	"context"

	"headstack/live/pulse"
	"headstack/web"
)

// soundServer gives the pages the inputs of this machine's sound server.
type soundServer struct{}

func (soundServer) List(context.Context) ([]web.Device, error) {
	list, err := pulse.Devices()
	if err != nil {
		return nil, err
	}
	var out []web.Device
	for _, d := range list {
		out = append(out, web.Device{ID: d.ID, Name: d.Name, Channels: min(d.Channels, pulse.MaxChannels), Rate: d.SampleRate})
	}
	return out, nil
}

func (soundServer) Listen(ctx context.Context, id string, rate, channels int, to web.Sink) error {
	src, err := pulse.Open(pulse.Options{Device: id, SampleRate: rate, Channels: channels})
	if err != nil {
		return err
	}
	defer src.Close()
	for _, w := range src.Warnings() {
		to.Warn(w)
	}
	return src.Run(ctx, to)
}
