package pgtest

import (
	"os"
	"os/exec"
)

func handOver(...string) error { return nil }

func unprivileged(*exec.Cmd) {}

func stopNow(p *os.Process) { _ = p.Kill() }
