package problem

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"caneward/blocks/fault"
	"caneward/blocks/words"
)

var (
	testText = words.New("problem-test-text", "the ring crosses itself", "el anillo se cruza")
	testFix  = words.New("problem-test-fix", "move the corner", "mueva la esquina")
)

// Statuses are those of RFC 9110 (400, 401, 403, 404, 409, 412, 413, 415, 422,
// 500, 503), RFC 6585 (428, 429) and RFC 4918 (507).
func TestEveryKindHasAStatus(t *testing.T) {
	want := map[fault.Kind]int{
		fault.Internal: 500, fault.Malformed: 400, fault.Invalid: 422, fault.Missing: 404, fault.Conflict: 409,
		fault.Stale: 412, fault.Precondition: 428, fault.SignInFirst: 401, fault.Forbidden: 403, fault.TooLarge: 413,
		fault.TooMany: 429, fault.Unsupported: 415, fault.TooCostly: 422, fault.Full: 507,
	}
	if len(want) != len(sorts) {
		t.Errorf("table has %d kinds, want %d", len(sorts), len(want))
	}
	for kind, status := range want {
		err := fmt.Errorf("layer: %w", fault.New(kind, testText.Plain()))
		if got := From(err, words.English, "/x", "id").Status; got != status || StatusOf(err) != status {
			t.Errorf("kind %d: status %d, want %d", kind, got, status)
		}
	}
}

func TestInternalTextStaysInside(t *testing.T) {
	for name, err := range map[string]error{
		"plain":   errors.New("no such table: people"),
		"wrapped": fault.Wrap(fault.Internal, errors.New("disk"), words.Verbatim("no such table: people")),
	} {
		body, _ := json.Marshal(From(err, words.English, "/x", "7f"))
		if strings.Contains(string(body), "table") {
			t.Errorf("%s: %s shows the cause", name, body)
		}
		if !strings.Contains(string(body), `"id":"7f"`) {
			t.Errorf("%s: %s lacks the id", name, body)
		}
	}
}

func TestDocument(t *testing.T) {
	err := fault.New(fault.Invalid, testText.Plain(), fault.Detail{
		Text: testText.Plain(), Field: "products[0].rate.unit", Feature: fault.P(2), Ring: fault.P(1), Vertex: fault.P(4),
		At: &[2]float64{-80.4, 35.8}, Fix: testFix.Plain(),
	})
	rec := httptest.NewRecorder()
	Send(rec, words.Spanish, From(err, words.Spanish, "/farms/x/", "1"))
	want := `{"type":"/problems/invalid","title":"El contenido incumple una regla","status":422,"detail":"el anillo se cruza","instance":"/farms/x/","key":"problem-test-text",` +
		`"errors":[{"detail":"el anillo se cruza","key":"problem-test-text","field":"products[0].rate.unit","pointer":"/products/0/rate/unit","feature":2,"ring":1,"vertex":4,"position":[-80.4,35.8],"fix":"mueva la esquina"}]}` + "\n"
	if rec.Body.String() != want {
		t.Errorf("got  %s\nwant %s", rec.Body, want)
	}
	if rec.Code != 422 || rec.Header().Get("Content-Type") != MediaType || rec.Header().Get("Content-Language") != "es" {
		t.Errorf("status %d, headers %v", rec.Code, rec.Header())
	}
}

func TestWaits(t *testing.T) {
	rec := httptest.NewRecorder()
	Send(rec, words.English, From(&Waiting{fault.New(fault.TooMany, testText.Plain()), 1500 * time.Millisecond}, words.English, "/sessions", ""))
	if rec.Code != 429 || rec.Header().Get("Retry-After") != "2" {
		t.Errorf("status %d, Retry-After %q, want 429 and 2", rec.Code, rec.Header().Get("Retry-After"))
	}
	rec = httptest.NewRecorder()
	Send(rec, words.English, From(fmt.Errorf("view: %w", context.DeadlineExceeded), words.English, "/x", ""))
	if rec.Code != 503 || rec.Header().Get("Retry-After") == "" {
		t.Errorf("a passed deadline: status %d, Retry-After %q", rec.Code, rec.Header().Get("Retry-After"))
	}
}
