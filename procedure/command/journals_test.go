package command

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
)

// twoDays is a data folder of two invented days: the first was left open, the second is closed.
func twoDays(t *testing.T) string {
	t.Helper()
	home := t.TempDir()
	var days []*harbour.Day
	for n := 1; n <= 2; n++ {
		d := harbour.Begin(n, "cart", "Kim")
		d.SetUp("A", "blue")
		l := procedure.MakeLabel("A", n)
		d.Receive(l)
		d.Walk(l)
		d.Return(l)
		days = append(days, d)
	}
	days[1].Close()
	days[1].Add("", procedure.CodeRead{Right: true})
	if err := harbour.Home(home, days, "day1.jsonl", "day2.jsonl"); err != nil {
		t.Fatal(err)
	}
	return home
}

// spoil writes over a part of a journal, which then is the newest file.
func spoil(t *testing.T, name, was, now string) {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), was) {
		t.Fatalf("%s holds no %q", name, was)
	}
	if err := os.WriteFile(name, []byte(strings.Replace(string(text), was, now, 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	at := time.Date(2031, 6, 1, 8, 0, 0, 0, time.UTC)
	if err := os.Chtimes(name, at, at); err != nil {
		t.Fatal(err)
	}
}

// TestNewerPassedOver: a question that goes to an older shift says so, whatever is wrong with the newer one.
func TestNewerPassedOver(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, want string
		harm       func(t *testing.T, day2 string)
	}{
		{"closed", "look: this is Harbour Lights, day 1, station cart, which was never ended; a newer shift is in ", func(*testing.T, string) {}},
		{"damaged at its beginning", "day2.jsonl cannot be used: ", func(t *testing.T, p string) { spoil(t, p, "{", "[") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			home := twoDays(t)
			c.harm(t, filepath.Join(home, "journals", "day2.jsonl"))
			f, err := current(home, "")
			if err != nil {
				t.Fatal(err)
			}
			var said bytes.Buffer
			f.warn(&App{Err: &said})
			if f.shift.Opened.Day != 1 || !strings.Contains(said.String(), c.want) {
				t.Errorf("day %d, said %q, want day 1 and %q", f.shift.Opened.Day, said.String(), c.want)
			}
		})
	}
}

// TestDamagedNewestIsShown: events that do not follow the routine are used up to there, found or named.
func TestDamagedNewestIsShown(t *testing.T) {
	t.Parallel()
	home := t.TempDir()
	d := harbour.Begin(7, "cart", "Kim")
	d.SetUp("A", "blue")
	if err := harbour.Home(home, []*harbour.Day{d}, "day7.jsonl"); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(home, "journals", "day7.jsonl")
	spoil(t, path, "blue", "bluf")
	for _, named := range []string{"", path} {
		f, err := current(home, named)
		if err != nil {
			t.Fatal(err)
		}
		var said bytes.Buffer
		f.warn(&App{Err: &said})
		if f.shift.Opened.Day != 7 || !strings.Contains(said.String(), "is damaged: ") || strings.Contains(said.String(), "newer") {
			t.Errorf("named %q: day %d, said %q", named, f.shift.Opened.Day, said.String())
		}
	}
}

// TestNoShiftBesideAnUnreadableJournal: a journal that cannot be read may be that of the open shift, so neither an older
// one goes on nor does a new one begin.
func TestNoShiftBesideAnUnreadableJournal(t *testing.T) {
	t.Parallel()
	for name, harm := range map[string]func(t *testing.T, day2 string){
		"damaged at its beginning": func(t *testing.T, p string) { spoil(t, p, "{", "[") },
		"cannot be read": func(t *testing.T, p string) {
			if err := os.Remove(p); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(filepath.Join(t.TempDir(), "gone"), p); err != nil {
				t.Skipf("no symbolic links here: %v", err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			home := twoDays(t)
			if f, err := (&Shift{}).pick(home); err != nil || f == nil || f.shift.Opened.Day != 1 {
				t.Fatalf("whole: %v, %v; want day 1", f, err)
			}
			harm(t, filepath.Join(home, "journals", "day2.jsonl"))
			f, err := (&Shift{}).pick(home)
			if f != nil || err == nil || !strings.Contains(err.Error(), "day2.jsonl") || !strings.Contains(err.Error(), "Now: ") {
				t.Fatalf("%v, %v; want a refusal that names day2.jsonl and what to do", f, err)
			}
		})
	}
}

// TestHandoverWarns: a damaged journal and a lost proof stand in the sheet of a hand-over as in that of the archive.
func TestHandoverWarns(t *testing.T) {
	t.Parallel()
	home := twoDays(t)
	spoil(t, filepath.Join(home, "journals", "day2.jsonl"), "{", "[")
	if err := os.RemoveAll(filepath.Join(home, "proofs")); err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "over")
	var out, said bytes.Buffer
	c := &Handover{Common: Common{Home: home}, Dir: dir, Size: "a4"}
	if err := c.Run(&App{Out: &out, Err: &said, Env: func(string) string { return "" }, Now: time.Now}); err != nil {
		t.Fatal(err)
	}
	var page []byte
	names, err := os.ReadDir(dir)
	for _, n := range names {
		if strings.HasSuffix(n.Name(), "sheet.html") {
			page, err = os.ReadFile(filepath.Join(dir, n.Name()))
		}
	}
	if err != nil || len(page) == 0 {
		t.Fatalf("no sheet in %v: %v", names, err)
	}
	for _, want := range []string{"day2.jsonl is damaged", "1 proof could not be read"} {
		if !strings.Contains(string(page), want) || !strings.Contains(said.String(), want) {
			t.Errorf("%q is missing; said: %s", want, said.String())
		}
	}
}
