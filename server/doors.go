package main

import (
	"net"
	"net/netip"
	"sync"

	"lightoff/server/api"
)

// doors counts connections, so that neither one address nor all together use up what the machine has of them. Proxies
// of ours stand for many and are counted with all only. It is safe for concurrent use.
type doors struct {
	each, all int // 0 bounds nothing
	proxies   []netip.Prefix

	refused func() // hears of each that is refused

	mu     sync.Mutex
	open   int
	places map[string]int
}

// spareFiles are descriptors that connections leave to the store, the log and the like.
const spareFiles = 128

// enter counts a connection from a place until leave is called; ok is false if there are too many.
func (d *doors) enter(from net.Addr) (leave func(), ok bool) {
	place, ours := api.Place(from.String()), isOneOf(from, d.proxies)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.all > 0 && d.open >= d.all || d.each > 0 && !ours && d.places[place] >= d.each {
		d.refused()
		return nil, false
	}
	d.open++
	d.places[place]++
	return sync.OnceFunc(func() {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.open--
		if d.places[place]--; d.places[place] == 0 {
			delete(d.places, place)
		}
	}), true
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
		if leave, ok := d.doors.enter(conn.RemoteAddr()); ok {
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
