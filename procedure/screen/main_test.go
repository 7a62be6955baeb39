package screen

import (
	"flag"
	"os"
	"testing"
)

// childEnv makes this test program the screen itself, on the terminal it is started on; see pty_test.go.
const childEnv = "TWOBIN_SCREEN_CHILD"

func TestMain(m *testing.M) {
	if os.Getenv(childEnv) != "" {
		os.Exit(child())
	}
	flag.Parse()
	os.Exit(m.Run())
}
