package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"

	"lightoff/engine/knowledge"
	"lightoff/server/api"
	"lightoff/server/store"
	"lightoff/webui"
)

// Program is the whole service. Set the exported fields, Open it, use it, Close it; then it may be opened again.
type Program struct {
	// GRPC and Web are the addresses to listen on, as host:port; port 0 takes any free one.
	GRPC, Web string
	// Data is the folder for conversations. It is made where there is none. Store, if given, is the postgres:// address
	// of a database to use instead, which several programs may share.
	Data, Store string
	// Metrics is the address for operators, as host:port; empty gives none.
	Metrics string
	// Certificate and Key are the paths of a TLS certificate, with its chain, and of its key, both in PEM. They serve gRPC
	// and pages and are read again when they change. Empty means no TLS.
	Certificate, Key string
	// Keep is the age of its latest event at which a conversation is deleted; 0 keeps all.
	Keep time.Duration
	// Limits bound what one address or token may ask for.
	Limits api.Limits
	// Proxies are those of ours that call for others and say for whom.
	Proxies []netip.Prefix
	// Hosts are the names that pages are reached by. Empty takes all, or, where pages are served to this machine only and
	// no proxy calls for others, those of this machine.
	Hosts []string
	// Embed are the sites whose pages may hold a conversation in a frame.
	Embed []string
	// Model loads the built-in model, and With the same with numbers that were learnt; without With none are used.
	Model func() (*knowledge.Model, error)
	With  func(overlay []byte) (*knowledge.Model, error)
	// Compact writes a model, with the numbers that it was loaded with, for browsers; nil where there is none for them.
	// Build puts the program for browsers into a folder; without it pages do not work without a signal.
	Compact func(overlay []byte, m *knowledge.Model) ([]byte, error)
	Build   func(ctx context.Context, folder string) error
	// Learned is a file with numbers to use whatever is promoted in the store; empty uses what is promoted.
	Learned string
	// Log hears of the program's own faults, never of what people said.
	Log *slog.Logger

	offline   offline
	lookEvery time.Duration // for what is promoted; 0 is the usual
	grpc, web net.Listener
	doors     *doors
	operators *http.Server // nil without Metrics
	metrics   net.Listener
	end       context.CancelFunc // ends what runs beside
	inside    *bufconn.Listener  // the same gRPC server, without the network
	store     *store.Store
	api       *api.Server
	pages     *http.Server
	https     bool
	sockets   sync.WaitGroup // requests for pages, sockets included
	leaving   chan struct{}  // closed to tell sockets to come back
	conn      *grpc.ClientConn
	serving   sync.WaitGroup
	failed    chan error
}

// modelError means that the model cannot be used.
type modelError struct{ err error }

func (e *modelError) Error() string { return "the model cannot be used: " + e.err.Error() }
func (e *modelError) Unwrap() error { return e.err }

// Open starts the service. It returns once both addresses answer, or with an error and nothing left open.
func (p *Program) Open(ctx context.Context) (err error) {
	defer func() {
		if err != nil {
			err = errors.Join(err, p.Close(ctx))
		}
	}()
	model, err := p.Model()
	if err != nil {
		return &modelError{err}
	}
	var instead *learnt
	if p.Learned != "" {
		if instead, err = readLearnt(p.Learned, p.With); err != nil {
			return &modelError{err}
		}
	}
	// Before the store, so that a second program on the same ports leaves the first one's data alone.
	if p.grpc, err = net.Listen("tcp", p.GRPC); err != nil {
		return fmt.Errorf("gRPC: %w", err)
	}
	if p.web, err = net.Listen("tcp", p.Web); err != nil {
		return fmt.Errorf("pages: %w", err)
	}
	certificate, err := newCertificate(p.Certificate, p.Key, p.Log)
	if err != nil {
		return err
	}
	p.https = certificate != nil
	if p.Metrics != "" {
		if p.metrics, err = net.Listen("tcp", p.Metrics); err != nil {
			return fmt.Errorf("metrics: %w", err)
		}
	}
	if p.store, err = (place{data: p.Data, store: p.Store}).open(ctx); err != nil {
		return err
	}
	options := api.Options{Proxies: p.Proxies, Learned: p.With, LookEvery: p.lookEvery}
	if instead != nil {
		// Kept without being promoted, so that conversations opened under it find it after a restart and on other servers.
		if err = p.store.AddModel(ctx, instead.model.Version, instead.overlay, instead.report); err != nil {
			return err
		}
		options.Instead = instead.model
	}
	p.inside = bufconn.Listen(1 << 18)
	p.conn, err = grpc.NewClient("passthrough:///inside", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return p.inside.DialContext(ctx) }))
	if err != nil {
		return fmt.Errorf("connect the pages to the service: %w", err)
	}
	p.leaving = make(chan struct{})
	figures, limiter := newFigures(), api.NewLimiter(p.Limits)
	p.doors = &doors{each: p.Limits.Connections, all: usualConnections(), proxies: p.Proxies,
		places:  map[string]*entrance{},
		refused: figures.shut.Inc}
	options.Limiter, options.Registry = limiter, figures.registry
	p.api = api.New(model, p.store, p.Log, options)
	p.pages = &http.Server{
		Handler: p.counted(webui.Handler(p.conn, webui.Options{
			Logger: p.Log, Done: p.leaving, SignIn: api.WithBearerToken, Embed: p.Embed, Hosts: p.hosts(),
			Admit: figures.admit(limiter, p.Proxies), Kit: p.offlineKit,
			Annotate: func(ctx context.Context, r *http.Request) context.Context {
				return api.OnBehalfOf(ctx, api.ClientAddress(r, p.Proxies))
			},
		})),
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       15 * time.Second,
		WriteTimeout:      time.Minute, // sockets have their own
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          slog.NewLogLogger(p.Log.Handler(), slog.LevelWarn),
	}
	p.operators = &http.Server{Handler: operations(figures, p.api.Ready), ReadHeaderTimeout: 10 * time.Second,
		ErrorLog: p.pages.ErrorLog}
	p.start(certificate, figures)
	return nil
}

