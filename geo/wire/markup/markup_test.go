package markup_test

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/encoding/charmap"

	"caneward/geo/wire"
	"caneward/geo/wire/markup"
)

// walk reads a document as start tags, texts and ends, in one line.
func walk(data []byte, l wire.Limits) (string, error) {
	r, err := markup.New(context.Background(), data, l)
	if err != nil {
		return "", err
	}
	root, err := r.Root()
	if err != nil {
		return "", err
	}
	var b strings.Builder
	var inside func(markup.Element) error
	inside = func(e markup.Element) error {
		b.WriteString("<" + e.Name)
		for _, a := range e.Attrs {
			b.WriteString(" " + a.Name + "=" + a.Value)
		}
		b.WriteString(">")
		t, err := r.Mixed(inside)
		b.WriteString(t.S + "</>")
		return err
	}
	if err := inside(root); err != nil {
		return b.String(), err
	}
	return b.String(), r.End()
}

func TestWalk(t *testing.T) {
	for _, tt := range []struct{ name, text, want string }{
		{"plain", "<a><b>x</b></a>", "<a><b>x</></>"},
		{"declaration, comments, instructions", "<?xml version=\"1.0\"?><!-- < --><a><?p < ?>x<!-- > -->y</a><!-- end -->\n", "<a>xy</>"},
		{"CDATA", "<a><![CDATA[<b> & ]] >]]></a>", "<a><b> & ]] ></>"},
		{"entities of XML", "<a k=\"&lt;&#x41;\">&amp;&#65;</a>", "<a k=<A>&A</>"},
		{"prefixes", "<p:a xmlns:p=\"u\"><q:b/></p:a>", "<a p=u><b></></>"},
		{"self-closed", "<a/>", "<a></>"},
		{"mark", "\xEF\xBB\xBF<a/>", "<a></>"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got, err := walk([]byte(tt.text), wire.Limits{}); err != nil || got != tt.want {
				t.Errorf("got %s (%v), want %s", got, err, tt.want)
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		rule       wire.Rule
		line       int
	}{
		{"document type", "<!DOCTYPE kml>\n<kml/>", markup.RuleDoctype, 1},
		{"entity", "\n<!DOCTYPE a [<!ENTITY e \"x\">]><a>&e;</a>", markup.RuleDoctype, 2},
		{"document type inside", "<a>\n<!DOCTYPE b></a>", markup.RuleDoctype, 2},
		{"undeclared entity", "<a>\n&nbsp;</a>", markup.RuleSyntax, 2},
		{"bare ampersand", "<a>A & B</a>", markup.RuleSyntax, 1},
		{"crossed", "<a>\n<b></a></b>", markup.RuleSyntax, 2},
		{"letters differ", "<a></A>", markup.RuleSyntax, 1},
		{"attribute twice", "<a k=\"1\" k=\"2\"/>", markup.RuleAttribute, 1},
		{"text before", "x<a/>", markup.RuleSyntax, 1},
		{"text after", "<a/>x", wire.RuleTrailing, 1},
		{"two roots", "<a/>\n<b/>", wire.RuleTrailing, 2},
		{"cut in an element", "<a>\n<b>", wire.RuleTruncated, 2},
		{"cut in a tag", "<a>\n<b k=\"", wire.RuleTruncated, 2},
		{"cut in a comment", "<a><!-- ", wire.RuleTruncated, 1},
		{"only a declaration", "<?xml version=\"1.0\"?>", wire.RuleTruncated, 1},
		{"nothing", " \n", wire.RuleNothing, 1},
		{"not UTF-8", "<a>\n\xFF</a>", markup.RuleEncoding, 2},
		{"unknown encoding", "<?xml version=\"1.0\" encoding=\"x-none\"?><a>\xFF</a>", markup.RuleEncoding, 1},
		{"control letter", "<a>\x01</a>", markup.RuleSyntax, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := walk([]byte(tt.text), wire.Limits{})
			if e, ok := wire.As(err); !ok || e.Rule != tt.rule || e.Line != tt.line {
				t.Errorf("got %v, want %s in line %d", err, tt.rule, tt.line)
			}
		})
	}
}

func TestEncodings(t *testing.T) {
	declare := func(name string) string { return `<?xml version="1.0" encoding="` + name + `"?><a>é</a>` }
	utf16 := func(s string, big bool) []byte {
		out := []byte{0xFF, 0xFE}
		if big {
			out = []byte{0xFE, 0xFF}
		}
		for _, r := range s {
			pair := []byte{byte(r), byte(r >> 8)}
			if big {
				pair[0], pair[1] = pair[1], pair[0]
			}
			out = append(out, pair...)
		}
		return out
	}
	latin, err := charmap.ISO8859_1.NewEncoder().String(declare("ISO-8859-1"))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name string
		data []byte
	}{
		{"UTF-8", []byte(declare("UTF-8"))},
		{"UTF-8 that says otherwise", []byte(declare("windows-1252"))},
		{"UTF-8 that says UTF-16", []byte(declare("UTF-16"))},
		{"ISO-8859-1", []byte(latin)},
		{"windows-1252", []byte(strings.Replace(latin, "ISO-8859-1", "Windows-1252", 1))},
		{"UTF-16, little end first", utf16(declare("UTF-16"), false)},
		{"UTF-16, big end first", utf16(declare("UTF-16"), true)},
		{"UTF-16 without mark", utf16(declare("UTF-16"), false)[2:]},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got, err := walk(tt.data, wire.Limits{}); err != nil || got != "<a>é</>" {
				t.Errorf("got %s (%v)", got, err)
			}
		})
	}
}

