package manifest

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// wrap makes a manifest around the contents of its hashes element.
func wrap(hashes string) string {
	return `<?xml version="1.0" encoding="UTF-8"?>
<hashlist version="2.0" xmlns="urn:ASC:MHL:v2.0"><creatorinfo><creationdate>2024-05-01T18:15:00Z</creationdate>
<hostname>h</hostname><tool>t</tool></creatorinfo><processinfo><process>in-place</process></processinfo>` + hashes + `</hashlist>`
}

func oneFile(path, format string) string {
	return wrap("<hashes><hash><path>" + path + "</path>" + format + "</hash></hashes>")
}

const goodHash = `<xxh64 action="original">22c8b2fe096816df</xxh64>`

func TestHostileManifests(t *testing.T) {
	bomb := `<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">`
	for i := 'b'; i < 'k'; i++ {
		bomb += fmt.Sprintf(`<!ENTITY %c "%s">`, i, strings.Repeat(fmt.Sprintf("&%c;", i-1), 10))
	}
	bomb += `]>` + strings.TrimPrefix(oneFile("&j;", goodHash), `<?xml version="1.0" encoding="UTF-8"?>`)
	for _, c := range []struct {
		name, xml string
		want      error
		text      string
	}{
		{"empty", "", ErrXML, "empty"},
		{"no XML", "hello", ErrXML, "text before"},
		{"cut short", strings.TrimSuffix(oneFile("a", goodHash), "</hashlist>"), ErrXML, "EOF"},
		{"more after the end", oneFile("a", goodHash) + "<more/>", ErrXML, "after the document's end"},
		{"entity bomb", bomb, ErrXML, "document type"},
		{"outside entity", `<!DOCTYPE x SYSTEM "file:///etc/passwd">` + oneFile("a", goodHash), ErrXML, "document type"},
		{"unknown entity", oneFile("&x;", goodHash), ErrXML, "entity"},
		{"processing instruction", `<?php x?>` + oneFile("a", goodHash), ErrXML, "processing instruction"},
		{"other encoding", strings.Replace(oneFile("a", goodHash), "UTF-8", "ISO-8859-1", 1), ErrXML, "encoding"},
		{"not UTF-8", oneFile("a\xff", goodHash), ErrXML, "UTF-8"},
		{"control character", oneFile("a\x01", goodHash), ErrXML, "illegal character"},
		{"old format", `<hashlist version="1.1"></hashlist>`, ErrXML, "want {urn:ASC:MHL:v2.0}hashlist"},
		{"other version", strings.Replace(wrap(""), `"2.0"`, `"3.0"`, 1), ErrXML, "version"},
		{"other document", `<html xmlns="urn:ASC:MHL:v2.0"/>`, ErrXML, "the document is"},
		{"deep", wrap("<metadata>" + strings.Repeat("<a>", 100) + strings.Repeat("</a>", 100) + "</metadata>"), ErrXML, "too deep"},
		{"long text", oneFile(strings.Repeat("a", 2<<20), goodHash), ErrXML, "too long"},
		{"long attribute", wrap(`<metadata x="` + strings.Repeat("a", 2<<20) + `"/>`), ErrXML, "too long"},
		{"no creator", `<hashlist version="2.0" xmlns="urn:ASC:MHL:v2.0"/>`, ErrXML, "required"},
		{"bad date", strings.Replace(wrap(""), "2024-05-01T18:15:00Z", "yesterday", 1), ErrXML, "creationdate"},
		{"bad process", strings.Replace(wrap(""), "in-place", "move", 1), ErrXML, "process"},
		{"draft action", oneFile("a", `<xxh64 action="new">22c8b2fe096816df</xxh64>`), ErrXML, "action"},
		{"short digest", oneFile("a", "<xxh64>22c8</xxh64>"), ErrXML, "xxh64"},
		{"no hex", oneFile("a", "<xxh64>22c8b2fe096816dg</xxh64>"), ErrXML, "xxh64"},
		{"format twice", oneFile("a", goodHash+goodHash), ErrXML, "twice"},
		{"C4 out of range", oneFile("a", "<c4>c4"+strings.Repeat("z", 88)+"</c4>"), ErrXML, "c4"},
		{"bad size", wrap(`<hashes><hash><path size="-1">a</path>` + goodHash + `</hash></hashes>`), ErrXML, "size"},
		{"no path", wrap(`<hashes><hash>` + goodHash + `</hash></hashes>`), ErrXML, "without a path"},
		{"element in text", oneFile("a<b/>", goodHash), ErrXML, "where text belongs"},
		{"empty path", oneFile("", goodHash), ErrPath, "empty"},
		{"absolute", oneFile("/etc/passwd", goodHash), ErrPath, "absolute"},
		{"climbing", oneFile("a/../../b", goodHash), ErrPath, ".."},
		{"climbing at once", oneFile("..", goodHash), ErrPath, ".."},
		{"drive letter", oneFile("C:/x", goodHash), ErrPath, "drive letter"},
		{"drive letter and backslash", oneFile(`c:\x`, goodHash), ErrPath, "drive letter"},
		{"dot", oneFile("./a", goodHash), ErrPath, "component ."},
		{"double slash", oneFile("a//b", goodHash), ErrPath, "empty component"},
		{"climbing earlier path", oneFile("a", goodHash+"<previousPath>../b</previousPath>"), ErrPath, ".."},
		{"climbing folder", wrap("<hashes><directoryhash><path>../a</path></directoryhash></hashes>"), ErrPath, ".."},
		{"climbing reference", wrap("<references><hashlistreference><path>../x.mhl</path></hashlistreference></references>"), ErrPath, ".."},
	} {
		_, err := Decode(strings.NewReader(c.xml), Visitor{})
		if !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.text) {
			t.Errorf("%s: error %v, want %v with %q", c.name, err, c.want, c.text)
		}
	}
}

