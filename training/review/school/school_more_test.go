package school

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestEqualSeedsGiveEqualSchools: but for the process id in the first line (and so the sums), and no two seeds alike.
func TestEqualSeedsGiveEqualSchools(t *testing.T) {
	t.Parallel()
	read := func(seed uint64) string {
		home := t.TempDir()
		paths, _, err := Write(home, Options{Seed: seed, Weeks: 1, Profiles: Profiles()[:2]})
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		for _, p := range paths {
			raw, err := os.ReadFile(p)
			if err != nil {
				t.Fatal(err)
			}
			rel, err := filepath.Rel(home, p)
			if err != nil {
				t.Fatal(err)
			}
			b.WriteString(rel + "\n")
			for i, l := range strings.Split(string(raw), "\n") {
				head, _, _ := strings.Cut(l, `,"prev":`)
				if i > 0 {
					b.WriteString(head + "\n")
				}
			}
		}
		return b.String()
	}
	one, two, other := read(1), read(1), read(2)
	if one != two {
		t.Error("equal seeds give different schools")
	}
	if one == other {
		t.Error("different seeds give the same school")
	}
}
