package command

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"

	"twobin/procedure/command"
	"twobin/training/review/report"
	"twobin/training/review/school"
)

// review parses a command line and runs it; out is stdout.
func review(t *testing.T, home string, args ...string) (out string, err error) {
	t.Helper()
	var r Review
	k, err := kong.New(&r, kong.Exit(func(int) {}))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := k.Parse(args); err != nil {
		return "", &command.Exit{Code: command.CodeUsage, Err: err}
	}
	var b, e bytes.Buffer
	err = r.Run(&command.App{In: strings.NewReader(""), Out: &b, Err: &e, Now: time.Now, Env: func(n string) string {
		if n == "TWOBIN_HOME" {
			return home
		}
		return ""
	}})
	if e.Len() > 0 {
		t.Errorf("stderr says %q", e.String())
	}
	return b.String(), err
}

func smallSchool(t *testing.T) (home string, paths []string) {
	t.Helper()
	home = t.TempDir()
	paths, _, err := school.Write(home, school.Options{Weeks: 3, Profiles: school.Profiles()[:3]})
	if err != nil {
		t.Fatal(err)
	}
	return home, paths
}

func TestReviewDemo(t *testing.T) {
	tmp := t.TempDir()
	t.Setenv("TMPDIR", tmp)
	out, err := review(t, "", "--demo", "--trainee", "Ada", "--trainee", "fenna", "--step", "look")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"DEMO: everybody", "Standard: the median of Morgan.", "\nADA\n", "\nFENNA\n"} {
		if !strings.Contains(out, want) {
			t.Errorf("the demonstration lacks %q", want)
		}
	}
	if strings.Contains(out, "\nBELA\n") || strings.Contains(out, "\npick  ") {
		t.Error("somebody or something not asked for is in it")
	}
	if left, err := os.ReadDir(tmp); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// TestReviewHome reads the data folder, folders and single files.
func TestReviewHome(t *testing.T) {
	t.Parallel()
	home, paths := smallSchool(t)
	all, err := review(t, home, "--json")
	if err != nil {
		t.Fatal(err)
	}
	handed, err := review(t, "", "--json", filepath.Join(home, "drills"), filepath.Join(home, "journals"))
	if err != nil || handed != all {
		t.Errorf("journals handed over give another review: %v", err)
	}
	var r report.Report
	if err := json.Unmarshal([]byte(all), &r); err != nil {
		t.Fatal(err)
	}
	if r.Format != report.Format || len(r.People) != 3 || r.Scope.Drills+r.Scope.Shifts != len(paths) || len(r.Left) != 0 {
		t.Errorf("review %+v of %d journals", r.Scope, len(paths))
	}
	one, err := review(t, "", paths[0])
	if err != nil || !strings.Contains(one, "1 drill, 0 shifts") {
		t.Errorf("one journal: %v\n%s", err, one)
	}
	if out, err := review(t, t.TempDir()); err != nil || !strings.Contains(out, "No journal of a drill or shift is in it.") {
		t.Errorf("an empty data folder: %v\n%s", err, out)
	}
	for flag, want := range map[string]string{"--shifts": "0 drills, 3 shifts", "--drills": "36 drills, 0 shifts"} {
		if out, err := review(t, home, flag); err != nil || !strings.Contains(out, want) {
			t.Errorf("%s: %v, lacks %q", flag, err, want)
		}
	}
}

// TestReviewDamaged: the line is named, and the others are reviewed.
func TestReviewDamaged(t *testing.T) {
	t.Parallel()
	home, paths := smallSchool(t)
	raw, err := os.ReadFile(paths[0])
	if err != nil {
		t.Fatal(err)
	}
	lines := bytes.SplitAfter(raw, []byte("\n"))
	raw[len(bytes.Join(lines[:20], nil))+150] ^= 1
	if err := os.WriteFile(paths[0], raw, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := review(t, home)
	if err != nil || !strings.Contains(strings.Join(strings.Fields(out), " "), "is damaged in line 21: its bytes do not match its own SHA-256; the 20 lines before it are in this review") ||
		!strings.Contains(out, "36 drills, 3 shifts") {
		t.Errorf("%v\n%.2000s", err, out)
	}
}

// TestReviewFiles writes both files beside the text, and leaves a file that is there alone.
func TestReviewFiles(t *testing.T) {
	t.Parallel()
	home, _ := smallSchool(t)
	dir := t.TempDir()
	csv, html := filepath.Join(dir, "r.csv"), filepath.Join(dir, "r.html")
	if _, err := review(t, home, "--csv", csv, "--html", html); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{csv: "trainee,kind,drill", html: "<!doctype html>"} {
		if b, err := os.ReadFile(name); err != nil || !strings.HasPrefix(string(b), want) {
			t.Errorf("%s: %v, %.40q", name, err, b)
		}
	}
	_, err := review(t, home, "--csv", csv)
	if command.CodeOf(err) != command.CodeFailed || !strings.Contains(err.Error(), "was left as it is") {
		t.Errorf("writing over a file: %v", err)
	}
}

func TestReviewUsage(t *testing.T) {
	t.Parallel()
	home, _ := smallSchool(t)
	for _, c := range []struct {
		args string
		want string
	}{
		{"--trainee Nobody", `no journal has the name "Nobody"; there are: Ada, Bela, Morgan`},
		{"--reference Nobody", `no journal has the name "Nobody"; there are: Ada, Bela, Morgan`},
		{"--trainee Ada,Bela", `no journal has the name "Ada,Bela"`}, // a name may have a comma
		{"--since yesterday", `--since "yesterday": a day like 2031-05-06`},
		{"--step nap", `--step "nap": receive, pick, seat`},
		{"--compare Ada", `--compare: "Ada": two names`},
		{"--compare 2031-05-05..2031-05-10,2031-05-12..2031-05-20", "periods are compared for one trainee; name them with --trainee"},
		{"--shifts --drills", "--shifts and --drills can't be used together"},
		{"--demo " + home, "--demo shows an invented school"},
	} {
		_, err := review(t, home, strings.Fields(c.args)...)
		if command.CodeOf(err) != command.CodeUsage || !strings.Contains(err.Error(), c.want) {
			t.Errorf("review %s: %v, want %q", c.args, err, c.want)
		}
	}
	if _, err := review(t, home, filepath.Join(home, "nowhere")); command.CodeOf(err) != command.CodeFailed {
		t.Errorf("a path that is not there: %v", err)
	}
	if out, err := review(t, home, "--compare", "Ada,Bela"); err != nil || !strings.Contains(out, "COMPARISON: ADA AND BELA") {
		t.Errorf("two names: %v", err)
	}
}