// TestPathNUL: XML cannot carry a NUL, so the rule is asked directly.
func TestPathNUL(t *testing.T) {
	for _, p := range []string{"a\x00b", strings.Repeat("a/", maxPath)} {
		if err := CheckPath(p); !errors.Is(err, ErrPath) {
			t.Errorf("%.10q: %v", p, err)
		}
	}
	for _, p := range []string{"a", "a b/c", `a\b`, `\\a`, "ab:c", "...", "a/..b", "1:/x", "\xff"} {
		if err := CheckPath(p); err != nil {
			t.Error(err)
		}
	}
}

// TestTolerance: what other programs may leave out or add is read.
func TestTolerance(t *testing.T) {
	c4 := "c459dsjfscH38cYeXXYogktxf4Cd9ibshE3BHUo6a58hBXmRQdZrAkZzsWcbWtDg5oQstpDuni4Hirj75GEmTc1sFT"
	doc := "\xef\xbb\xbf" + wrap(`<!-- a comment --><hashes>
<hash><path>plain</path><xxh64 structure="x">22C8B2FE096816DF</xxh64><metadata><any xmlns="urn:x">thing</any></metadata></hash>
<hash><path size="3" lastmodificationdate="2024-05-01T10:00:00">all</path><c4> `+c4+` </c4><md5>5bbf5a52328e7439ae6e719dfe712200</md5>
<sha1>c7059bb19433cc3cabaa6236c83d56668a843dd2</sha1><xxh128>06567c16a1de182538d12e73f626d650</xxh128><xxh3>4beaafaffddac41e</xxh3>
<xxh32>01234567</xxh32><xxh64>22c8b2fe096816df</xxh64></hash>
<hash><path>later</path><blake3>00</blake3></hash>
<hash><path>a&amp;b &lt;c&gt; &#x10FFFD;<![CDATA[ & ]]></path><xxh64>22c8b2fe096816df</xxh64></hash>
<directoryhash><path>Clips/</path><content><md5>5bbf5a52328e7439ae6e719dfe712200</md5></content><structure><md5>5bbf5a52328e7439ae6e719dfe712200</md5></structure></directoryhash>
</hashes><extra xmlns="urn:y"><deep/></extra>`)
	head, files, dirs := decode(t, []byte(doc))
	if f := files["plain"]; f.Size != -1 || f.Hashes[0].Text != "22c8b2fe096816df" || f.Hashes[0].Action != NoAction {
		t.Errorf("plain: %+v", f)
	}
	if f := files["all"]; len(f.Hashes) != 7 || f.Size != 3 || !f.Modified.IsZero() {
		t.Errorf("all: %+v: every format is read, and a time without a zone is unknown", f)
	}
	if len(files["later"].Hashes) != 0 || len(files["a&b <c> \U0010FFFD & "].Hashes) != 1 {
		t.Errorf("files: %v", files)
	}
	if _, ok := dirs["Clips"]; !ok {
		t.Errorf("folders: %v", dirs)
	}
	if len(head.Warnings) != 3 { // blake3, no digest for it, the foreign element
		t.Errorf("warnings: %q", head.Warnings)
	}
	if got, zone, _ := readTime("2024-05-01T18:15:00.25+02:00"); !zone || !got.Equal(time.Date(2024, 5, 1, 16, 15, 0, 25e7, time.UTC)) {
		t.Errorf("time: %v", got)
	}
}

