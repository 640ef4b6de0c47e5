package main

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"sync"
	"time"
)

// certificate is a certificate and key in files, which are read anew once they have changed.
type certificate struct {
	cert, key string // paths
	log       *slog.Logger

	mu      sync.Mutex
	loaded  *tls.Certificate
	stamp   [2]time.Time // of the files when they were last read
	checked time.Time
}

// lookAgain is how often the files are looked at.
const lookAgain = time.Second

// newCertificate reads a certificate. Two empty paths give nil: no TLS.
func newCertificate(cert, key string, log *slog.Logger) (*certificate, error) {
	if cert == "" && key == "" {
		return nil, nil
	}
	if cert == "" || key == "" {
		return nil, errors.New("TLS needs both -tls-cert and -tls-key")
	}
	c := &certificate{cert: cert, key: key, log: log}
	if err := c.read(); err != nil {
		return nil, fmt.Errorf("TLS certificate: %w", err)
	}
	return c, nil
}

func (c *certificate) read() error {
	for i, path := range []string{c.cert, c.key} {
		info, err := os.Stat(path)
		if err != nil {
			return err
		}
		c.stamp[i] = info.ModTime()
	}
	pair, err := tls.LoadX509KeyPair(c.cert, c.key)
	if err != nil {
		return err
	}
	c.loaded = &pair
	return nil
}

func (c *certificate) changed() bool {
	for i, path := range []string{c.cert, c.key} {
		if info, err := os.Stat(path); err == nil && !info.ModTime().Equal(c.stamp[i]) {
			return true
		}
	}
	return false
}

// get returns the present certificate. A new one that cannot be read is reported, and the old one stays in use.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Since(c.checked) >= lookAgain {
		c.checked = time.Now()
		if c.changed() {
			if err := c.read(); err != nil {
				c.log.Error("the new TLS certificate cannot be used; the old one stays", "error", err)
			} else {
				c.log.Info("a new TLS certificate is in use")
			}
		}
	}
	return c.loaded, nil
}

// wrap adds TLS to a listener, or, without a certificate, returns it as it is.
func (c *certificate) wrap(l net.Listener, protocols ...string) net.Listener {
	if c == nil {
		return l
	}
	return tls.NewListener(l, &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get, NextProtos: protocols})
}
