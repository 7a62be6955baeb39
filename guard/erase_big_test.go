//go:build linux || darwin

package guard

import (
	"fmt"
	"os"
	"testing"
	"time"
)

// TestEraseManyFiles erases a card of 100,000 files in folders of 1,000 and prints how long it took. Set
// TWOBIN_TEST_BIG=1 to run it.
func TestEraseManyFiles(t *testing.T) {
	if os.Getenv("TWOBIN_TEST_BIG") != "1" {
		t.Skip("takes some seconds: set TWOBIN_TEST_BIG=1")
	}
	const n = 100_000
	tree := make(map[string]string, n)
	for i := range n {
		tree[fmt.Sprintf("FRAMES/%03d/%06d.dng", i/1000, i)] = "x"
	}
	r := newRig(t, t.TempDir(), tree)
	begin := time.Now()
	permit := r.permit(t)
	asked := time.Since(begin)
	begin = time.Now()
	done, err := Erase(t.Context(), permit, r.job)
	took := time.Since(begin)
	if err != nil || done.Files != n || done.Folders != 101 || !done.Empty {
		t.Errorf("%+v, %v", done, err)
	}
	if limit := 5 * time.Minute; took > limit { // three milliseconds a file, flush included
		t.Errorf("took %s, longer than %s", took, limit)
	}
	t.Logf("%d files: lock asked twice in %s, erased in %s", n, asked, took)
}