func TestChains(t *testing.T) {
	c4 := "<c4>c459dsjfscH38cYeXXYogktxf4Cd9ibshE3BHUo6a58hBXmRQdZrAkZzsWcbWtDg5oQstpDuni4Hirj75GEmTc1sFT</c4>"
	chain := func(s string) string {
		return `<ascmhldirectory xmlns="urn:ASC:MHL:DIRECTORY:v2.0">` + s + `</ascmhldirectory>`
	}
	for _, c := range []struct {
		name, xml string
		want      error
	}{
		{"good", chain(`<hashlist sequencenr="1"><path>a.mhl</path>` + c4 + `</hashlist><hashlist><path>b.mhl</path>` + c4 + `</hashlist>`), nil},
		{"none", chain(""), ErrChain},
		{"gap", chain(`<hashlist sequencenr="2"><path>a.mhl</path>` + c4 + `</hashlist>`), ErrChain},
		{"no number", chain(`<hashlist sequencenr="x"><path>a.mhl</path>` + c4 + `</hashlist>`), ErrChain},
		{"twice", chain(`<hashlist><path>a.mhl</path>` + c4 + `</hashlist><hashlist><path>a.mhl</path>` + c4 + `</hashlist>`), ErrChain},
		{"no C4", chain(`<hashlist><path>a.mhl</path></hashlist>`), ErrChain},
		{"bad C4", chain(`<hashlist><path>a.mhl</path><c4>c4</c4></hashlist>`), ErrXML},
		{"elsewhere", chain(`<hashlist><path>b/a.mhl</path>` + c4 + `</hashlist>`), ErrChain},
		{"itself", chain(`<hashlist><path>ascmhl_chain.xml</path>` + c4 + `</hashlist>`), ErrChain},
		{"climbing", chain(`<hashlist><path>../a.mhl</path>` + c4 + `</hashlist>`), ErrPath},
		{"entities", `<!DOCTYPE x>` + chain(""), ErrXML},
		{"draft", `<ascmhlchain xmlns="urn:ASC:MHL:CHAIN:v2.0"/>`, ErrDraft},
		{"other draft", `<ascmhlmanifest xmlns="urn:ASC:MHL:CHAIN:v2.0"/>`, ErrDraft},
		{"a manifest", wrap(""), ErrXML},
	} {
		links, _, err := DecodeChain(strings.NewReader(c.xml))
		if !errors.Is(err, c.want) {
			t.Errorf("%s: error %v, want %v", c.name, err, c.want)
		}
		if err == nil && (len(links) != 2 || links[1].Nr != 2) {
			t.Errorf("%s: %v", c.name, links)
		}
	}
}

