package command_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A further copy is verified while it is read, against all that is known of the files: the history, and the checksum list
// for what no history speaks of (here a name with a control character). What is changed or lacking is never copied as
// proven; what nobody knows is said.
func TestCopyVerifiesAgainstAllThatIsKnown(t *testing.T) {
	t.Parallel()
	const odd = "B001C002\x01.mov" // in the list only: XML has no such character
	for _, c := range []struct {
		name  string
		spoil func(t *testing.T, roll string)
		want  string
		fails bool
	}{
		{"nothing changed", func(*testing.T, string) {}, "2 files, 11 B, proven", false},
		{"a file of the history changed", rewrite("B001C001.mov", "hellO"), "not", true},
		{"a file of the list changed", rewrite(odd, "wORld!"), "not", true},
		{"a file of the history lacks", removal("B001C001.mov"), "lacks B001C001.mov", true},
		{"a file of the list lacks", removal(odd), "lacks B001C002", true},
		{"a file more", rewrite("extra.txt", "new"), "of 3 files, 1 are in no hash list", false},
		{"the history lacks", removal("ascmhl"), "2 files, 11 B, proven", false},
		{"the history lacks, a file changed", func(t *testing.T, roll string) {
			removal("ascmhl")(t, roll)
			rewrite("B001C001.mov", "hellO")(t, roll)
		}, "not", true},
		{"nothing is known", func(t *testing.T, roll string) {
			removal("ascmhl")(t, roll)
			removal("../B001.xxh64")(t, roll)
		}, "there is no hash list", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			copyTo := func(from, to string) (string, error) {
				if err := os.MkdirAll(to, 0o755); err != nil {
					t.Fatal(err)
				}
				out, err := exec.Command(binary(t), "copy", from, "--to", to, "--home", filepath.Join(dir, "home")).CombinedOutput()
				return string(out), err
			}
			card := filepath.Join(dir, "card", "B001")
			if err := os.MkdirAll(card, 0o755); err != nil {
				t.Fatal(err)
			}
			rewrite("B001C001.mov", "hello")(t, card)
			rewrite(odd, "world!")(t, card)
			if out, err := copyTo(card, filepath.Join(dir, "raid")); err != nil {
				if strings.Contains(out, "not proven past the cache") {
					t.Skip("the folder for tests is on no file system with promises")
				}
				t.Fatalf("%v\n%s", err, out)
			}
			c.spoil(t, filepath.Join(dir, "raid", "B001"))
			out, err := copyTo(filepath.Join(dir, "raid", "B001"), filepath.Join(dir, "post"))
			if (err != nil) != c.fails || !strings.Contains(out, c.want) {
				t.Errorf("copy: %v, want %q:\n%s", err, c.want, out)
			}
			if c.fails && strings.Contains(out, ", proven") {
				t.Errorf("said to be proven:\n%s", out)
			}
		})
	}
}

func rewrite(name, text string) func(*testing.T, string) {
	return func(t *testing.T, roll string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(roll, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func removal(name string) func(*testing.T, string) {
	return func(t *testing.T, roll string) {
		t.Helper()
		if err := os.RemoveAll(filepath.Join(roll, name)); err != nil {
			t.Fatal(err)
		}
	}
}

// A path that cannot be read ends nothing: the drives named after it are read, and it is named.
func TestRecheckGoesOnAfterABadPath(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	roll := filepath.Join(dir, "raid", "B001")
	if err := os.MkdirAll(roll, 0o755); err != nil {
		t.Fatal(err)
	}
	rewrite("B001C001.mov", "hello")(t, roll)
	rewrite("../B001.xxh64", "26c7827d889f6da3  B001/B001C001.mov\n")(t, roll) // of "hello", by xxhsum -H1
	out, err := exec.Command(binary(t), "recheck", "--read-only", filepath.Join(dir, "gone"), filepath.Join(dir, "raid")).CombinedOutput()
	if err == nil || !strings.Contains(string(out), filepath.Join(dir, "gone")) || !strings.Contains(string(out), "1 intact, 0 changed, 0 missing, 0 extra, 0 unreadable, 0 unchecked") {
		t.Errorf("recheck: %v\n%s", err, out)
	}
}
