package web

import (
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"caneward/blocks/fault"
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

// watchCopies adds how the copies of the records stand.
func (m *metrics) watchCopies(state func() records.CopyState, now func() time.Time) {
	gauge := func(name, help string, value func(records.CopyState) float64) {
		m.registry.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help}, func() float64 { return value(state()) }))
	}
	gauge("caneward_copy_last_timestamp_seconds", "When the newest whole copy of the records was made; 0 before the first.", func(c records.CopyState) float64 {
		if c.Last.IsZero() {
			return 0
		}
		return float64(c.Last.UnixMilli()) / 1000
	})
	gauge("caneward_copy_bytes", "Size of the newest copy.", func(c records.CopyState) float64 { return float64(c.Bytes) })
	gauge("caneward_copies", "Copies that are kept.", func(c records.CopyState) float64 { return float64(c.Copies) })
	gauge("caneward_copy_failing", "1 while the newest try to copy failed or is overdue.", func(c records.CopyState) float64 {
		if !c.Failed.IsZero() || c.Late(now()) {
			return 1
		}
		return 0
	})
	m.registry.MustRegister(prometheus.NewCounterFunc(prometheus.CounterOpts{Name: "caneward_copy_failures_total", Help: "Copies that failed."},
		func() float64 { return float64(state().Failures) }))
}

func (m *metrics) watchAudit(a *audit) {
	m.registry.MustRegister(prometheus.NewCounterFunc(prometheus.CounterOpts{Name: "caneward_audit_lost_total",
		Help: "Requests missing from the list of who saw what, since the store took nothing for too long."}, a.lostCount))
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

// serveMetrics answers this machine, and whom the start names: how busy a farm
// is is nobody else's to know.
func (s *Server) serveMetrics(x *exchange) error {
	if !within(s.MetricsTo, x.address()) {
		return fault.New(fault.Missing, noSuchAddress.Plain())
	}
	promhttp.HandlerFor(s.metrics.registry, promhttp.HandlerOpts{DisableCompression: true}).ServeHTTP(x.w, x.r)
	return nil
}
