package main

import (
	"maps"
	"net"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"lightoff/server/api"
)

// doors counts connections, so that neither one address nor all together use up what the machine has of them. An
// address may open twice as many at once as it may have, and as many again every ten seconds: each costs work before
// its first request can be counted. Proxies of ours stand for many and are counted with all only. It is safe for
// concurrent use.
type doors struct {
	each, all int // 0 bounds nothing
	proxies   []netip.Prefix

	refused func() // hears of each that is refused

	mu     sync.Mutex
	open   int
	places map[string]*entrance
	sweep  time.Time // when those who have long been gone are forgotten
}

// entrance is what one address has opened.
type entrance struct {
	open  int
	opens *rate.Limiter
}

// again is how long an address takes to be allowed as many connections again as it may have.
const again = 10 * time.Second

// spareFiles are descriptors that connections leave to the store, the log and the like.
const spareFiles = 128

// admit counts a connection from a place until leave is called; ok is false if there are too many.
func (d *doors) admit(from net.Addr) (leave func(), ok bool) {
	place, ours := api.PeerAddress(from.String()), isOneOf(from, d.proxies)
	d.mu.Lock()
	defer d.mu.Unlock()
	e := d.at(place)
	if d.all > 0 && d.open >= d.all || d.each > 0 && !ours && (e.open >= d.each || !e.opens.Allow()) {
		d.refused()
		return nil, false
	}
	d.open++
	e.open++
	return sync.OnceFunc(func() {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.open--
		e.open--
	}), true
}

// at is what an address has opened; the lock is held. An address that has none open and may open all again is
// forgotten.
func (d *doors) at(place string) *entrance {
	if now := time.Now(); now.After(d.sweep) {
		d.sweep = now.Add(again)
		maps.DeleteFunc(d.places, func(_ string, e *entrance) bool {
			return e.open == 0 &&
				e.opens.TokensAt(now) >= float64(2*d.each)
		})
	}
	e := d.places[place]
	if e == nil {
		e = &entrance{opens: rate.NewLimiter(rate.Limit(float64(d.each)/again.Seconds()), 2*d.each)}
		d.places[place] = e
	}
	return e
}

func isOneOf(from net.Addr, networks []netip.Prefix) bool {
	at, err := netip.ParseAddrPort(from.String())
	if err != nil {
		return false
	}
	for _, n := range networks {
		if n.Contains(at.Addr().Unmap()) {
			return true
		}
	}
	return false
}

// wrap closes the connections of a listener that are too many.
func (d *doors) wrap(l net.Listener) net.Listener { return &door{Listener: l, doors: d} }

type door struct {
	net.Listener
	doors *doors
}

// Accept implements net.Listener.
func (d *door) Accept() (net.Conn, error) {
	for {
		conn, err := d.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if leave, ok := d.doors.admit(conn.RemoteAddr()); ok {
			return &counted{Conn: conn, leave: leave}, nil
		}
		// A reset, for a farewell would keep the descriptor while the peer takes its time.
		if tcp, ok := conn.(*net.TCPConn); ok {
			_ = tcp.SetLinger(0)
		}
		conn.Close()
	}
}

// counted is a connection that is counted until it is closed.
type counted struct {
	net.Conn
	leave func()
}

// Close implements net.Conn.
func (c *counted) Close() error {
	defer c.leave()
	return c.Conn.Close()
}
