package journal

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"testing"
)

// encodeSum ends a line whose body (up to the quote that closes prev) is given, as doc.go describes it.
func encodeSum(body []byte) []byte {
	sum := sha256.Sum256(body)
	return []byte(string(body) + `,"sum":"` + hex.EncodeToString(sum[:]) + "\"}\n")
}

// memoryDir is a folder in memory where the system has one: for tests that open thousands of journals and do not depend
// on what a flush does.
func memoryDir(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "journal-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	return dir
}