// hosts are the names that requests for pages may be made with.
func (p *Program) hosts() []string {
	if len(p.Hosts) == 0 && len(p.Proxies) == 0 && onLoopback(p.Web) == nil {
		own, _, _ := net.SplitHostPort(p.Web)
		return []string{"localhost", "127.0.0.1", "::1", own}
	}
	return p.Hosts
}

func (p *Program) start(certificate *certificate, figures *figures) {
	p.failed = make(chan error, 4)
	serve := func(what string, serve func() error) {
		p.serving.Go(func() {
			if err := serve(); err != nil && !errors.Is(err, http.ErrServerClosed) {
				p.failed <- fmt.Errorf("%s: %w", what, err)
			}
		})
	}
	server, inside, listener := p.api, p.inside, certificate.wrap(p.doors.wrap(p.grpc), "h2")
	serve("gRPC", func() error { return server.Serve(listener) })
	serve("gRPC inside", func() error { return server.ServeInside(inside) })
	pages, web := p.pages, certificate.wrap(p.doors.wrap(p.web), "http/1.1") // a websocket begins in HTTP/1.1
	serve("pages", func() error { return pages.Serve(web) })
	if operators, metrics := p.operators, p.metrics; metrics != nil {
		serve("metrics", func() error { return operators.Serve(metrics) })
	}
	var beside context.Context
	beside, p.end = context.WithCancel(context.Background())
	if p.Build != nil {
		p.serving.Go(func() { p.makeOffline(beside) })
	}
	if p.Keep > 0 {
		kept := p.store
		p.serving.Go(func() { sweep(beside, kept.DeleteOlder, p.Keep, figures, p.Log) })
	}
}

// counted lets Close wait for sockets, which the HTTP server forgets once they are open.
func (p *Program) counted(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p.sockets.Add(1)
		defer p.sockets.Done()
		next.ServeHTTP(w, r)
	})
}

// GRPCAddress is where gRPC answers.
func (p *Program) GRPCAddress() string { return p.grpc.Addr().String() }

// MetricsAddress is where operators are answered.
func (p *Program) MetricsAddress() string { return p.metrics.Addr().String() }

// URL is where to point a browser on this machine.
func (p *Program) URL() string {
	scheme := "http://"
	if p.https {
		scheme = "https://"
	}
	host, port, err := net.SplitHostPort(p.web.Addr().String())
	if err != nil {
		return scheme + p.web.Addr().String() + "/"
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsUnspecified() {
		host = "localhost"
	}
	return scheme + net.JoinHostPort(host, port) + "/"
}

// Wait returns nil when the context ends, or the error when a listener breaks.
func (p *Program) Wait(ctx context.Context) error {
	select {
	case <-ctx.Done():
		return nil
	case err := <-p.failed:
		return err
	}
}

// Close ends the service: health says so first, sockets are told to come back, answers under way are finished, and the
// store is closed last. When the context ends, what is still under way is cut off.
func (p *Program) Close(ctx context.Context) error {
	var errs []error
	if p.api != nil {
		p.api.Drain()
		close(p.leaving)
		if err := p.pages.Shutdown(ctx); err != nil {
			errs = append(errs, fmt.Errorf("close the pages: %w", err), p.pages.Close())
		}
		p.awaitSockets(ctx)
		p.api.Close(ctx)
		p.end()
		errs = append(errs, p.operators.Close())
		p.serving.Wait()
	}
	if p.conn != nil {
		errs = append(errs, p.conn.Close())
	}
	// Closed already where they were served.
	for _, l := range []net.Listener{p.grpc, p.web, p.metrics} {
		if l != nil {
			l.Close()
		}
	}
	if p.store != nil {
		errs = append(errs, p.store.Close())
	}
	p.grpc, p.web, p.metrics, p.inside, p.store, p.api, p.pages, p.conn = nil, nil, nil, nil, nil, nil, nil, nil
	return errors.Join(errs...)
}

func (p *Program) awaitSockets(ctx context.Context) {
	done := make(chan struct{})
	go func() {
		p.sockets.Wait()
		close(done)
	}()
	select {
	case <-done:
	case <-ctx.Done():
	}
}
