// Package pgtest runs a private PostgreSQL for tests: a server of its own in a folder of its own, reached over a socket
// in that folder. Only tests import it.
package pgtest

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// patience is how long the server may take to start or stop.
const patience = 30 * time.Second

// Server is a PostgreSQL that can be stopped and started.
type Server struct {
	folder, bin string
	process     *exec.Cmd
	ended       chan error
}

var shared struct {
	sync.Mutex
	server    *Server
	err       error
	databases int
}

// errMissing means that PostgreSQL is not installed.
var errMissing = errors.New("PostgreSQL is not installed (Debian: postgresql)")

// Main runs a package's tests and stops the server that they shared. Its result is for os.Exit.
func Main(m *testing.M) int {
	code := m.Run()
	shared.Lock()
	defer shared.Unlock()
	if shared.server != nil {
		shared.server.remove()
	}
	return code
}

// Database returns the address of a new, empty database on a server that the tests of a package share; it needs Main.
// Without PostgreSQL the test is skipped, or fails under LIGHTOFF_REQUIRE_ALL=1.
func Database(t testing.TB) string {
	t.Helper()
	shared.Lock()
	defer shared.Unlock()
	if shared.server == nil && shared.err == nil {
		shared.server, shared.err = start()
	}
	need(t, shared.err)
	shared.databases++
	return shared.server.database(t, fmt.Sprintf("t%d", shared.databases))
}

// New returns a server that only this test uses, and the address of an empty database on it.
func New(t testing.TB) (*Server, string) {
	t.Helper()
	s, err := start()
	need(t, err)
	t.Cleanup(s.remove)
	return s, s.database(t, "alone")
}

func need(t testing.TB, err error) {
	t.Helper()
	switch {
	case errors.Is(err, errMissing) && os.Getenv("LIGHTOFF_REQUIRE_ALL") == "":
		t.Skip(err)
	case err != nil:
		t.Fatal(err)
	}
}

func start() (*Server, error) {
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil || len(found) == 0 {
		return nil, errors.Join(errMissing, err)
	}
	slices.Sort(found)
	s := &Server{bin: filepath.Dir(found[len(found)-1])}
	// A short name, for a socket's path is bounded to a hundred bytes or so.
	if s.folder, err = os.MkdirTemp("", "pg"); err != nil {
		return nil, err
	}
	if as := credential(); as != nil {
		if err := os.Chown(s.folder, int(as.Uid), int(as.Gid)); err != nil {
			return nil, err
		}
	}
	made := s.command("initdb", "-D", filepath.Join(s.folder, "d"), "-U", "postgres", "-A", "trust", "-E", "UTF8",
		"--locale=C", "--no-sync")
	if out, err := made.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("initdb: %w: %s", err, out)
	}
	return s, s.Start()
}

// credential is whom the server runs as: not root, which it refuses.
func credential() *syscall.Credential {
	if os.Getuid() != 0 {
		return nil
	}
	who, err := user.Lookup("postgres")
	if err != nil {
		return nil
	}
	uid, _ := strconv.Atoi(who.Uid)
	gid, _ := strconv.Atoi(who.Gid)
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
}

func (s *Server) command(name string, args ...string) *exec.Cmd {
	c := exec.Command(filepath.Join(s.bin, name), args...)
	c.Dir = s.folder
	c.SysProcAttr = &syscall.SysProcAttr{Credential: credential()}
	return c
}

// Start starts a stopped server and returns once it answers.
func (s *Server) Start() error {
	s.process = s.command("postgres", "-D", filepath.Join(s.folder, "d"), "-k", s.folder, "-c", "listen_addresses=",
		"-c", "max_connections=200", "-c", "log_min_messages=fatal")
	s.process.SysProcAttr.Pdeathsig = syscall.SIGQUIT
	s.ended = make(chan error, 1)
	started := make(chan error)
	go func() {
		// The server is to die with the test, of which the kernel sees only the thread that started it.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := s.process.Start()
		started <- err
		if err == nil {
			s.ended <- s.process.Wait()
		}
	}()
	if err := <-started; err != nil {
		return fmt.Errorf("start PostgreSQL: %w", err)
	}
	limited, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	for {
		conn, err := pgx.Connect(limited, s.address("postgres"))
		if err == nil {
			return conn.Close(limited)
		}
		select {
		case <-limited.Done():
			return fmt.Errorf("PostgreSQL does not answer: %w", err)
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// Stop ends the server at once, with all its connections, as on a machine that loses its power: no clean shutdown.
func (s *Server) Stop() {
	if s.process.Process.Signal(syscall.SIGQUIT) == nil {
		<-s.ended
	}
}

func (s *Server) remove() {
	s.Stop()
	_ = os.RemoveAll(s.folder)
}

func (s *Server) address(database string) string {
	return "postgres:///" + database + "?" + url.Values{"host": {s.folder}, "user": {"postgres"}}.Encode()
}

func (s *Server) database(t testing.TB, name string) string {
	t.Helper()
	limited, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	conn, err := pgx.Connect(limited, s.address("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(limited)
	if _, err := conn.Exec(limited, "create database "+name); err != nil {
		t.Fatal(err)
	}
	return s.address(name)
}
