package journal

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"
)

// TestMain lets the test binary play another process.
func TestMain(m *testing.M) {
	if path := os.Getenv("TWOBIN_JOURNAL_APPEND"); path != "" {
		if err := appendForever(path, os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	if dir := os.Getenv("TWOBIN_JOURNAL_SCRIPT"); dir != "" {
		if err := script(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// appendForever appends events and prints the number of each once it counts.
func appendForever(path string, acknowledged io.Writer) error {
	j, lines, err := Open(path, Options{Station: "A"})
	if err != nil {
		return err
	}
	fmt.Fprintln(acknowledged, len(lines))
	for i := 0; ; i++ {
		l := Line{Event: "note.made", Data: []byte(`{"text":"` + strings.Repeat("x", i%700) + `"}`)}
		batch := []Line{l, l, l}[:1+i%3]
		out, err := j.Append(context.Background(), batch...)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintln(acknowledged, out[len(out)-1].Seq); err != nil {
			return err
		}
	}
}

// child starts a process that appends to path and gives its acknowledgements.
func child(t *testing.T, path string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), self)
	cmd.Env = append(os.Environ(), "TWOBIN_JOURNAL_APPEND="+path)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd, bufio.NewScanner(out)
}

func TestInvariant8NoAcknowledgedLineIsLostWhenKilled(t *testing.T) {
	t.Parallel()
	path := tempPath(t)
	times := 50
	if testing.Short() {
		times = 5
	}
	rnd := rand.New(rand.NewPCG(8, 50))
	var torn, total int
	for i := range times {
		cmd, acks := child(t, path)
		var acked int
		for n := 1 + rnd.IntN(12); n > 0 && acks.Scan(); n-- {
			acked, _ = strconv.Atoi(acks.Text())
		}
		if acked == 0 {
			t.Fatalf("kill %d: the child acknowledged nothing: %v", i, cmd.Wait())
		}
		// From here on the child is in some place of its next appends; a busy wait, since a sleep is too coarse.
		for until := time.Now().Add(time.Duration(rnd.IntN(3000)) * time.Microsecond); time.Now().Before(until); {
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		for acks.Scan() {
			acked, _ = strconv.Atoi(acks.Text())
		}
		if err := cmd.Wait(); err == nil {
			t.Fatal("the child ended by itself")
		}
		lines, damage, err := ReadFile(path)
		if err != nil || damage != nil && !damage.Torn {
			t.Fatalf("kill %d: %v, %v", i, damage, err)
		}
		if damage != nil {
			torn++
		}
		if len(lines) < acked {
			t.Fatalf("kill %d: %d lines, but %d were acknowledged", i, len(lines), acked)
		}
		total = acked
	}
	j, lines := mustOpen(t, path, Options{})
	if r, err := j.Check(); err != nil || !r.Whole || r.Runs != times+1 || lines[len(lines)-1].Run != times+1 {
		t.Errorf("afterwards: %v, %v; %d runs, want %d", r, err, r.Runs, times+1)
	}
	t.Logf("%d kills, %d lines acknowledged, none lost, %d torn ends", times, total, torn)
}

func TestSecondProcessIsToldWhoHasIt(t *testing.T) {
	t.Parallel()
	path := tempPath(t)
	cmd, acks := child(t, path)
	if !acks.Scan() {
		t.Fatal("the child did not start")
	}
	_, lines, err := Open(path, Options{})
	var b *Busy
	if !errors.As(err, &b) || lines != nil {
		t.Fatalf("Open = %v, want Busy", err)
	}
	host, _ := os.Hostname()
	if b.PID != cmd.Process.Pid || b.Host != host || b.Since.IsZero() {
		t.Errorf("busy: %+v, want process %d on %s", b, cmd.Process.Pid, host)
	}
	if kindOf(err) != "busy" {
		t.Errorf("kind of %v is %s", err, kindOf(err))
	}
	if _, damage, err := ReadFile(path); err != nil || damage != nil && !damage.Torn {
		t.Errorf("reading beside the writer: %v, %v", damage, err)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err == nil {
		t.Error("the child ended by itself")
	}
	if _, err := os.Stat(holderFile(path)); err != nil {
		t.Errorf("the note of the killed process is gone: %v", err)
	}
	j, _ := mustOpen(t, path, Options{}) // the note alone keeps nobody out
	_, _, err = Open(path, Options{})
	if !errors.As(err, &b) || b.PID != os.Getpid() {
		t.Errorf("second opening in one process: %v", err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(holderFile(path)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the note stays after Close: %v", err)
	}
}
