package command_test

import (
	"bytes"
	"encoding/csv"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"unicode"
)

// hostile is text that would do something if it reached a terminal, a browser or a spreadsheet as it is.
var hostile = []string{"\x1b[2J\x1b]0;owned\x07", "\u202egnp.exe\u2066", "<script>alert(1)</script>", `=cmd|' /C calc'!A0`, "\u0085\u2028\x9b31m", "{{.}}%s"}

// noControl wants no control character in what goes to a terminal, but for line ends.
func noControl(t *testing.T, what string, out []byte) {
	t.Helper()
	if len(out) == 0 {
		t.Errorf("%s says nothing", what)
	}
	for _, r := range string(out) {
		if r != '\n' && (unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == '\u2028' || r == '\u2029') {
			t.Errorf("%s: %U reaches the terminal", what, r)
			return
		}
	}
}

// Whatever a card, a volume or a person says, the terminal, the log sheet and the hand-over show it as text.
func TestEscapesReachNothing(t *testing.T) {
	s := newStation(t)
	needTools(t, "tune2fs")
	sh(t, "tune2fs", "-L", "\x1b[31m<b>=1", s.card.loop)
	s.card.mount()
	for i, name := range hostile {
		p := filepath.Join(s.card.at, "CLIPS", strings.ReplaceAll(name, "/", "_"))
		if err := os.WriteFile(p, []byte{byte(i)}, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s.card.umount()
	s.begin()
	p := s.p
	s.setUp()
	p.ask("next", "arrived A001")
	p.ask("receive.from", hostile[2]+hostile[0])
	p.ask("receive.bin", "b")
	for _, h := range hostile {
		p.ask("next", "note "+h)
	}
	s.toStart()
	p.say("s")
	p.ask("log.serial", hostile[3])
	p.ask("log.notes", hostile[1]+hostile[2]+hostile[4])
	p.await("[count.written]")
	p.say("hold " + hostile[0] + hostile[2] + hostile[5])
	p.await("on hold")
	p.exit()
	noControl(t, "shift", []byte(p.text()))
	shown := 1
	for _, args := range [][]string{{"board"}, {"lock", "A001"}, {"journal"}, {"find", "A001"}, {"sheet"}, {"recheck", "--read-only", s.raid.at}} {
		if args[0] != "recheck" {
			args = append(args, "--home", s.home)
		}
		out, _ := exec.Command(binary(t), args...).CombinedOutput() // some end with a code of their own
		if args[0] == "sheet" {
			noFormula(t, out)
		}
		noControl(t, args[0], bytes.ReplaceAll(bytes.TrimPrefix(out, []byte("\ufeff")), []byte("\r\n"), []byte("\n")))
		shown++
	}
	page, folder := filepath.Join(s.dir, "sheet.html"), filepath.Join(s.dir, "handover")
	sh(t, binary(t), "sheet", "--html", page, "--home", s.home)
	sh(t, binary(t), "handover", folder, "--home", s.home)
	pages, err := filepath.Glob(filepath.Join(folder, "*.html"))
	if err != nil || len(pages) == 0 {
		t.Fatalf("%v, %v", pages, err)
	}
	for _, name := range append(pages, page) {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, bad := range []string{"<script>alert", "\x1b", "\u202e", "\u2066", "\x07"} {
			if bytes.Contains(b, []byte(bad)) {
				t.Errorf("%s holds %q", filepath.Base(name), bad)
			}
		}
		shown++
	}
	t.Logf("figure: places shown with hostile text = %d", shown)
}

// noFormula wants no cell that a spreadsheet would calculate (OWASP, CSV injection: cells that begin with = + - @ or a tab).
func noFormula(t *testing.T, out []byte) {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(out, []byte("\ufeff"))))
	r.FieldsPerRecord = -1
	if first, _, _ := strings.Cut(string(out), "\n"); strings.Count(first, ";") > strings.Count(first, ",") {
		r.Comma = ';'
	}
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	seen := false
	for _, row := range rows {
		for _, cell := range row {
			seen = seen || strings.Contains(cell, "cmd|")
			if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
				t.Errorf("a spreadsheet would calculate %q", cell)
			}
		}
	}
	if !seen {
		t.Error("the hostile serial number is not in the sheet: this test shows nothing")
	}
}
