package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"path/filepath"
	"runtime"
	"time"

	"headstack/job"
	"headstack/phone"
	"headstack/web"
)

type serveVerb struct {
	benchFlag
	Port int `default:"4470" help:"Port on the loopback address; 0 takes a free one."`
}

func (serveVerb) Help() string {
	return `Example: headstack serve --bench ~/bench

The pages are served on the loopback address, for this machine only. A phone of the same
network joins when you open the bench to it on its page "phone", with a code.`
}

func (v *serveVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error { return servePages(e, b, v.benchFlag, v.Port, "") })
}

// servePages serves the bench that at names until the run is stopped. path is the page that
// is named as the place to start.
func servePages(e *env, b *job.Bench, at benchFlag, port int, path string) error {
	dir, err := at.folder()
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		return withHint(fmt.Errorf("serving pages: %w", err), "another program has the port; give another one with --port, or --port 0 for a free one")
	}
	beside := 0 // the port for phones
	if port > 0 {
		beside = port%65535 + 1
	}
	gate, err := phone.New(filepath.Join(dir, "phone"), phone.Options{Port: beside})
	if err != nil {
		return err
	}
	defer gate.Close()
	log := benchLog(e, dir)
	srv := &http.Server{
		Handler:           web.NewServer(b, web.Options{Listen: filepath.Join(dir, "listening"), Devices: soundServer{}, Context: e.ctx, Demo: lightDemo(e, b), Phone: gate, Log: log, Export: exportZip(at)}),
		ReadHeaderTimeout: 10 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
		ErrorLog:          serverLog(log),
	}
	fmt.Fprintf(e.out, "pages: http://%s/%s  (stop with Ctrl-C)\n", l.Addr(), path)
	log.Info("pages are served", "verb", "serve", "version", version(), "system", runtime.GOOS+"/"+runtime.GOARCH, "port", l.Addr().(*net.TCPAddr).Port)
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	select {
	case err := <-done:
		log.Error("pages are served no more", "err", err)
		return err
	case <-e.ctx.Done():
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	err = srv.Shutdown(ctx)
	if errors.Is(err, context.DeadlineExceeded) {
		err = srv.Close()
	}
	log.Info("stopped", "verb", "serve", "err", err)
	fmt.Fprintln(e.err, "stopped; all entries are kept")
	return err
}
