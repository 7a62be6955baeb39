package command_test

import (
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
)

// A terminal that never answers costs no time: it is asked nothing, neither by a short command nor by the full screen,
// and TERM is what it was. The screen library gives a terminal five seconds for its answer.
func TestTerminalThatNeverAnswers(t *testing.T) {
	for _, c := range []struct {
		want string
		args []string
	}{
		{"twobin ", []string{"version"}},
		{"Set-up", []string{"shift", "--home", t.TempDir(), "--production", "P", "--day", "1", "--operator", "Kim", "--station", "cart"}},
	} {
		cmd := exec.Command(binary(t), c.args...)
		cmd.Env = []string{"TERM=xterm-256color", "HOME=" + t.TempDir(), "PATH=" + os.Getenv("PATH")} // CI is not set: it would silence the question
		began := time.Now()
		f, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: 24, Cols: 80})
		if err != nil {
			t.Skipf("no pseudo-terminal here: %v", err)
		}
		var mu sync.Mutex
		var got strings.Builder
		read := make(chan struct{})
		go func() {
			defer close(read)
			for buf := make([]byte, 4096); ; {
				n, err := f.Read(buf)
				mu.Lock()
				got.Write(buf[:n])
				mu.Unlock()
				if err != nil {
					return
				}
			}
		}()
		shown := func() string { mu.Lock(); defer mu.Unlock(); return got.String() }
		for deadline := began.Add(20 * time.Second); !strings.Contains(shown(), c.want); time.Sleep(time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatalf("%v: %q did not come: %q", c.args, c.want, shown())
			}
		}
		took := time.Since(began)
		t.Logf("%v: first text after %v", c.args[0], took)
		if took > 4*time.Second { // alone it takes some hundredths; other tests may run beside this one
			t.Errorf("%v: first text after %v", c.args, took)
		}
		for _, q := range []string{"\x1b]11;?", "\x1b]10;?", "\x1b[6n", "\x1b[c"} {
			if strings.Contains(shown(), q) {
				t.Errorf("%v: the terminal was asked %q", c.args, q)
			}
		}
		if c.args[0] == "shift" && !strings.Contains(shown(), "\x1b[?1049h") {
			t.Errorf("no full screen: %q", shown())
		}
		_ = cmd.Process.Kill()
		<-read
		_ = cmd.Wait()
		_ = f.Close()
	}
}
