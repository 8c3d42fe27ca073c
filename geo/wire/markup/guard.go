package markup

import (
	"bytes"

	"caneward/geo/wire"
)

// guard looks at all tags before encoding/xml does, which holds a whole tag at
// once however long, and knows document types. What is not well-formed it
// leaves alone: encoding/xml reads no further than that.
func guard(data []byte) *wire.Error {
	for at := 0; ; {
		open := bytes.IndexByte(data[at:], '<')
		if open < 0 {
			return nil
		}
		at += open
		end := -1
		switch rest := data[at:]; {
		case bytes.HasPrefix(rest, []byte("<!--")):
			end = after(rest, 4, "-->")
		case bytes.HasPrefix(rest, []byte("<![CDATA[")):
			end = after(rest, 9, "]]>")
		case bytes.HasPrefix(rest, []byte("<?")):
			end = after(rest, 2, "?>")
		case bytes.HasPrefix(rest, []byte("<!")):
			return fail(data, RuleDoctype, at)
		default:
			var attributes int
			end, attributes = tag(rest)
			if attributes > MostAttributes {
				e := fail(data, RuleTag, at)
				e.Limit = MostAttributes
				return e
			}
			if end > LongestTag || end < 0 && len(rest) > LongestTag {
				e := fail(data, RuleTag, at)
				e.Limit = LongestTag
				return e
			}
		}
		if end < 0 {
			return nil
		}
		at += end
	}
}

// after is where the mark ends that is looked for from a place on; -1 without
// one.
func after(data []byte, from int, mark string) int {
	i := bytes.Index(data[from:], []byte(mark))
	if i < 0 {
		return -1
	}
	return from + i + len(mark)
}

// tag is where a tag ends, -1 when it does not, and how many attributes it has.
func tag(data []byte) (end, attributes int) {
	quote := byte(0)
	for i := 1; i < len(data); i++ {
		switch c := data[i]; {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == '=':
			attributes++
		case c == '>':
			return i + 1, attributes
		}
	}
	return -1, attributes
}

// fail is an error at a byte.
func fail(data []byte, rule wire.Rule, at int) *wire.Error {
	at = min(at, len(data))
	return &wire.Error{Rule: rule, Byte: int64(at), Line: 1 + bytes.Count(data[:at], []byte{'\n'}), Got: excerpt(data[at:])}
}

// excerpt is what stands at a place, shortened to what a message can hold.
func excerpt(data []byte) string {
	const longest = 40
	data = bytes.TrimSpace(data[:min(len(data), 4*longest)])
	if line, _, more := bytes.Cut(data, []byte{'\n'}); more {
		data = bytes.TrimSpace(line)
	}
	return Shorten(string(data))
}

// Shorten makes a text fit for a message: valid, and at most 40 letters.
func Shorten(text string) string {
	const longest = 40
	n := 0
	for i := range text {
		if n++; n > longest {
			text = text[:i] + "…"
			break
		}
	}
	return string(bytes.ToValidUTF8([]byte(text), []byte("\uFFFD")))
}
