package web

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"log/slog"
	"net/http"
	"runtime/debug"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
	"caneward/web/problem"
)

// trace goes with a request: its number, and the pattern that answered it.
type trace struct{ id, route string }

type traceKey struct{}

func traceOf(r *http.Request) *trace {
	if t, ok := r.Context().Value(traceKey{}).(*trace); ok {
		return t
	}
	return &trace{}
}

func language(r *http.Request) words.Language { return words.Accepted(r.Header.Get("Accept-Language")) }

// identified numbers the request. A client's own number is not taken: it would
// let anybody write into the log.
func (s *Server) identified(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var b [8]byte
		rand.Read(b[:])
		t := &trace{id: hex.EncodeToString(b[:]), route: "none"}
		w.Header().Set("Request-Id", t.id)
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), traceKey{}, t)))
	})
}

// logged writes one line a request: the pattern, never the path or the query,
// for those hold farms, ids and positions.
func (s *Server) logged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		start := time.Now()
		rec := &recorder{ResponseWriter: w}
		defer func() {
			took := time.Since(start)
			t := traceOf(r)
			if rec.status == 0 {
				rec.status = http.StatusOK
			}
			s.metrics.saw(knownMethod(r.Method), t.route, rec.status, took)
			s.Logger.LogAttrs(r.Context(), slog.LevelInfo, "request", slog.String("id", t.id), slog.String("method", knownMethod(r.Method)),
				slog.String("route", t.route), slog.Int("status", rec.status), slog.Int64("bytes", rec.bytes), slog.Duration("took", took))
		}()
		next.ServeHTTP(rec, r)
	})
}

// knownMethod keeps made-up methods out of log and metrics.
func knownMethod(m string) string {
	switch m {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodOptions, http.MethodPatch:
		return m
	}
	return "other"
}

type recorder struct {
	http.ResponseWriter
	status int
	bytes  int64
}

func (r *recorder) WriteHeader(status int) {
	if r.status == 0 {
		r.status = status
	}
	r.ResponseWriter.WriteHeader(status)
}

func (r *recorder) Write(b []byte) (int, error) {
	if r.status == 0 {
		r.status = http.StatusOK
	}
	n, err := r.ResponseWriter.Write(b)
	r.bytes += int64(n)
	return n, err
}

// Unwrap lets http.ResponseController reach the connection.
func (r *recorder) Unwrap() http.ResponseWriter { return r.ResponseWriter }

// recovered turns a panic into an internal failure; the stack goes to the log.
func (s *Server) recovered(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			v := recover()
			if v == nil {
				return
			}
			if v == http.ErrAbortHandler {
				panic(v)
			}
			t := traceOf(r)
			s.Logger.LogAttrs(r.Context(), slog.LevelError, "panic", slog.String("id", t.id), slog.String("route", t.route),
				slog.String("what", fmt.Sprint(v)), slog.String("stack", string(debug.Stack())))
			if rec, ok := w.(*recorder); ok && rec.status != 0 {
				panic(http.ErrAbortHandler) // half an answer is out: break the connection
			}
			problem.Send(w, language(r), problem.From(fmt.Errorf("panic: %v", v), language(r), r.URL.Path, t.id))
		}()
		next.ServeHTTP(w, r)
	})
}

// contentPolicy lets the page load from this server alone and nobody frame it.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; " +
	"connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// secured sets what tells a browser to be careful.
func (s *Server) secured(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Permissions-Policy", "geolocation=(self), camera=(), microphone=()")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		next.ServeHTTP(w, r)
	})
}

// sameOrigin refuses changes that another site's page makes a browser ask for.
func (s *Server) sameOrigin(next http.Handler) http.Handler {
	guard := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := guard.Check(r); err != nil {
			s.refuse(w, r, fault.Wrap(fault.Forbidden, err, otherSite.Plain()))
			return
		}
		next.ServeHTTP(w, r)
	})
}