// Bombs are refused in less than a second and 64 MB of allocations beyond
// their own size.
func TestBombs(t *testing.T) {
	lol := `<!DOCTYPE l [<!ENTITY a "lol">`
	for c := 'b'; c < 'k'; c++ {
		lol += `<!ENTITY ` + string(c) + ` "` + strings.Repeat("&"+string(c-1)+";", 10) + `">`
	}
	for _, tt := range []struct {
		name string
		data string
		rule wire.Rule
	}{
		{"entities in entities", lol + "]><l>&j;</l>", markup.RuleDoctype},
		{"200,000 levels", strings.Repeat("<a>", 200_000), markup.RuleDepth},
		{"a million attributes", "<a " + strings.Repeat("a=\"\" ", 1_000_000) + "/>", markup.RuleTag},
		{"a tag of 32 MB", "<a k=\"" + strings.Repeat("x", 32<<20) + "\"/>", markup.RuleTag},
		{"a name of 32 MB", "<" + strings.Repeat("x", 32<<20), markup.RuleTag},
	} {
		t.Run(tt.name, func(t *testing.T) {
			data := []byte(tt.data)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			start := time.Now()
			_, err := walk(data, wire.Limits{})
			took := time.Since(start)
			runtime.ReadMemStats(&after)
			if e, ok := wire.As(err); !ok || e.Rule != tt.rule {
				t.Errorf("got %v, want %s", err, tt.rule)
			}
			if used := after.TotalAlloc - before.TotalAlloc; took > time.Second || used > 64<<20 {
				t.Errorf("took %v and %d bytes", took, used)
			}
		})
	}
}

func TestEndsWithTheContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	r, err := markup.New(ctx, []byte("<a>"+strings.Repeat("<b/>", 10_000)+"</a>"), wire.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Leave(-1); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want %v", err, context.Canceled)
	}
}

