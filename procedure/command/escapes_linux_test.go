package command_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"unicode"
	"unicode/utf8"
)

// hostile is text that would do something if it reached a terminal, a browser or a spreadsheet as it is: control sequences
// in seven and eight bits (ECMA-48: CSI, OSC, DCS), a link (OSC 8), marks that turn, join or hide text (Unicode's format
// characters), line ends of other kinds, bytes that are no text, markup in text and in attributes, formulas, templates.
var hostile = []string{"\x1b[2J\x1b]0;canary\x07", "\u202egnp.canary\u2066", "<script>alert('canary')</script>", `=cmd|' /C calc'!canary`,
	"canary\u0085\u2028\u2029\u009b31m", "{{.}}%s%n canary", "\x1b]8;;http://canary/\x1b\\link\x1b]8;;\x1b\\", "\x1bP0;1|17/canary\x1b\\\x1b_canary\x1b\\\x9c",
	"canary\x9b2J\x9d0;x\x9c\xff\xfe", "can\u200bary\u2060\u00ad\ufeff\U000e0041\u061c", `"><img src=x onerror=canary>`, `' onmouseover='canary`, "+1+canary",
	"@canary", "-1+canary", "canary;=1+1", "\uff1d1+canary"}

// noControl wants no control character in what goes to a terminal, nor any that hides or turns text, but for line ends;
// and the canary in it, where the hostile text has to be seen.
func noControl(t *testing.T, what string, out []byte, canary bool) {
	t.Helper()
	if len(out) == 0 {
		t.Errorf("%s says nothing", what)
	}
	if canary && !bytes.Contains(out, []byte("canary")) {
		t.Errorf("%s shows nothing hostile:\n%s", what, out)
	}
	for rest := out; len(rest) > 0; { // by bytes: what is no UTF-8 may be a control of eight bits
		r, n := utf8.DecodeRune(rest)
		if r == utf8.RuneError && n == 1 || r != '\n' && unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp) {
			t.Errorf("%s: % x reaches the reader in %.60q", what, rest[:n], out[max(0, len(out)-len(rest)-30):])
			return
		}
		rest = rest[n:]
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
	p.ask("next", "arrived "+hostile[8])
	s.toStart()
	p.say("s")
	p.logCount(hostile[3], strings.Join(hostile[1:], ""))
	p.await("[pull.desk]") // the copy is proven
	found, err := exec.Command(binary(t), "find", "canary", "--home", s.home).CombinedOutput()
	if err != nil || bytes.Count(found, []byte("CLIPS/")) < 10 {
		t.Errorf("find: %v\n%s", err, found)
	}
	noControl(t, "find", found, true)
	p.say("hold " + hostile[0] + hostile[2] + hostile[5] + hostile[8] + hostile[9])
	p.await("on hold")
	p.exit()
	noControl(t, "shift", []byte(p.text()), true)
	for name := range cardFiles { // so that names are named
		for _, copied := range glob(t, filepath.Join(s.raid.at, "*/*/A/A001", filepath.Dir(name), "*")) {
			if err := os.Truncate(copied, 0); err != nil && !errors.Is(err, syscall.EISDIR) {
				t.Fatal(err)
			}
		}
	}
	shown := 2
	for _, v := range []struct {
		args   []string
		canary bool
	}{{[]string{"board"}, true}, {[]string{"lock", "A001"}, false}, {[]string{"journal"}, false}, {[]string{"board", "--json"}, true}, {[]string{"journal", "--json"}, false}, {[]string{"find", "A001"}, false}, {[]string{"find", hostile[8]}, false},
		{[]string{"find", "--card", hostile[8]}, true}, {[]string{"sheet"}, true}, {[]string{"sheet", "--csv", filepath.Join(s.dir, "no", hostile[8])}, true},
		{[]string{"recheck", "--read-only", s.raid.at}, true}, {[]string{"recheck", "--read-only", hostile[8]}, true}, {[]string{hostile[8]}, true}} {
		args := v.args
		if args[0] != "recheck" && len(args[0]) < 10 {
			args = append(args, "--home", s.home)
		}
		out, _ := exec.Command(binary(t), args...).CombinedOutput() // some end with a code of their own
		if len(v.args) == 1 && args[0] == "sheet" {
			noFormula(t, out, ',')
			noFormula(t, out, ';')
		}
		noControl(t, args[0], bytes.ReplaceAll(bytes.TrimPrefix(out, []byte("\ufeff")), []byte("\r\n"), []byte("\n")), v.canary)
		shown++
	}
	shown += s.hostilePages(t)
	t.Logf("figure: places shown with hostile text = %d", shown)
}

// hostilePages looks at the log sheet's page and the whole hand-over, and gives how many files it saw.
func (s *station) hostilePages(t *testing.T) int {
	t.Helper()
	page, folder := filepath.Join(s.dir, "sheet.html"), filepath.Join(s.dir, "handover")
	sh(t, binary(t), "sheet", "--html", page, "--home", s.home)
	sh(t, binary(t), "handover", folder, "--home", s.home)
	pages := glob(t, filepath.Join(folder, "*.html"))
	if len(pages) == 0 {
		t.Fatal("the hand-over has no page")
	}
	for _, name := range append(pages, page) {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, bad := range []string{"<script>alert", "<img src=x", "' onmouseover='", "ZgotmplZ"} {
			if bytes.Contains(b, []byte(bad)) {
				t.Errorf("%s holds %q", filepath.Base(name), bad)
			}
		}
		noControl(t, filepath.Base(name), bytes.ReplaceAll(b, []byte("\t"), nil), true)
	}
	return len(pages) + 1
}

// glob is filepath.Glob or the end of the test.
func glob(t *testing.T, pattern string) []string {
	t.Helper()
	m, err := filepath.Glob(pattern)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// noFormula wants no cell that a spreadsheet would calculate (OWASP, CSV injection: cells that begin with = + - @ or a tab),
// whether its list separator is a comma or a semicolon.
func noFormula(t *testing.T, out []byte, separator rune) {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(out, []byte("\ufeff"))))
	r.FieldsPerRecord, r.LazyQuotes, r.Comma = -1, separator != ',', separator
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	seen := false
	for _, row := range rows {
		for _, cell := range row {
			seen = seen || strings.Contains(cell, "cmd|")
			if cell = strings.TrimLeft(cell, ` "`); cell != "" && strings.ContainsRune("=+-@\t\r＝＋－＠", []rune(cell)[0]) {
				t.Errorf("separated by %q, a spreadsheet would calculate %q", separator, cell)
			}
		}
	}
	if !seen {
		t.Error("the hostile serial number is not in the sheet: this test shows nothing")
	}
}
