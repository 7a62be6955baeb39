package watch

import (
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func accessTime(t *testing.T, path string) time.Time {
	t.Helper()
	var st unix.Stat_t
	must(t, unix.Stat(path, &st))
	return time.Unix(st.Atim.Unix())
}
