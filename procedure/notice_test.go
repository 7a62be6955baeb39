package procedure

import (
	"strings"
	"testing"

	"twobin/guard"
)

// A file of another content where a bad copy of that roll was left is that bad copy; anywhere else it is a riddle.
func TestFileOfABadCopy(t *testing.T) {
	t.Parallel()
	r := &Runner{bad: map[spoilt]bool{{"A001", "RAID"}: true}}
	for _, c := range []struct {
		roll Label
		dest string
		kind guard.Kind
		want string
	}{
		{"A001", "RAID", guard.KindExists, "bad copy of before"}, {"A001", "SHUTTLE", guard.KindExists, "label used twice"},
		{"A002", "RAID", guard.KindExists, "label used twice"}, {"A001", "RAID", guard.KindMismatch, "use another drive"},
	} {
		if n := r.faultNotice(c.roll, &guard.Error{Op: "copy", Item: c.dest, Kind: c.kind}); !strings.Contains(n.Do, c.want) {
			t.Errorf("%s on %s, %s: %q, want %q", c.roll, c.dest, c.kind, n.Do, c.want)
		}
	}
}
