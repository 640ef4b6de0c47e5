//go:build !js

package api

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc/status"
)

// metrics are the figures by which operators see how the service does. No label holds anything of a conversation or
// of who speaks in it.
type metrics struct {
	calls     *prometheus.CounterVec   // by method and code
	seconds   *prometheus.HistogramVec // by method; streams are left out
	refused   *prometheus.CounterVec   // by limit
	watching  prometheus.Gauge
	thinking  prometheus.Histogram
	queued    prometheus.Gauge
	store     *prometheus.HistogramVec // by operation
	questions prometheus.Histogram
}

// quick are the bounds of histograms of durations, in seconds.
var quick = []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10}

func newMetrics(registry prometheus.Registerer) *metrics {
	if registry == nil {
		registry = prometheus.NewRegistry()
	}
	m := &metrics{
		calls: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "lightoff_calls_total",
			Help: "Calls answered, by method and status code."}, []string{"method", "code"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "lightoff_call_seconds",
			Help: "Time to answer a call, streams left out.", Buckets: quick}, []string{"method"}),
		refused: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "lightoff_refused_total",
			Help: "Calls refused because one place asked for too much, by what it asked for."}, []string{"limit"}),
		watching: prometheus.NewGauge(prometheus.GaugeOpts{Name: "lightoff_watchers",
			Help: "Streams that watch a conversation."}),
		thinking: prometheus.NewHistogram(prometheus.HistogramOpts{Name: "lightoff_inference_seconds",
			Help:    "Time to assess a conversation and choose what to ask next, waiting for a processor left out.",
			Buckets: quick}),
		queued: prometheus.NewGauge(prometheus.GaugeOpts{Name: "lightoff_inference_waiting",
			Help: "Assessments that wait for an inference slot."}),
		store: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "lightoff_store_seconds",
			Help: "Time that the store took, by operation.", Buckets: quick}, []string{"operation"}),
		questions: prometheus.NewHistogram(prometheus.HistogramOpts{Name: "lightoff_answers_to_last_question",
			Help:    "Things told in a conversation when nothing was left that is worth asking.",
			Buckets: []float64{2, 4, 6, 8, 10, 12, 15, 20, 30, 50}}),
	}
	registry.MustRegister(m.calls, m.seconds, m.refused, m.watching, m.thinking, m.queued, m.store, m.questions)
	return m
}

// call notes a call that has been answered.
func (m *metrics) call(method string, err error, took time.Duration, stream bool) {
	m.calls.WithLabelValues(method, status.Code(err).String()).Inc()
	if !stream {
		m.seconds.WithLabelValues(method).Observe(took.Seconds())
	}
}

// stored is called at the end of an operation of the store.
func (m *metrics) stored(operation string, since time.Time) {
	m.store.WithLabelValues(operation).Observe(time.Since(since).Seconds())
}