func TestDraftTextChain(t *testing.T) {
	d := newDest(t, exampleFiles)
	d.write(Folder+"/ascmhl_chain.txt", "0001 x.mhl")
	before := d.snapshot()
	if err := d.record(); !errors.Is(err, ErrDraft) {
		t.Errorf("error %v, want %v", err, ErrDraft)
	}
	if diff := cmp.Diff(before, d.snapshot()); diff != "" {
		t.Error(diff)
	}
}

// TestEveryFlippedByteIsNoticed flips each byte of the manifest and of the chain: never does the history read the same.
func TestEveryFlippedByteIsNoticed(t *testing.T) {
	d := newDest(t, map[string]string{"a.mov": "a"})
	d.mustRecord()
	h := d.history()
	for _, name := range []string{h.Links[0].Name, ChainName} {
		file := d.path("A003", Folder, name)
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		quiet := 0
		for i := range b {
			for _, bit := range []byte{0x01, 0x80} {
				b[i] ^= bit
				if err := os.WriteFile(file, b, 0o666); err != nil {
					t.Fatal(err)
				}
				got, err := ReadHistory(t.Context(), d.root, "A003")
				if err == nil {
					quiet++
					// In the chain, white space and the declaration carry nothing. What it says must be the same.
					if name != ChainName || !cmp.Equal(got.Links, h.Links) {
						t.Fatalf("%s: bit %#x of byte %d (%q) flipped, not noticed", name, bit, i, b[max(0, i-10):i+1])
					}
				}
				b[i] ^= bit
			}
		}
		if err := os.WriteFile(file, b, 0o666); err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: %d bytes, %d flips without a meaning", name, len(b), quiet)
	}
}

func TestWrongHistories(t *testing.T) {
	remove := func(name string) func(d *dest) error {
		return func(d *dest) error { return os.Remove(d.path("A003", Folder, name)) }
	}
	first, second := "0001_A003_2024-05-01_181500Z.mhl", "0002_A003_2024-05-01_181600Z.mhl"
	for _, c := range []struct {
		name string
		do   func(d *dest) error
		want error
	}{
		{"manifest gone", remove(first), ErrChain},
		{"newest gone", remove(second), ErrChain},
		{"chain gone", remove(ChainName), ErrChain},
		{"manifests changed places", func(d *dest) error {
			return errors.Join(os.Rename(d.path("A003", Folder, first), d.path("x")),
				os.Rename(d.path("A003", Folder, second), d.path("A003", Folder, first)),
				os.Rename(d.path("x"), d.path("A003", Folder, second)))
		}, ErrChain},
		{"manifest is a link", func(d *dest) error {
			return errors.Join(os.Rename(d.path("A003", Folder, first), d.path("A003", Folder, "x")),
				os.Symlink("x", d.path("A003", Folder, first)))
		}, ErrChain},
		{"chain is a link", func(d *dest) error {
			return errors.Join(os.Rename(d.path("A003", Folder, ChainName), d.path("A003", Folder, "x")),
				os.Symlink("x", d.path("A003", Folder, ChainName)))
		}, ErrChain},
	} {
		d := newDest(t, exampleFiles)
		d.mustRecord()
		d.mustRecord()
		if err := c.do(d); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadHistory(t.Context(), d.root, "A003"); !errors.Is(err, c.want) || errors.Is(err, ErrNoHistory) {
			t.Errorf("%s: error %v, want %v", c.name, err, c.want)
		}
		before := d.snapshot()
		if err := d.record(); err == nil {
			t.Errorf("%s: extended", c.name)
		}
		if diff := cmp.Diff(before, d.snapshot()); diff != "" {
			t.Errorf("%s: %s", c.name, diff)
		}
	}
}
