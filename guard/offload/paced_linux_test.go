package offload

import (
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"twobin/guard/offload/internal/faultfs"
)

// pacer lets a drive do a fixed number of bytes a second, reads and writes together.
type pacer struct {
	mu   sync.Mutex
	rate float64
	free time.Time
}

// slack is what a drive's own small buffer hides: without it every request would also cost the millisecond by which a
// timer oversleeps, which is this test's fault and no drive's.
const slack = 5 * time.Millisecond

// pay waits until n more bytes are due. The wait is the drive's, not the test's.
func (p *pacer) pay(n int) {
	p.mu.Lock()
	now := time.Now()
	if early := now.Add(-slack); p.free.Before(early) {
		p.free = early
	}
	p.free = p.free.Add(time.Duration(float64(n) / p.rate * float64(time.Second)))
	wait := p.free.Sub(now)
	p.mu.Unlock()
	time.Sleep(wait)
}

// pacedDrive is an ext4 volume on a drive; slow gives it its rate in MB/s. A loop device, without a cache of its own, on a
// file in a fault file system.
func pacedDrive(t testing.TB, size int64) (at string, slow func(rate float64)) {
	t.Helper()
	// In memory, because a flush must cost what the pacer says and not what this computer's disk does.
	fsys, mount, backing := spoiledOver(t, memoryDir(t))
	img := filepath.Join(backing, "disk")
	if err := os.WriteFile(img, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(img, size); err != nil {
		t.Fatal(err)
	}
	command(t, "mkfs.ext4", "-q", "-E", "lazy_itable_init=0,lazy_journal_init=0", img)
	at = mounted(t, loopDevice(t, filepath.Join(mount, "disk"), "--direct-io=on"))
	return at, func(rate float64) {
		p := &pacer{rate: rate * 1e6}
		fsys.Set(faultfs.Hooks{
			Read:  func(_ string, _ int64, data []byte) unix.Errno { p.pay(len(data)); return 0 },
			Write: func(_ string, _ int64, data []byte) (int, unix.Errno) { p.pay(len(data)); return len(data), 0 },
		})
	}
}

// BenchmarkOffloadPaced measures against what drives of fixed rates allow at best: the card read at its rate while the
// slowest drive is written, then that drive read at its own, because the read-back may begin only after the last write.
// "of-bound" is the time taken divided by that; "of-overlap" by the lower bound that a read-back during the copy would
// have, max(bytes ÷ card, 2 × bytes ÷ slowest), which no honest order can reach when the card is the slow part.
func BenchmarkOffloadPaced(b *testing.B) {
	needRoot(b)
	for _, c := range []struct {
		name   string
		card   float64
		drives []float64
		files  int
		size   int
	}{
		{"takes/drive-slow", 60, []float64{40, 50}, 2, 64 << 20},
		{"takes/card-slow", 40, []float64{60, 80}, 2, 64 << 20},
		{"takes/three", 60, []float64{40, 50, 60}, 2, 64 << 20},
		{"frames/drive-slow", 60, []float64{40, 50}, 1000, 128 << 10},
	} {
		b.Run(c.name, func(b *testing.B) {
			src, slowCard := pacedDrive(b, 1<<30)
			for i := range c.files {
				put(b, src, fmt.Sprintf("CLIPS/%05d", i), c.size)
			}
			unix.Sync()
			var at []string
			slowest := c.drives[0]
			for _, rate := range c.drives {
				drive, slow := pacedDrive(b, 2<<30)
				slow(rate)
				at = append(at, drive)
				slowest = min(slowest, rate)
			}
			job := plainJob(b, src, at...)
			slowCard(c.card)
			bytes := float64(job.Listing.Bytes()) / 1e6
			bound := max(bytes/c.card, bytes/slowest) + bytes/slowest
			overlap := max(bytes/c.card, 2*bytes/slowest)
			b.SetBytes(job.Listing.Bytes())
			i := 0
			for b.Loop() {
				for k := range job.Targets {
					job.Targets[k].Folder = fmt.Sprintf("roll%d", i)
				}
				i++
				p, errs := Run(b.Context(), job, nil)
				noFaults(b, p, errs)
			}
			took := b.Elapsed().Seconds() / float64(b.N)
			b.ReportMetric(took/bound, "of-bound")
			b.ReportMetric(took/overlap, "of-overlap")
		})
	}
}
