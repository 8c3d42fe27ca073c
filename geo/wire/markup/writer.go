package markup

import (
	"bufio"
	"encoding/xml"
	"io"
	"math"
	"strconv"
)

// Writer writes XML without indents but a line for each element that holds
// others. Its first error stays and is Flush's.
type Writer struct {
	w    *bufio.Writer
	open []string
	err  error
	Buf  []byte // free for callers to build one text in
}

// NewWriter begins a document.
func NewWriter(w io.Writer) *Writer {
	out := &Writer{w: bufio.NewWriterSize(w, 1<<16)}
	out.raw(xml.Header)
	return out
}

func (w *Writer) raw(s string) {
	if w.err == nil {
		_, w.err = w.w.WriteString(s)
	}
}

func (w *Writer) escaped(s string) {
	if w.err == nil {
		w.err = xml.EscapeText(w.w, []byte(s))
	}
}

// Open begins an element; attributes are names and values in turn.
func (w *Writer) Open(name string, attributes ...string) {
	w.raw("\n")
	w.start(name, attributes)
	w.open = append(w.open, name)
}

func (w *Writer) start(name string, attributes []string) {
	w.raw("<" + name)
	for i := 0; i+1 < len(attributes); i += 2 {
		w.raw(" " + attributes[i] + `="`)
		w.escaped(attributes[i+1])
		w.raw(`"`)
	}
	w.raw(">")
}

// Close ends the element opened last.
func (w *Writer) Close() {
	n := len(w.open) - 1
	w.raw("</" + w.open[n] + ">")
	w.open = w.open[:n]
}

// Text writes an element that holds text.
func (w *Writer) Text(name, text string, attributes ...string) {
	w.start(name, attributes)
	w.escaped(text)
	w.raw("</" + name + ">")
}

// Some is Text unless there is none.
func (w *Writer) Some(name, text string, attributes ...string) {
	if text != "" {
		w.Text(name, text, attributes...)
	}
}

// Inside writes text into the element that is open.
func (w *Writer) Inside(text string) { w.escaped(text) }

// Bytes writes text that needs no escapes: numbers.
func (w *Writer) Bytes(b []byte) {
	if w.err == nil {
		_, w.err = w.w.Write(b)
	}
}

// Err is the first error.
func (w *Writer) Err() error { return w.err }

// Flush writes what is held back.
func (w *Writer) Flush() error {
	w.raw("\n")
	if w.err == nil {
		w.err = w.w.Flush()
	}
	return w.err
}

// AppendNumber writes a float64 so that reading gives the same, without an
// exponent.
func AppendNumber(out []byte, v float64) []byte { return strconv.AppendFloat(out, v, 'f', -1, 64) }

// Finite reports whether a number is one.
func Finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
