//go:build unix

package pgtest

import (
	"os"
	"os/exec"
	"os/user"
	"strconv"
	"syscall"
)

// account is the user as whom the server runs: it refuses to run as the superuser.
func account() (uid, gid int, other bool) {
	if os.Geteuid() != 0 {
		return 0, 0, false
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.Atoi(u.Uid)
		gid, err2 := strconv.Atoi(u.Gid)
		if err1 == nil && err2 == nil {
			return uid, gid, true
		}
	}
	return 0, 0, false
}

func handOver(paths ...string) error {
	uid, gid, other := account()
	if !other {
		return nil
	}
	for _, p := range paths {
		if err := os.Chown(p, uid, gid); err != nil {
			return err
		}
	}
	return nil
}

func unprivileged(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // Ctrl-C is for the tests, which stop it
	if uid, gid, other := account(); other {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	}
}

// stopNow is PostgreSQL's immediate shutdown.
func stopNow(p *os.Process) { _ = p.Signal(syscall.SIGQUIT) }
