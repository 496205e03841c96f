package phone

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"os"
	"slices"
	"strconv"
	"sync"
	"time"
)

// Cookie holds a device's token. The prefix makes browsers insist on TLS, on this host
// and on the whole path (RFC 6265bis, 4.1.3.2).
const Cookie = "__Host-device"

// Gate is the way in for devices beside the bench machine. It is safe for use by several
// goroutines.
type Gate struct {
	dir string
	opt Options

	mu      sync.Mutex
	devices *devices
	code    code
	open    *opened // nil: shut
	calls   map[*call]struct{}
}

// call is one that is being answered. A live display is one that does not end by itself.
type call struct {
	device string
	stop   context.CancelFunc
}

// Options are what a gate takes from outside; the zero value is for use.
type Options struct {
	// Port is listened on; 0: a free one.
	Port int
	// Addresses of this machine; nil: those of its interfaces. Tests give loopback ones.
	Addresses func() ([]net.IP, error)
	// Now is the clock; nil: time.Now.
	Now func() time.Time
}

// opened is a gate that lets devices in.
type opened struct {
	servers     []*http.Server
	urls        []string
	hosts       []string // host and port by which it may be called
	fingerprint string
}

// ErrNoNetwork is met when the machine has no address in a private network.
var ErrNoNetwork = errors.New("this machine has no address in a private network: join it to the same network as the phone first")

// New is the gate whose certificate and devices are kept in a folder of their own; it is
// shut.
func New(dir string, opt Options) (*Gate, error) {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Addresses == nil {
		opt.Addresses = privateAddresses
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("letting phones in: %w", err)
	}
	d, err := loadDevices(dir)
	if err != nil {
		return nil, fmt.Errorf("letting phones in: %w", err)
	}
	return &Gate{dir: dir, opt: opt, devices: d, calls: map[*call]struct{}{}}, nil
}

// privateAddresses are those of this machine that only its own network reaches.
func privateAddresses() ([]net.IP, error) {
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil, err
	}
	var list []net.IP
	for _, a := range all {
		n, ok := a.(*net.IPNet)
		// Link-local IPv6 addresses need a zone, which no browser takes.
		if ok && !n.IP.IsLoopback() && (n.IP.IsPrivate() || n.IP.IsLinkLocalUnicast() && n.IP.To4() != nil) {
			list = append(list, n.IP)
		}
	}
	// IPv4 first: it is what a person can type.
	slices.SortStableFunc(list, func(a, b net.IP) int { return len(b.To4()) - len(a.To4()) })
	return list, nil
}

// Open lets devices call handler over the local network, behind [Gate.Guard]. A gate that
// is open stays as it is.
func (g *Gate) Open(handler http.Handler) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.open != nil {
		return nil
	}
	o, err := g.listen(g.Guard(handler))
	if err != nil {
		return fmt.Errorf("letting phones in: %w", err)
	}
	g.open = o
	return nil
}

func (g *Gate) listen(handler http.Handler) (*opened, error) {
	addresses, err := g.opt.Addresses()
	if err == nil && len(addresses) == 0 {
		err = ErrNoNetwork
	}
	if err != nil {
		return nil, err
	}
	cert, err := certificate(g.dir, addresses, g.opt.Now())
	if err != nil {
		return nil, err
	}
	o := &opened{fingerprint: fingerprint(cert)}
	port := g.opt.Port
	for _, ip := range addresses {
		l, err := net.Listen("tcp", net.JoinHostPort(ip.String(), strconv.Itoa(port)))
		if err != nil {
			o.close()
			return nil, err
		}
		port = l.Addr().(*net.TCPAddr).Port // one for all
		srv := &http.Server{
			Handler: handler, TLSConfig: &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12},
			ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
			ErrorLog: log.New(io.Discard, "", 0), // refused handshakes: a phone that does not know the certificate yet
		}
		o.servers = append(o.servers, srv)
		o.urls = append(o.urls, "https://"+l.Addr().String())
		o.hosts = append(o.hosts, l.Addr().String())
		go srv.ServeTLS(newFew(l), "", "") //nolint:errcheck // ends with the gate
	}
	return o, nil
}

