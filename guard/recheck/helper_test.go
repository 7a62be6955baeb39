package recheck

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/cespare/xxhash/v2"

	"twobin/guard"
	"twobin/guard/hashes"
	"twobin/guard/manifest"
)

const standards = "../../testdata/standards"

func tool(t *testing.T, name string) string {
	t.Helper()
	p, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("TWOBIN_TEST_ALL") == "1" {
			t.Fatalf("lacks %s", name)
		}
		t.Skipf("lacks %s", name)
	}
	return p
}

// validate checks every manifest and chain below a folder against the published schemas.
func validate(t *testing.T, top string) {
	t.Helper()
	xmllint := tool(t, "xmllint")
	abs, err := filepath.Abs(standards)
	if err != nil {
		t.Fatal(err)
	}
	for p := range snapshot(t, top) {
		schema := ""
		switch {
		case strings.HasSuffix(p, manifest.Ext):
			schema = "ASCMHL.xsd"
		case filepath.Base(p) == manifest.ChainName:
			schema = "ASCMHLDirectory.xsd"
		default:
			continue
		}
		cmd := exec.CommandContext(t.Context(), xmllint, "--nonet", "--noout", "--schema", filepath.Join(abs, schema), filepath.Join(top, p))
		cmd.Env = append(os.Environ(), "XML_CATALOG_FILES="+filepath.Join(abs, "catalog.xml"))
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("xmllint %s: %v\n%s", p, err, out)
		}
	}
}

// drive is a folder that plays a drive with one roll, DAY1/A/A003, recorded as an offload records it.
type drive struct {
	t   *testing.T
	top string
	mu  sync.Mutex
	now time.Time
}

const rollDir = "DAY1/A/A003"

// clips is the invented roll of these tests.
func clips() map[string]string {
	return map[string]string{"Clips/one.mov": "one\n", "Clips/two.mov": "two\n", "Clips/three.mov": "three\n", "notes.txt": "hello\n"}
}

func newDrive(t *testing.T, files map[string]string) *drive {
	t.Helper()
	d := &drive{t: t, top: t.TempDir(), now: time.Date(2024, 5, 1, 20, 15, 0, 0, time.FixedZone("", 2*3600))}
	for p, c := range files {
		d.write(rollDir+"/"+p, c)
	}
	d.record(files)
	return d
}

// record writes the next generation and the list, as an offload of these files does.
func (d *drive) record(files map[string]string) {
	d.t.Helper()
	root, err := os.OpenRoot(d.top)
	if err != nil {
		d.t.Fatal(err)
	}
	defer root.Close()
	p := &guard.Proof{Label: "A003", Copies: []guard.Copy{{Name: "SHUTTLE"}}}
	for name, c := range files {
		p.Files = append(p.Files, guard.File{Entry: guard.Entry{Path: name, Size: int64(len(c))}, Hash: xxhash.Sum64String(c)})
	}
	slices.SortFunc(p.Files, func(a, b guard.File) int { return strings.Compare(a.Path, b.Path) })
	s, err := manifest.NewRecorder(manifest.Info{Now: d.clock}).Stage(d.t.Context(), root, rollDir, p, 0)
	if err != nil {
		d.t.Fatal(err)
	}
	if err := s.Publish(); err != nil {
		d.t.Fatal(err)
	}
}

// clock gives a time one second later at each call.
func (d *drive) clock() time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.now = d.now.Add(time.Second)
	return d.now
}

func (d *drive) path(p string) string { return filepath.Join(d.top, p) }

func (d *drive) write(p, c string) {
	d.t.Helper()
	if err := os.MkdirAll(filepath.Dir(d.path(p)), 0o777); err != nil {
		d.t.Fatal(err)
	}
	if err := os.WriteFile(d.path(p), []byte(c), 0o666); err != nil {
		d.t.Fatal(err)
	}
}

