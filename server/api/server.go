package api

import (
	"context"
	"log/slog"
	"net"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// Server is the gRPC server with all services, health and reflection. It may serve several listeners at once.
type Server struct {
	grpc     *grpc.Server
	health   *health.Server
	stopping chan struct{} // closed to end streams
	stop     sync.Once
}

// New returns a server for a model and a store, which must outlive it. The log hears of faults of the program's own,
// never of what people said.
func New(m *knowledge.Model, events *store.Store, log *slog.Logger) *Server {
	stopping := make(chan struct{})
	s := &Server{
		grpc: grpc.NewServer(
			grpc.MaxRecvMsgSize(maxMessage),
			grpc.ChainUnaryInterceptor(unary(log)),
			grpc.ChainStreamInterceptor(streaming(log, stopping)),
			// A watcher whose machine has gone without a word is noticed by asking.
			grpc.KeepaliveParams(keepalive.ServerParameters{Time: 2 * time.Minute}),
			grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 20 * time.Second, PermitWithoutStream: true}),
		),
		health:   health.NewServer(),
		stopping: stopping,
	}
	d := NewDiagnosis(m)
	lightoffv1.RegisterDiagnosisServiceServer(s.grpc, d)
	lightoffv1.RegisterKnowledgeServiceServer(s.grpc, &catalogue{model: m})
	lightoffv1.RegisterConversationServiceServer(s.grpc,
		&conversations{core: d.core, store: events, hub: newHub(), recent: newRecent(), log: log})
	lightoffv1.RegisterCalculationServiceServer(s.grpc, &calculations{})
	for name := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(name, healthv1.HealthCheckResponse_SERVING)
	}
	healthv1.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	return s
}

// Serve answers calls that come in through the listener, until Close. It returns nil after Close.
func (s *Server) Serve(l net.Listener) error { return s.grpc.Serve(l) }

// Drain tells whoever asks for health to go elsewhere. Calls are still answered.
func (s *Server) Drain() { s.health.Shutdown() }

// Close ends streams with UNAVAILABLE, takes no more calls, and waits for those under way until the context ends; then
// it cuts them off. It may be called again.
func (s *Server) Close(ctx context.Context) {
	s.Drain()
	s.stop.Do(func() { close(s.stopping) })
	done := make(chan struct{})
	go func() {
		s.grpc.GracefulStop()
		close(done)
	}()
	select {
	case <-done:
	case <-ctx.Done():
		s.grpc.Stop()
		<-done
	}
}
