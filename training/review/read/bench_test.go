package read_test

import (
	"os"
	"testing"

	"twobin/training/review/read"
	"twobin/training/review/school"
)

// memoryDir is a folder in memory where there is one: a benchmark of reading, not of a disk.
func memoryDir(b *testing.B) string {
	b.Helper()
	if _, err := os.Stat("/dev/shm"); err != nil {
		return b.TempDir()
	}
	dir, err := os.MkdirTemp("/dev/shm", "review")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// BenchmarkRead reads the journals of a school of forty weeks.
func BenchmarkRead(b *testing.B) {
	home := memoryDir(b)
	paths, events, err := school.Write(home, school.Options{Weeks: 8})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	var set read.Set
	for b.Loop() {
		if set, err = read.Read(b.Context(), paths); err != nil || len(set.Left) > 0 {
			b.Fatal(err, set.Left)
		}
	}
	if set.Events != events {
		b.Fatalf("%d events, want %d", set.Events, events)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(events), "ns/event")
	b.ReportMetric(float64(len(paths)), "journals")
	b.ReportMetric(float64(events), "events")
}
