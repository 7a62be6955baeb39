package command

import (
	"bytes"
	"encoding/json"
	"testing"
	"unicode"

	"pgregory.net/rapid"
)

// Whatever text is in it, JSON reads back as it was, and holds nothing that a terminal would obey.
func TestJSONIsPlainAndTheSame(t *testing.T) {
	t.Parallel()
	check := func(s string) string {
		var out bytes.Buffer
		if err := (&App{Out: &out}).JSON(map[string]string{"a": s}, "  "); err != nil {
			return err.Error()
		}
		var back map[string]string
		if err := json.Unmarshal(out.Bytes(), &back); err != nil || back["a"] != s {
			return "reads back as something else: " + out.String()
		}
		for _, r := range out.String() {
			if r != '\n' && unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp) {
				return "holds a control: " + out.String()
			}
		}
		return ""
	}
	for _, s := range []string{"", "A003", "\x1b[2J\u009b31m\x7f", "\u202e\u2066\u2028\u2060\U000e0041\u00ad\ufeff", "日本 \U0001F3AC"} {
		if bad := check(s); bad != "" {
			t.Errorf("%q: %s", s, bad)
		}
	}
	rapid.Check(t, func(rt *rapid.T) {
		if bad := check(rapid.String().Draw(rt, "text")); bad != "" {
			rt.Fatal(bad)
		}
	})
}
