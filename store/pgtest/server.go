package pgtest

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// Server is a PostgreSQL server that lives as long as the test binary.
type Server struct {
	dir  string // data and socket
	bin  string // folder of its programs
	port int
	cmd  *exec.Cmd
	done chan struct{}

	mu sync.Mutex
	n  int // databases made
}

// Password is that of the user "shop", who may come over the loopback address and owns what
// it is given; who comes over the socket needs none.
const Password = "seven/reels of@tape"

var (
	start   sync.Once
	running *Server
	failure error
)

// errNone says that no server is installed.
var errNone = errors.New("no PostgreSQL server found; install Debian's postgresql")

// Start returns the server of this test binary and starts it when it is first asked for.
// checks says what is not checked where there is none.
func Start(t testing.TB, checks string) *Server {
	t.Helper()
	start.Do(func() { running, failure = launch() })
	if errors.Is(failure, errNone) {
		if os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatalf("%v, and HEADSTACK_NEED_TOOLS=1 asks for it", failure)
		}
		t.Skipf("%v: not checked: %s", failure, checks)
	}
	if failure != nil {
		t.Fatalf("starting PostgreSQL: %v", failure)
	}
	return running
}

// Main runs the tests of a package and ends the server, if they started one.
type Main struct{ *testing.M }

// Run is that of [testing.M].
func (m Main) Run() int {
	defer stop()
	return m.M.Run()
}

func stop() {
	if running == nil {
		return
	}
	running.Down()
	_ = os.RemoveAll(running.dir)
}

// find returns the folder with the newest server's programs. Debian keeps them off the path.
func find() (string, error) {
	list, _ := filepath.Glob("/usr/lib/postgresql/*/bin/postgres")
	slices.SortFunc(list, func(a, b string) int { // 9 before 15
		if d := len(a) - len(b); d != 0 {
			return d
		}
		return strings.Compare(a, b)
	})
	if n := len(list); n > 0 {
		return filepath.Dir(list[n-1]), nil
	}
	path, err := exec.LookPath("postgres")
	if err != nil {
		return "", errNone
	}
	if path, err = filepath.EvalSymlinks(path); err != nil {
		return "", err
	}
	return filepath.Dir(path), nil
}

func launch() (*Server, error) {
	bin, err := find()
	if err != nil {
		return nil, err
	}
	// In memory where there is such a folder: the tests do not measure the disk.
	dir, err := os.MkdirTemp("/dev/shm", "headstack-pg-")
	if err != nil {
		dir, err = os.MkdirTemp("", "headstack-pg-")
	}
	if err != nil {
		return nil, err
	}
	s := &Server{dir: dir, bin: bin}
	if err := s.init(); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	return s, s.Up()
}

func (s *Server) data() string { return filepath.Join(s.dir, "data") }

func (s *Server) init() error {
	secret := filepath.Join(s.dir, "password")
	if err := os.WriteFile(secret, []byte(Password+"\n"), 0o600); err != nil {
		return err
	}
	if err := handOver(s.dir, secret); err != nil {
		return err
	}
	out, err := s.program("initdb", "--pgdata="+s.data(), "--username=shop", "--pwfile="+secret, "--auth-local=trust", "--auth-host=scram-sha-256",
		"--encoding=UTF8", "--locale=C", "--no-sync").CombinedOutput()
	if err != nil {
		return fmt.Errorf("initdb: %w: %s", err, out)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	s.port = l.Addr().(*net.TCPAddr).Port
	return l.Close()
}

// program is a program of the server, run as a user that the server accepts.
func (s *Server) program(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(filepath.Join(s.bin, name), args...)
	cmd.Dir = s.dir
	cmd.Env = append(os.Environ(), "LC_ALL=C")
	unprivileged(cmd)
	return cmd
}

// Up starts the server and waits until it takes connections.
func (s *Server) Up() error {
	log, err := os.OpenFile(filepath.Join(s.dir, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer log.Close()
	s.cmd = s.program("postgres", "-D", s.data(), "-k", s.dir, "-p", fmt.Sprint(s.port), "-c", "listen_addresses=127.0.0.1",
		"-c", "max_connections=60", "-c", "shared_buffers=16MB", "-c", "autovacuum=off", "-c", "max_wal_size=64MB")
	s.cmd.Stdout, s.cmd.Stderr = log, log
	if err := s.cmd.Start(); err != nil {
		return err
	}
	s.done = make(chan struct{})
	go func(cmd *exec.Cmd, done chan struct{}) { _ = cmd.Wait(); close(done) }(s.cmd, s.done)
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(30 * time.Millisecond) {
		select {
		case <-s.done:
			text, _ := os.ReadFile(log.Name())
			return fmt.Errorf("the server ended: %s", text)
		default:
		}
		if s.program("pg_isready", "-q", "-h", s.dir, "-p", fmt.Sprint(s.port)).Run() == nil {
			return nil
		}
	}
	s.Down()
	return errors.New("the server took no connection in 30 s")
}

// Down stops the server at once, with what is running on it, and waits for its end; it
// recovers at the next [Server.Up], as after a power cut.
func (s *Server) Down() {
	if s.cmd == nil || s.cmd.Process == nil {
		return
	}
	stopNow(s.cmd.Process)
	<-s.done
}

// Database makes an empty database and returns its address over the socket.
func (s *Server) Database(t testing.TB) string {
	t.Helper()
	s.mu.Lock()
	s.n++
	name := fmt.Sprintf("bench%d", s.n)
	s.mu.Unlock()
	s.SQL(t, "postgres", "CREATE DATABASE "+name)
	q := url.Values{"host": {s.dir}, "port": {fmt.Sprint(s.port)}}
	return "postgres://shop@/" + name + "?" + q.Encode()
}

// Loopback is the address of a database over the network of this machine, with a password.
func (s *Server) Loopback(address, password string) string {
	u, err := url.Parse(address)
	if err != nil {
		panic("pgtest: address: " + err.Error())
	}
	u.User, u.Host, u.RawQuery = url.UserPassword("shop", password), fmt.Sprintf("127.0.0.1:%d", s.port), ""
	return u.String()
}

// SQL runs statements in a database, past the program that is tested, and returns what
// psql prints of them.
func (s *Server) SQL(t testing.TB, database, statements string) string {
	t.Helper()
	out, err := s.program("psql", "-h", s.dir, "-p", fmt.Sprint(s.port), "-U", "shop", "-d", database, "-v", "ON_ERROR_STOP=1", "-XAtqc", statements).CombinedOutput()
	if err != nil {
		t.Fatalf("psql %s: %v: %s", statements, err, out)
	}
	return strings.TrimSpace(string(out))
}

// Name is that of the database of an address.
func Name(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		panic("pgtest: address: " + err.Error())
	}
	return strings.TrimPrefix(u.Path, "/")
}
