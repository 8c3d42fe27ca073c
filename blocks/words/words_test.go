package words

import (
	"strings"
	"testing"
)

var sample = New("words-test-sample", "{n} rows of {what}", "{n} hileras de {what}")

func TestTextInBothLanguages(t *testing.T) {
	what := New("words-test-what", "berries", "moras")
	for _, c := range []struct {
		name string
		text Text
		in   Language
		want string
	}{
		{"English", sample.With(Args{"n": 3, "what": "x"}), English, "3 rows of x"},
		{"Spanish", sample.With(Args{"n": 3, "what": "x"}), Spanish, "3 hileras de x"},
		{"a text in a text", sample.With(Args{"n": 2.5, "what": what.Plain()}), Spanish, "2.5 hileras de moras"},
		{"a figure without noise", sample.With(Args{"n": 0.1 + 0.2, "what": ""}), English, "0.3 rows of "},
		{"an unknown language", what.Plain(), "fr", "berries"},
		{"a missing figure stays visible", sample.With(Args{"n": 1}), English, "1 rows of {what}"},
		{"a value in braces is not filled in again", sample.With(Args{"n": 1, "what": "{n}"}), English, "1 rows of {n}"},
	} {
		if got := c.text.In(c.in); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestCatalogueRefuses(t *testing.T) {
	for _, c := range []struct{ name, key, english, spanish, says string }{
		{"a key twice", "words-test-sample", "a", "b", "twice"},
		{"other placeholders", "words-test-other", "{a}", "{b}", "placeholders"},
		{"a placeholder lost", "words-test-lost", "{a} {b}", "{a}", "placeholders"},
	} {
		func() {
			defer func() {
				if p, _ := recover().(string); !strings.Contains(p, c.says) {
					t.Errorf("%s: panicked with %q, want %q", c.name, p, c.says)
				}
			}()
			New(c.key, c.english, c.spanish)
		}()
	}
}

func TestAccepted(t *testing.T) {
	for header, want := range map[string]Language{
		"": English, "es-MX,es;q=0.9,en;q=0.5": Spanish, "en-US": English, "fr, es;q=0.3": Spanish, "de": English, "ES": Spanish,
	} {
		if got := Accepted(header); got != want {
			t.Errorf("%q: %s, want %s", header, got, want)
		}
	}
}
