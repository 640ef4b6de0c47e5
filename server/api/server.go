//go:build !js

package api

import (
	"cmp"
	"context"
	"log/slog"
	"net"
	"net/netip"
	"runtime"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/calculation"
	"lightoff/server/store"
)

// Server is the gRPC server with all services, health and reflection. It may serve several listeners at once.
type Server struct {
	grpc          *grpc.Server
	inside        *grpc.Server // the same for calls from within the process, where one connection serves many visitors
	health        *health.Server
	stopping      chan struct{} // closed to end streams
	stop          sync.Once
	conversations *conversations
	line          *line          // that inferences wait in
	work          sync.WaitGroup // what runs beside calls
}

// Options adjust a server. The zero value limits nobody.
type Options struct {
	// Limiter bounds what one caller may ask for; nil bounds nothing.
	Limiter *Limiter
	// Proxies are the addresses of proxies whose word on where a call comes from is taken.
	Proxies []netip.Prefix
	// Registry takes the server's figures; nil keeps them to itself.
	Registry prometheus.Registerer
	// Learned loads the model with numbers that were learnt, so that what is promoted in the store is taken up; nil loads
	// none.
	Learned func(overlay []byte) (*knowledge.Model, error)
	// Instead is a learnt model to use whatever is promoted. What it consists of should be in the store, so that
	// conversations that are opened under it find it again.
	Instead *knowledge.Model
	// LookEvery is the polling interval for promotions; 0 means the default.
	LookEvery time.Duration
}

// helloLimit is how long a connection may take to say that it speaks HTTP/2, and idleLimit how long one may stay
// without a call.
const (
	helloLimit = 20 * time.Second
	idleLimit  = 5 * time.Minute
)

// maxStreams is the most calls and streams that one connection may have under way; each costs some kilobytes.
const maxStreams = 256

// New returns a server for the built-in model and a store, which must outlive it. It uses the learnt model that is
// promoted in the store, if there is one that loads. The log hears of faults of the program's own, never of what people
// said.
func New(m *knowledge.Model, events *store.Store, log *slog.Logger, opts Options) *Server {
	if opts.Limiter == nil {
		opts.Limiter = NewLimiter(Limits{})
	}
	d := NewDiagnosis(m)
	d.metrics = newMetrics(opts.Registry)
	d.line = newLine(runtime.GOMAXPROCS(0), opts.Limiter.limits.Waiting)
	d.limiter = opts.Limiter
	d.models.loadFrom(events, log, opts)
	stopping := make(chan struct{})
	b := &border{log: log, stopping: stopping, recheck: recheck, metrics: d.metrics, methods: map[string]bool{},
		access: &access{model: m, store: events, proxies: opts.Proxies, limiter: opts.Limiter}}
	if opts.Limiter.limits.Requests > 0 {
		b.turns = &turns{callers: map[string]*turn{}}
	}
	options := []grpc.ServerOption{
		grpc.MaxRecvMsgSize(maxMessage),
		grpc.MaxHeaderListSize(16 << 10),
		grpc.UnknownServiceHandler(func(any, grpc.ServerStream) error { return errNoCall }),
		grpc.UnaryInterceptor(b.unary),
		grpc.StreamInterceptor(b.streaming),
		// A watcher whose machine has gone without a word is noticed by asking, and a connection on which nobody calls ends.
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: 2 * time.Minute, MaxConnectionIdle: idleLimit}),
		grpc.ConnectionTimeout(helloLimit),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 20 * time.Second, PermitWithoutStream: true}),
	}
	s := &Server{
		line:     d.line,
		inside:   grpc.NewServer(options...),
		grpc:     grpc.NewServer(append(options, grpc.MaxConcurrentStreams(maxStreams))...),
		health:   health.NewServer(),
		stopping: stopping,
	}
	c := &conversations{core: d.core, store: events, hub: newHub(), recent: newRecent(), log: log}
	s.conversations = c
	listed := &heads{}
	for _, g := range []*grpc.Server{s.grpc, s.inside} {
		lightoffv1.RegisterDiagnosisServiceServer(g, d)
		lightoffv1.RegisterKnowledgeServiceServer(g, &catalogue{models: d.models})
		lightoffv1.RegisterConversationServiceServer(g, c)
		lightoffv1.RegisterCalculationServiceServer(g, calculation.Service{})
		lightoffv1.RegisterDeskServiceServer(g, &desk{conversations: c, heads: listed,
			saids: &saids{known: map[string]said{}}})
		lightoffv1.RegisterLookOnServiceServer(g, &lookOn{conversations: c})
		lightoffv1.RegisterModerationServiceServer(g, &moderation{conversations: c})
		healthv1.RegisterHealthServer(g, s.health)
		reflection.Register(g)
	}
	for service, info := range s.grpc.GetServiceInfo() {
		for _, m := range info.Methods {
			b.methods["/"+service+"/"+m.Name] = true
		}
	}
	s.setHealth(healthv1.HealthCheckResponse_SERVING)
	ctx, end := context.WithCancel(context.Background())
	go func() { <-stopping; end() }()
	s.work.Go(func() { events.Listen(ctx, c.heard) })
	s.work.Go(func() { s.watchStore(ctx, events, log) })
	s.work.Go(func() { d.models.follow(ctx, cmp.Or(opts.LookEvery, LookEvery)) })
	return s
}

func (s *Server) setHealth(status healthv1.HealthCheckResponse_ServingStatus) {
	s.health.SetServingStatus("", status)
	for name := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(name, status)
	}
}

// How often the store is asked whether it is there, and how long it may take to say so.
const (
	askStore     = 2 * time.Second
	storeAnswers = 5 * time.Second
)

// watchStore lets health say that the server does not serve while the store takes nothing.
func (s *Server) watchStore(ctx context.Context, events *store.Store, log *slog.Logger) {
	healthy := true
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(askStore):
		}
		asking, cancel := context.WithTimeout(ctx, storeAnswers)
		err := events.Ready(asking)
		cancel()
		if ctx.Err() != nil || (err == nil) == healthy {
			continue
		}
		if healthy = err == nil; healthy {
			log.Info("the store is back")
			s.setHealth(healthv1.HealthCheckResponse_SERVING)
		} else {
			log.Error("the store is away", "error", err)
			s.setHealth(healthv1.HealthCheckResponse_NOT_SERVING)
		}
	}
}

// Ready reports whether calls may be sent here, as health does.
func (s *Server) Ready(ctx context.Context) bool {
	answer, err := s.health.Check(ctx, &healthv1.HealthCheckRequest{})
	return err == nil && answer.Status == healthv1.HealthCheckResponse_SERVING
}

// Serve answers calls that come in through the listener, until Close. It returns nil after Close.
func (s *Server) Serve(l net.Listener) error { return s.grpc.Serve(l) }

// ServeInside does the same for calls from within the process that are made for visitors.
func (s *Server) ServeInside(l net.Listener) error { return s.inside.Serve(l) }

// Drain tells whoever asks for health to go elsewhere. Calls are still answered.
func (s *Server) Drain() { s.health.Shutdown() }

// Close ends streams with UNAVAILABLE, takes no more calls, and waits for those under way until the context ends; then
// it cuts them off. It may be called again.
func (s *Server) Close(ctx context.Context) {
	s.Drain()
	s.stop.Do(func() { close(s.stopping) })
	s.work.Wait()
	var stopped sync.WaitGroup
	for _, g := range []*grpc.Server{s.grpc, s.inside} {
		stopped.Go(func() {
			force := context.AfterFunc(ctx, g.Stop)
			defer force()
			g.GracefulStop()
		})
	}
	stopped.Wait()
}
