package main

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"lightoff/server/api"
)

// figures are what operators see of one run of the program.
type figures struct {
	registry *prometheus.Registry
	sockets  prometheus.Gauge
	refused  prometheus.Counter
	swept    prometheus.Counter
	shut     prometheus.Counter
}

func newFigures() *figures {
	f := &figures{
		registry: prometheus.NewRegistry(),
		sockets:  prometheus.NewGauge(prometheus.GaugeOpts{Name: "lightoff_sockets", Help: "Pages' sockets that are open."}),
		refused: prometheus.NewCounter(prometheus.CounterOpts{Name: "lightoff_sockets_refused_total",
			Help: "Sockets refused because one place had too many."}),
		swept: prometheus.NewCounter(prometheus.CounterOpts{Name: "lightoff_swept_total",
			Help: "Conversations deleted because they were old."}),
	}
	f.shut = prometheus.NewCounter(prometheus.CounterOpts{Name: "lightoff_connections_refused_total",
		Help: "Connections closed at once because one place, or all together, had too many."})
	f.registry.MustRegister(f.sockets, f.refused, f.swept, f.shut, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return f
}

// admit counts a page's socket, or refuses it.
func (f *figures) admit(limiter *api.Limiter, proxies []netip.Prefix) func(*http.Request) (func(), time.Duration) {
	return func(r *http.Request) (func(), time.Duration) {
		leave, wait := limiter.Socket(api.ClientAddress(r, proxies))
		if wait > 0 {
			f.refused.Inc()
			return nil, wait
		}
		f.sockets.Inc()
		return func() { f.sockets.Dec(); leave() }, 0
	}
}

// operations answers operators: /metrics for Prometheus, /live while the program runs, /ready while calls may be sent.
func operations(f *figures, ready func(context.Context) bool) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(f.registry, promhttp.HandlerOpts{}))
	mux.HandleFunc("GET /live", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "live") })
	mux.HandleFunc("GET /ready", func(w http.ResponseWriter, r *http.Request) {
		if !ready(r.Context()) {
			http.Error(w, "not ready", http.StatusServiceUnavailable)
			return
		}
		fmt.Fprintln(w, "ready")
	})
	return mux
}

// sweepEvery is how often old conversations are looked for.
const sweepEvery = time.Hour

// sweep deletes what is older than the age, now and every hour, until the context ends.
func sweep(ctx context.Context, old func(context.Context, time.Duration) (int, error), age time.Duration, f *figures,
	log *slog.Logger) {
	for {
		n, err := old(ctx, age)
		f.swept.Add(float64(n))
		switch {
		case err != nil && ctx.Err() == nil:
			log.Error("deleting old conversations", "error", err)
		case n > 0:
			log.Info("deleted old conversations", "number", n)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(sweepEvery):
		}
	}
}

// age is a duration in days such as "90d", or in what Go writes, such as "36h"; as a flag.
type age time.Duration

// String implements flag.Value.
func (a *age) String() string {
	if day := 24 * time.Hour; time.Duration(*a)%day == 0 {
		return fmt.Sprintf("%dd", time.Duration(*a)/day)
	}
	return time.Duration(*a).String()
}

// Set implements flag.Value.
func (a *age) Set(text string) error {
	d, err := time.ParseDuration(text)
	if days, ok := strings.CutSuffix(text, "d"); ok {
		var n uint64
		n, err = strconv.ParseUint(days, 10, 16)
		d = time.Duration(n) * 24 * time.Hour
	}
	if err != nil || d <= 0 {
		return fmt.Errorf("%q is no age such as 90d or 36h", text)
	}
	*a = age(d)
	return nil
}

// networks are addresses or networks, separated by commas; as a flag.
type networks []netip.Prefix

// String implements flag.Value.
func (n *networks) String() string {
	var out []string
	for _, p := range *n {
		out = append(out, p.String())
	}
	return strings.Join(out, ",")
}

// Set implements flag.Value.
func (n *networks) Set(text string) error {
	*n = nil
	for _, one := range strings.Split(text, ",") {
		p, err := netip.ParsePrefix(one)
		if at, atErr := netip.ParseAddr(one); atErr == nil {
			p, err = at.WithZone("").Prefix(at.BitLen())
		}
		if err != nil {
			return fmt.Errorf("%q is no address or network", one)
		}
		*n = append(*n, p.Masked())
	}
	return nil
}
