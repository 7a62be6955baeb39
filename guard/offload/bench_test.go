package offload

import (
	"fmt"
	"testing"
)

// BenchmarkOffload copies small cards to one, two and three folders of the disk under the test's folder, read-back
// included. Bytes are the card's; the traffic is 1 + 2 × destinations of it. For whole processes, cold caches and the
// baselines see testdata/bench/offload.sh.
func BenchmarkOffload(b *testing.B) {
	for _, card := range []struct {
		name  string
		files int
		size  int
	}{{"takes", 2, 128 << 20}, {"frames", 1000, 128 << 10}} {
		for n := 1; n <= 3; n++ {
			b.Run(fmt.Sprintf("%s/%d", card.name, n), func(b *testing.B) {
				src := b.TempDir()
				for i := range card.files {
					put(b, src, fmt.Sprintf("CLIPS/%05d", i), card.size)
				}
				job := plainJob(b, src, folderSet(b, n)...)
				b.SetBytes(job.Listing.Bytes())
				i := 0
				for b.Loop() {
					for k := range job.Targets {
						job.Targets[k].Folder = fmt.Sprintf("roll%d", i)
					}
					i++
					if _, errs := Run(b.Context(), job, nil); len(errs) != 0 {
						b.Fatal(errs)
					}
				}
			})
		}
	}
}

// BenchmarkOffloadScan lists a card of 10,000 files.
func BenchmarkOffloadScan(b *testing.B) {
	src := b.TempDir()
	for i := range 10_000 {
		put(b, src, fmt.Sprintf("CLIPS/%d/%05d", i%10, i), 0)
	}
	for b.Loop() {
		scanned(b, src)
	}
}
