package harbour

import (
	"context"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// Tool gives the path of the first of several names of a program that a test needs. Without it the test is skipped, or
// fails when TWOBIN_TEST_ALL is 1.
func Tool(t testing.TB, names ...string) string {
	t.Helper()
	for _, n := range names {
		if p, err := exec.LookPath(n); err == nil {
			return p
		}
	}
	if os.Getenv("TWOBIN_TEST_ALL") == "1" {
		t.Fatalf("needs %s, which is not installed", strings.Join(names, " or "))
	}
	t.Skipf("needs %s, which is not installed", strings.Join(names, " or "))
	return ""
}

// Browser runs a real browser without a screen on one page and gives what it wrote to stdout. Every request that would
// leave the page goes to a proxy of the test, which refuses it; hosts has the names that were asked for.
func Browser(t testing.TB, page string, args ...string) (out string, hosts []string) {
	t.Helper()
	bin := Tool(t, "chromium", "chromium-browser", "google-chrome")
	proxy, asked := refuse(t)
	ctx, cancel := context.WithTimeout(t.Context(), 90*time.Second)
	defer cancel()
	all := append([]string{
		"--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--user-data-dir=" + t.TempDir(),
		"--proxy-server=http://" + proxy, "--virtual-time-budget=3000",
	}, args...)
	cmd := exec.CommandContext(ctx, bin, append(all, "file://"+filepath.ToSlash(page))...)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	cmd.WaitDelay = 5 * time.Second
	b, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", bin, err, stderr.String())
	}
	return string(b), asked()
}

// refuse is a proxy that answers nothing and remembers what was asked for.
func refuse(t testing.TB) (addr string, asked func() []string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var lines []string
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			wg.Go(func() {
				defer c.Close()
				b := make([]byte, 4096)
				n, _ := c.Read(b) // what came is enough to know who was asked for
				mu.Lock()
				defer mu.Unlock()
				first, _, _ := strings.Cut(string(b[:n]), "\r\n")
				lines = append(lines, first)
			})
		}
	})
	t.Cleanup(func() { _ = l.Close(); wg.Wait() })
	return l.Addr().String(), func() []string {
		mu.Lock()
		defer mu.Unlock()
		return append([]string(nil), lines...)
	}
}

// PDFText gives the text of a PDF, laid out as on paper, one string a page.
func PDFText(t testing.TB, path string) []string {
	t.Helper()
	b, err := exec.CommandContext(t.Context(), Tool(t, "pdftotext"), "-layout", "-enc", "UTF-8", path, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext %s: %v", path, err)
	}
	return strings.Split(strings.TrimSuffix(string(b), "\f"), "\f")
}
