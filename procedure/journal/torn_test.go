package journal

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"
)

// The rules for a torn end, one by one.
func TestTorn(t *testing.T) {
	t.Parallel()
	raw, lines := sample(t, "red")
	prev := &lines[len(lines)-1]
	pad := strings.Repeat("\x00", sector-len(raw)%sector) // up to the next sector
	next := func(mono time.Duration) string {
		l := *prev
		l.Seq, l.Mono = l.Seq+2, mono
		return string(encode(nil, &l))
	}
	begin := fmt.Sprintf(`{"seq":%d,"time":"`, prev.Seq+1)
	for _, tt := range []struct {
		name string
		end  string
		want bool
	}{
		{"one byte", "{", true},
		{"beginning of a line", begin, true},
		{"beginning of another line", fmt.Sprintf(`{"seq":%d,`, prev.Seq+2), false},
		{"beginning that cannot go on", begin + "\x01", false},
		{"newline behind it", begin + "\n", false},
		{"whole line without newline", strings.TrimSuffix(next(1), "\n"), false}, // its number is not the next
		{"as long as an append can be", begin + strings.Repeat("x", MaxAppend-len(begin)), true},
		{"longer than an append can be", begin + strings.Repeat("x", MaxAppend-len(begin)+1), false},
		{"zeros to the end", "\x00\x00\x00", true},
		{"zeros to the sector, then a line", pad + "x\n" + next(5), true},
		{"two lines of one append", pad + "x\n" + next(5) + next(5), true},
		{"lines of two appends", pad + "x\n" + next(5) + next(6), false},
		{"zeros that end inside a sector", pad[1:] + "x\n" + next(5), false},
		{"zeros that begin inside a sector", "x" + pad[1:] + "x\n" + next(5), len(raw)%sector == sector-1},
		{"zeros in the next sector only", strings.Repeat("x", len(pad)) + strings.Repeat("\x00", sector) + "x", true},
	} {
		_, damage := Parse(append(bytes.Clone(raw), tt.end...))
		if damage == nil || damage.Line != len(lines)+1 || damage.Torn != tt.want {
			t.Errorf("%s: %v, torn %v, want %v", tt.name, damage, damage != nil && damage.Torn, tt.want)
		}
	}
}
