package command

import (
	"bytes"
	"encoding/json"
	"fmt"
	"unicode"
	"unicode/utf16"
)

// JSON writes v to Out, with this indent, on one line if it is empty. What a terminal would obey or not show (control and
// format characters in names of files and drives) is written as JSON's own escapes, which mean the same to every reader.
func (a *App) JSON(v any, indent string) error {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetIndent("", indent)
	if err := e.Encode(v); err != nil {
		return err
	}
	_, err := a.Out.Write(escaped(b.Bytes()))
	return err
}

// escaped needs JSON with escaped control characters below a space, as [json.Encoder] writes it: what is left stands in
// strings.
func escaped(in []byte) []byte {
	var out bytes.Buffer
	for _, r := range string(in) {
		switch {
		case r == '\n' || !unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp):
			out.WriteRune(r)
		case r > 0xFFFF:
			high, low := utf16.EncodeRune(r)
			fmt.Fprintf(&out, `\u%04x\u%04x`, high, low)
		default:
			fmt.Fprintf(&out, `\u%04x`, r)
		}
	}
	return out.Bytes()
}
