package web

import (
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"caneward/records"
)

// metrics counts without naming farms, people or places.
type metrics struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	took     *prometheus.HistogramVec
	writes   *prometheus.CounterVec
	signIns  *prometheus.CounterVec
}

func newMetrics() *metrics {
	m := &metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "caneward_requests_total", Help: "Requests answered."}, []string{"method", "route", "status"}),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "caneward_request_seconds", Help: "Time from request to answer.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10, 60}}, []string{"method", "route"}),
		writes:  prometheus.NewCounterVec(prometheus.CounterOpts{Name: "caneward_writes_total", Help: "Records sent in, by what became of them."}, []string{"kind", "outcome"}),
		signIns: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "caneward_sign_ins_total", Help: "Tries to sign in."}, []string{"outcome"}),
	}
	m.registry.MustRegister(m.requests, m.took, m.writes, m.signIns, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

func (m *metrics) saw(method, route string, status int, took time.Duration) {
	m.requests.WithLabelValues(method, route, strconv.Itoa(status)).Inc()
	m.took.WithLabelValues(method, route).Observe(took.Seconds())
}

func (m *metrics) wrote(kind records.Kind, o records.Outcome) {
	outcome := "replaced"
	switch {
	case o.Err != nil:
		outcome = "refused"
	case o.Repeated:
		outcome = "repeated"
	case o.Created:
		outcome = "created"
	case o.Revision.Deleted:
		outcome = "deleted"
	}
	if _, err := records.ParseKind(string(kind)); err != nil {
		kind = "unknown"
	}
	m.writes.WithLabelValues(string(kind), outcome).Inc()
}

func (s *Server) serveMetrics(x *exchange) error {
	promhttp.HandlerFor(s.metrics.registry, promhttp.HandlerOpts{DisableCompression: true}).ServeHTTP(x.w, x.r)
	return nil
}
