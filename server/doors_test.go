package main

import (
	"bytes"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/netip"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestDoors: one address may hold so many connections, all together so many, and a proxy of ours as many as all.
func TestDoors(t *testing.T) {
	refused := 0
	d := &doors{each: 2, all: 4, proxies: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")},
		places:  map[string]*entrance{},
		refused: func() { refused++ }}
	from := func(address string) func() {
		leave, ok := d.admit(net.TCPAddrFromAddrPort(netip.MustParseAddrPort(address)))
		assert.Equal(t, ok, leave != nil)
		return leave
	}
	first := from("192.0.2.1:1")
	require.NotNil(t, first)
	require.NotNil(t, from("192.0.2.1:2"))
	assert.Nil(t, from("192.0.2.1:3"), "a third")
	assert.NotNil(t, from("[2001:db8::1]:1"), "another is not held up")
	first()
	first()
	assert.NotNil(t, from("10.1.2.3:1"))
	last := from("10.1.2.3:2")
	assert.NotNil(t, last)
	assert.Nil(t, from("10.1.2.3:3"), "all together")
	assert.Nil(t, from("192.0.2.9:1"))
	last()
	assert.NotNil(t, from("10.1.2.3:3"), "more than an address may")
	assert.Equal(t, 3, refused)
}

// TestDoorsAgain: whoever opens and closes as fast as it can is shut out as well, and is let in again later.
func TestDoorsAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &doors{each: 5, places: map[string]*entrance{}, refused: func() {}}
		tries := func(n int) (in int) {
			for range n {
				if leave, ok := d.admit(net.TCPAddrFromAddrPort(netip.MustParseAddrPort("192.0.2.1:1"))); ok {
					in++
					leave()
				}
			}
			return in
		}
		assert.Equal(t, 10, tries(100))
		time.Sleep(again)
		assert.Equal(t, 5, tries(100))
		time.Sleep(3 * again)
		_, ok := d.admit(net.TCPAddrFromAddrPort(netip.MustParseAddrPort("192.0.2.2:1")))
		assert.True(t, ok)
		assert.NotContains(t, d.places, "192.0.2.1", "who has long been gone is forgotten")
	})
}

// TestDoorsOnTheNetwork refuses a connection by closing it and takes another once one has ended.
func TestDoorsOnTheNetwork(t *testing.T) {
	plain, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	d := &doors{each: 1, places: map[string]*entrance{}, refused: func() {}}
	l := d.wrap(plain)
	taken := make(chan net.Conn, 4)
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				close(taken)
				return
			}
			taken <- conn
		}
	}()
	dial := func() (net.Conn, error) {
		conn, err := net.Dial("tcp", plain.Addr().String())
		if err != nil {
			return nil, err
		}
		t.Cleanup(func() { conn.Close() })
		return conn, conn.SetDeadline(time.Now().Add(patience))
	}
	_, err = dial()
	require.NoError(t, err)
	inside := <-taken
	other, err := dial()
	if err == nil { // it may be reset even before it is made
		_, err = other.Read(make([]byte, 1))
	}
	var slow net.Error
	require.Error(t, err)
	assert.False(t, errors.As(err, &slow) && slow.Timeout(), "closed, not kept waiting: %v", err)
	require.NoError(t, inside.Close())
	again, err := dial()
	require.NoError(t, err)
	require.NoError(t, (<-taken).Close())
	_, err = again.Read(make([]byte, 1))
	assert.ErrorIs(t, err, io.EOF)
	require.NoError(t, l.Close())
	_, open := <-taken
	assert.False(t, open)
}

// TestQuietLog: a flood of one message costs some lines, other messages are written, and nothing long is.
func TestQuietLog(t *testing.T) {
	var out bytes.Buffer
	log := slog.New(newQuiet(slog.NewTextHandler(&out, nil)))
	origin := "https://" + strings.Repeat("x", 14<<10) + ".example"
	for range 5000 {
		log.With("where", origin).Info("socket refused", "origin", origin)
	}
	log.Error("something else", "error", errors.New(strings.Repeat("e", 2000)))
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	assert.LessOrEqual(t, len(lines), logBurst+10)
	assert.Less(t, out.Len(), 20_000, "49.7 MB before")
	last := lines[len(lines)-1]
	assert.Contains(t, last, "something else")
	assert.Contains(t, last, strings.Repeat("e", 2000), "an error of the program's own is written whole")
	for n := range 2 * maxMessages {
		log.Info(strings.Repeat("m", n%24) + string(rune('a'+n/24)))
	}
	assert.LessOrEqual(t, len(log.Handler().(*quiet).shared.messages), maxMessages+1)
	require.True(t, log.Enabled(t.Context(), slog.LevelInfo))
}