func TestTimes(t *testing.T) {
	for _, tt := range []struct {
		text string
		want float64 // GNU date -u -d TEXT +%s.%N
		utc  bool
		ok   bool
	}{
		{"2026-05-04T14:00:00Z", 1777903200, false, true},
		{" 2026-05-04T16:00:00.250+02:00 ", 1777903200.25, false, true},
		{"2026-05-04T09:00:00-0500", 1777903200, false, true},
		{"2026-05-04 14:00:00Z", 1777903200, false, true},
		{"2026-05-04T14:00:00", 1777903200, true, true},
		{"2026-05-04T14:00:00.1234567Z", 1777903200.123457, false, true},
		{"1969-12-31T23:59:59.5Z", -0.5, false, true},
		{"2026-05-04", 0, false, false},
		{"2026-02-30T00:00:00Z", 0, false, false},
		{"", 0, false, false},
	} {
		when, utc, ok := markup.Time(tt.text)
		if ok != tt.ok || ok && (markup.Seconds(when) != tt.want || utc != tt.utc) {
			t.Errorf("%q: got %v, utc %v, %v; want %v, %v, %v", tt.text, markup.Seconds(when), utc, ok, tt.want, tt.utc, tt.ok)
		}
	}
}

// Every microsecond of a measure comes back as the same float64.
func TestTimesRoundTrip(t *testing.T) {
	for k := int64(-3_000_000_000_000_000); k < 4_000_000_000_000_000; k += 7_654_321_012_347 {
		want := float64(k) / 1e6
		text, ok := markup.AppendTime(nil, want)
		when, _, read := markup.Time(string(text))
		if got := markup.Seconds(when); !ok || !read || got != want {
			t.Fatalf("%v: got %v by way of %s", want, got, text)
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), 253402300800, -62135596801} {
		if text, ok := markup.AppendTime(nil, v); ok {
			t.Errorf("%v: got %s, want none", v, text)
		}
	}
}

func TestWriter(t *testing.T) {
	var b bytes.Buffer
	w := markup.NewWriter(&b)
	w.Open("a", "k", "<\"&\n\r")
	w.Text("b", " x\t<&>\r\n")
	w.Close()
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	want := "<a k=<\"&\n\r><b> x\t<&>\r\n</></>"
	if got, err := walk(b.Bytes(), wire.Limits{}); err != nil || got != want {
		t.Errorf("got %q (%v), want %q, from %s", got, err, want, b.String())
	}
}

func TestPlainFitsXML(t *testing.T) {
	in := markup.Quote("a\uFFFE\uFFFF\u0001é")
	plain := markup.Plain(in)
	var back string
	if err := json.Unmarshal([]byte(plain), &back); err != nil || back != "a\uFFFE\uFFFF\u0001é" || !markup.Fits(plain) {
		t.Errorf("got %q (%v)", plain, err)
	}
}

// FuzzMarkup: whatever is taken, encoding/xml takes too, with as many elements,
// and nothing panics.
func FuzzMarkup(f *testing.F) {
	for _, s := range []string{"<a><b k='1'>x</b></a>", "<!DOCTYPE a><a/>", "<a xmlns=\"urn:caneward:1\"><![CDATA[x]]></a>", "<?xml version=\"1.0\" encoding=\"latin1\"?><a>\xe9</a>", "\xff\xfe<\x00a\x00/\x00>\x00", "<a><!-- x --></a>", "<a", "<a>&#0;</a>"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := walk(data, wire.Limits{})
		if err != nil {
			if e, ok := wire.As(err); !ok || e.Rule == "" || e.Byte < 0 && e.Line == 0 {
				t.Fatalf("error without place: %v", err)
			}
			return
		}
		d := xml.NewDecoder(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xEF\xBB\xBF"))))
		d.CharsetReader = func(_ string, in io.Reader) (io.Reader, error) { return in, nil }
		starts := 0
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				// Bytes in another encoding are none of encoding/xml's.
				if bytes.IndexByte(data, 0) >= 0 || strings.Contains(err.Error(), "UTF-8") {
					return
				}
				t.Fatalf("encoding/xml refuses what was taken: %v", err)
			}
			if _, ok := token.(xml.StartElement); ok {
				starts++
			}
		}
		if n := strings.Count(got, "</>"); n < starts {
			t.Fatalf("got %d elements, encoding/xml %d", n, starts)
		}
	})
}