func (o *opened) close() {
	for _, s := range o.servers {
		s.Close() //nolint:errcheck // nothing is left to do
	}
}

// Close shuts the gate at once. Devices that have joined stay listed.
func (g *Gate) Close() {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.open != nil {
		g.open.close()
	}
	g.open, g.code = nil, code{}
	g.hangUp(func(*call) bool { return true })
}

// State is what a person at the bench machine sees of a gate.
type State struct {
	Open        bool
	URLs        []string // to call it by, the likeliest first
	Fingerprint string   // SHA-256 of the certificate
	Code        string   // that lets one device join, "" for none
	Until       time.Time
	Void        bool // too many wrong codes: a new one has to be asked for
	Devices     []Device
}

// State tells how the gate stands.
func (g *Gate) State() State {
	g.mu.Lock()
	defer g.mu.Unlock()
	s := State{Devices: slices.Clone(g.devices.list), Void: g.code.digits != "" && g.code.wrong >= Tries}
	if g.open != nil {
		s.Open, s.URLs, s.Fingerprint = true, slices.Clone(g.open.urls), g.open.fingerprint
		if g.code.inForce(g.opt.Now()) {
			s.Code, s.Until = g.code.digits, g.code.until
		}
	}
	return s
}

// NewCode puts a new code in force; the one before is void.
func (g *Gate) NewCode() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.open == nil {
		return errors.New("no phone can join: the bench is not open to the local network")
	}
	g.code = newCode(g.opt.Now())
	return nil
}

// ErrCode is met when a code is wrong, used or too old.
var ErrCode = errors.New("this code does not hold")

// Join lists a device that gives the code in force, and returns the cookie by which it is
// known from then on.
func (g *Gate) Join(digits, name string) (*http.Cookie, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.code.take(digits, g.opt.Now()) {
		return nil, ErrCode
	}
	token, err := g.devices.add(name, g.opt.Now())
	if err != nil {
		return nil, err
	}
	return &http.Cookie{Name: Cookie, Value: token, Path: "/", Secure: true, HttpOnly: true, SameSite: http.SameSiteStrictMode, MaxAge: 365 * 24 * 3600}, nil
}

// Remove sends a device away: what it is being answered ends, its next call is refused.
func (g *Gate) Remove(id string) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if err := g.devices.remove(id); err != nil {
		return err
	}
	g.hangUp(func(c *call) bool { return c.device == id })
	return nil
}

func (g *Gate) hangUp(which func(*call) bool) {
	for c := range g.calls {
		if which(c) {
			c.stop()
		}
	}
}

// Guest is what is known of who calls over the local network.
type Guest struct {
	Device Device
	Joined bool
	hosts  []string
}

// MayCall reports whether the gate listens under this host and port. Another name in the
// Host header is a page elsewhere that bound its own name to this address.
func (g Guest) MayCall(host string) bool { return slices.Contains(g.hosts, host) }

type guestKey struct{}

// Guard notes in the request's context who calls; see [From]. The context ends when the
// device is sent away or the gate shut.
func (g *Gate) Guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctx, stop := context.WithCancel(r.Context())
		defer stop()
		var guest Guest
		g.mu.Lock()
		if g.open == nil { // shut since the connection was made
			g.mu.Unlock()
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		guest.hosts = g.open.hosts
		if c, err := r.Cookie(Cookie); err == nil {
			guest.Device, guest.Joined = g.devices.find(c.Value)
		}
		c := &call{guest.Device.ID, stop}
		g.calls[c] = struct{}{}
		g.mu.Unlock()
		defer func() {
			g.mu.Lock()
			delete(g.calls, c)
			g.mu.Unlock()
		}()
		next.ServeHTTP(w, r.WithContext(context.WithValue(ctx, guestKey{}, guest)))
	})
}

// From tells whether a call came over the local network, and from whom.
func From(ctx context.Context) (guest Guest, remote bool) {
	guest, remote = ctx.Value(guestKey{}).(Guest)
	return guest, remote
}
