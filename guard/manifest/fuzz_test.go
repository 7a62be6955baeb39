package manifest

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"twobin/guard"
)

// FuzzDecode: whatever the bytes, the reader ends without a panic, and what it accepts has safe paths and can be
// written and read again to the same records.
func FuzzDecode(f *testing.F) {
	if b, err := os.ReadFile("testdata/example.mhl"); err == nil {
		f.Add(b)
	}
	f.Add([]byte(oneFile("a", goodHash)))
	f.Add([]byte(wrap("<metadata><a/></metadata>")))
	f.Add([]byte(`<!DOCTYPE x [<!ENTITY a "b">]>` + wrap("")))
	f.Fuzz(func(t *testing.T, b []byte) {
		var recs []Record
		head, err := Decode(bytes.NewReader(b), Visitor{
			File: func(r FileRecord) error { recs = append(recs, Record{File: &r}); return nil },
			Dir:  func(r DirRecord) error { recs = append(recs, Record{Dir: &r}); return nil },
		})
		if err != nil {
			return
		}
		for _, r := range recs {
			if r.File != nil && CheckPath(r.File.Path) != nil || r.Dir != nil && CheckPath(r.Dir.Path) != nil {
				t.Fatalf("unsafe path accepted: %+v", r)
			}
		}
		var out bytes.Buffer
		err = Encode(&out, head, func(yield func(Record) bool) {
			for _, r := range recs {
				if !yield(r) {
					return
				}
			}
		})
		if err != nil {
			t.Fatalf("accepted and not writable: %v", err)
		}
		n := 0
		if _, err := Decode(&out, Visitor{
			File: func(r FileRecord) error { n++; return nil },
			Dir:  func(DirRecord) error { n++; return nil },
		}); err != nil || n != len(recs) {
			t.Fatalf("written and not read again: %d of %d, %v", n, len(recs), err)
		}
	})
}

// FuzzChain: what is accepted has numbers without gaps and reads the same when written again.
func FuzzChain(f *testing.F) {
	f.Add([]byte(`<ascmhldirectory xmlns="urn:ASC:MHL:DIRECTORY:v2.0"><hashlist sequencenr="1"><path>a.mhl</path><c4>c4` +
		strings.Repeat("1", 88) + `</c4></hashlist></ascmhldirectory>`))
	f.Fuzz(func(t *testing.T, b []byte) {
		links, _, err := DecodeChain(bytes.NewReader(b))
		if err != nil {
			return
		}
		out, err := EncodeChain(links)
		if err != nil {
			t.Fatal(err)
		}
		again, _, err := DecodeChain(bytes.NewReader(out))
		if err != nil || len(again) != len(links) {
			t.Fatalf("%v: %v", again, err)
		}
		for i := range links {
			if links[i] != again[i] || links[i].Nr != i+1 {
				t.Fatalf("%v and %v", links[i], again[i])
			}
		}
	})
}

// FuzzList: what is accepted has safe paths and reads the same when written again.
func FuzzList(f *testing.F) {
	f.Add([]byte("22c8b2fe096816df  A003/x\n\\22c8b2fe096816df *A003/a\\nb\nXXH64 (A003/y) = 22c8b2fe096816df\n"))
	f.Add([]byte("22c8b2fe096816df  /etc/passwd\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		var files []guard.File
		err := ReadList(bytes.NewReader(b), func(p string, h uint64) error {
			files = append(files, guard.File{Entry: guard.Entry{Path: p}, Hash: h})
			return nil
		})
		if err != nil {
			return
		}
		var out bytes.Buffer
		if err := WriteList(&out, "r", files); err != nil {
			t.Fatal(err)
		}
		i := 0
		err = ReadList(&out, func(p string, h uint64) error {
			if i >= len(files) || p != "r/"+files[i].Path || h != files[i].Hash {
				t.Fatalf("line %d: %q %x", i, p, h)
			}
			i++
			return nil
		})
		if err != nil || i != len(files) {
			t.Fatalf("%d of %d: %v", i, len(files), err)
		}
	})
}