func (d *drive) must(err error) {
	d.t.Helper()
	if err != nil {
		d.t.Fatal(err)
	}
}

// roll rechecks the whole drive and gives its one roll.
func (d *drive) roll(opt Options) Roll {
	d.t.Helper()
	rep := d.run("", opt)
	if len(rep.Rolls) != 1 {
		d.t.Fatalf("%d rolls, want 1: %+v", len(rep.Rolls), rep)
	}
	return rep.Rolls[0]
}

func (d *drive) run(below string, opt Options) Report {
	d.t.Helper()
	opt.Now = d.clock
	rep, err := Run(d.t.Context(), d.path(below), opt)
	if err != nil {
		d.t.Fatal(err)
	}
	return rep
}

// said is the files of a roll that are not intact, a line each.
func said(r Roll) []string {
	var s []string
	for _, f := range r.Files {
		line := f.Class.String() + " " + f.Path
		if f.From != "" {
			line += " from " + f.From
		}
		s = append(s, line)
	}
	return s
}

// generation reads the newest manifest of a history: path to "format action" and "previous".
func (d *drive) generation(dir string) (files map[string]string, dirs map[string]manifest.DirRecord) {
	d.t.Helper()
	root, err := os.OpenRoot(d.top)
	d.must(err)
	defer root.Close()
	h, err := manifest.ReadHistory(d.t.Context(), root, dir)
	d.must(err)
	b, err := root.ReadFile(dir + "/ascmhl/" + h.Links[len(h.Links)-1].Name)
	d.must(err)
	files, dirs = map[string]string{}, map[string]manifest.DirRecord{}
	_, err = manifest.Decode(bytes.NewReader(b), manifest.Visitor{
		File: func(r manifest.FileRecord) error {
			var s []string
			for _, h := range r.Hashes {
				s = append(s, h.Format+" "+string(h.Action))
			}
			if r.Previous != "" {
				s = append(s, "from "+r.Previous)
			}
			files[r.Path] = strings.Join(s, ", ")
			return nil
		},
		Dir: func(r manifest.DirRecord) error { dirs[r.Path] = r; return nil },
	})
	d.must(err)
	return files, dirs
}

// foreign writes a first generation as another program might: any formats, no folder hashes, whatever attributes.
func (d *drive) foreign(dir string, hashesOf map[string]string) {
	d.t.Helper()
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?><hashlist version="2.0" xmlns="urn:ASC:MHL:v2.0"><creatorinfo>` +
		`<creationdate>2024-04-01T10:00:00Z</creationdate><hostname>x</hostname><tool>another program</tool></creatorinfo>` +
		`<processinfo><process>in-place</process></processinfo><hashes>`)
	for p, h := range hashesOf {
		fmt.Fprintf(&b, "<hash><path>%s</path>%s</hash>", p, h)
	}
	b.WriteString("</hashes></hashlist>")
	const name = "0001_X_2024-04-01_100000Z.mhl"
	d.write(dir+"/ascmhl/"+name, b.String())
	chain, err := manifest.EncodeChain([]manifest.Link{{Nr: 1, Name: name, C4: digest(d.t, "c4", b.String())}})
	d.must(err)
	d.write(dir+"/ascmhl/"+manifest.ChainName, string(chain))
}

func digest(t *testing.T, format, contents string) string {
	t.Helper()
	h, err := hashes.New(format)
	if err != nil {
		t.Fatal(err)
	}
	h.Write([]byte(contents))
	return hashes.Text(format, h.Sum(nil))
}

func element(t *testing.T, format, contents string) string {
	t.Helper()
	return "<" + format + ">" + digest(t, format, contents) + "</" + format + ">"
}

func snapshot(t *testing.T, top string) map[string]string {
	t.Helper()
	m := map[string]string{}
	err := filepath.WalkDir(top, func(p string, e os.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		b, err := os.ReadFile(p)
		m[strings.TrimPrefix(p, top+"/")] = string(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}
