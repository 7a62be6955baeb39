package command_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"twobin/guard/proofstore"
	"twobin/procedure"
)

// outcome is what a whole shift leaves behind. Two playings of one script with one card give the same, killed or not.
//
// Left out, because it says when and how often and has to differ: the day in the folders' names and lists (a playing may
// go over midnight); of ASC MHL the generations' names and number (a roll that is taken up again after its copy was
// proven gets another generation, which has to say the same of every file), their creation and hash dates, actions
// ("original", then "verified"), and the chain's sums; modification times of folders and lists that are not the card's
// own; of the log sheet the columns in unlike; of the proof its times, card and drives. An erase that was cut off is not
// begun again, as the design says, so erased or partly erased is told apart by [cardLeft] instead.
type outcome struct {
	Drives map[string][]string // destination -> every name on it, and what is behind the name
	Places map[procedure.Label]string
	Closed bool
	Points []string
	Sheet  []string
	Proof  []string
}

// unlike are the log sheet's columns that say when, how often, or which volume.
var unlike = []string{"date", "arrived", "copy started", "proven", "green bin", "erase", "erased at", "returned", "passes", "put backs", "questions",
	"card id", "proof SHA-256"}

var (
	ofDay      = regexp.MustCompile(`day003_\d{4}-\d\d-\d\d`)
	generation = regexp.MustCompile(`^\d{4}_A001_\d{4}-\d\d-\d\d_\d{6}Z\.mhl$`)
	mhlTimes   = regexp.MustCompile(`<creationdate>[^<]*</creationdate>| hashdate="[^"]*"| action="[^"]*"`)
)

// dayless takes the date out of a path or list.
func dayless(s string) string { return ofDay.ReplaceAllString(s, "day003_DATE") }

// dateCard gives every file and folder of the card a time of its own, the same in every playing, down to the nanosecond.
func (s *station) dateCard() {
	s.tb.Helper()
	s.card.mount()
	at := time.Date(2026, 3, 14, 9, 26, 53, 589_793_238, time.UTC)
	err := filepath.WalkDir(s.card.at, func(path string, _ fs.DirEntry, err error) error {
		at = at.Add(61 * time.Second)
		if err != nil || path == s.card.at {
			return err
		}
		return os.Chtimes(path, at, at)
	})
	if err != nil {
		s.tb.Fatal(err)
	}
	s.card.umount()
}

// outcome looks at everything after the close.
func (r *robot) outcome(t *testing.T) outcome {
	t.Helper()
	s := r.shift()
	o := outcome{Drives: map[string][]string{}, Places: map[procedure.Label]string{}, Closed: s.Closed, Points: s.OpenPoints}
	for _, l := range s.Order {
		o.Places[l] = fmt.Sprint(s.Roll(l).Place)
	}
	for name, d := range map[string]*disk{"RAID": r.raid, "SHUTTLE": r.shuttle} {
		d.umount() // what is only in a cache of the system is none of the drive's
		d.mount()
		o.Drives[name] = tree(t, d.at)
	}
	o.Sheet = r.sheet(t)
	p, err := proofstore.Load(filepath.Join(r.home, "proofs"), s.Roll("A001").Proof)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range p.Files {
		o.Proof = append(o.Proof, fmt.Sprintf("%s %d %d %016x", f.Path, f.Size, f.MTime, f.Hash))
	}
	return o
}

// tree lists what stands on a drive: name, kind, size, hash, and the time of what came from the card.
func tree(t *testing.T, root string) []string {
	t.Helper()
	var out []string
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || path == root {
			return err
		}
		if strings.HasPrefix(d.Name(), ".twobin-") {
			t.Errorf("a temporary name is left: %s", path)
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		_, below, ours := strings.Cut(rel, "/A/A001/")
		mhl := ours && strings.HasPrefix(below, "ascmhl")
		say := dayless(rel) + " " + info.Mode().String()
		if ours && !mhl {
			say += " " + info.ModTime().UTC().Format(time.RFC3339Nano)
		}
		if d.IsDir() {
			out = append(out, say)
			return nil
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		switch {
		case generation.MatchString(d.Name()):
			say, data = filepath.Dir(dayless(rel))+"/GENERATION", mhlTimes.ReplaceAll(data, nil)
		case d.Name() == "ascmhl_chain.xml":
			checkChain(t, filepath.Dir(path), data)
			out = append(out, say)
			return nil
		}
		out = append(out, fmt.Sprintf("%s %d %x", say, len(data), sha256.Sum256(data)))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(out)
	return slices.Compact(out) // generations that say the same are one
}

// checkChain: the chain of a roll names every generation that stands there, and no other.
func checkChain(t *testing.T, dir string, chain []byte) {
	t.Helper()
	there, err := filepath.Glob(filepath.Join(dir, "*.mhl"))
	if err != nil || len(there) == 0 || bytes.Count(chain, []byte("<path>")) != len(there) {
		t.Errorf("%d generations, %v, and the chain:\n%s", len(there), err, chain)
	}
	for _, name := range there {
		if !bytes.Contains(chain, []byte("<path>"+filepath.Base(name)+"</path>")) {
			t.Errorf("%s is not in the chain:\n%s", name, chain)
		}
	}
}

// sheetEnds is what stands at the end of a whole log sheet: a row's end (RFC 4180), the end of a zip archive (PKWARE's
// APPNOTE, 4.3.16), the end of a page.
var sheetEnds = map[string]string{".csv": "\r\n", ".xlsx": "PK\x05\x06", ".html": "</html>"}

// sheet reads the log sheet that the journal names. Another one may stand there of a run that was killed before it could
// say so.
func (r *robot) sheet(t *testing.T) (out []string) {
	t.Helper()
	s := r.shift().Sheet
	if s == nil || len(s.Files) != 3 || filepath.Ext(s.Files[0]) != ".csv" {
		t.Fatalf("the log sheet: %+v", s)
	}
	data, err := os.ReadFile(s.Files[0])
	if err != nil {
		t.Fatal(err)
	}
	others, err := filepath.Glob(filepath.Join(r.home, "sheets", "*_sheet*"))
	if err != nil || len(others) < len(s.Files) {
		t.Errorf("log sheets: %v %v", others, err)
	}
	for _, name := range others { // what has its name is whole, whichever run wrote it
		b, err := os.ReadFile(name)
		if end, ok := sheetEnds[filepath.Ext(name)]; !ok || err != nil || !bytes.Contains(b[max(0, len(b)-64):], []byte(end)) {
			t.Errorf("%s, %d bytes, is not whole: %v", name, len(b), err)
		}
	}
	rows, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff")))).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("the log sheet: %v\n%s", err, data)
	}
	for _, row := range rows[1:] {
		for i, title := range rows[0] {
			if !slices.Contains(unlike, title) {
				out = append(out, title+": "+dayless(row[i]))
			}
		}
	}
	return out
}

// cardLeft is what the card still holds: nothing after an erase, after one that was cut off some files as they were.
func (r *robot) cardLeft(t *testing.T) {
	t.Helper()
	r.card.mount()
	defer r.cardOut()
	left := 0
	for name, size := range cardFiles {
		got, err := os.ReadFile(filepath.Join(r.card.at, name))
		switch {
		case err == nil && !bytes.Equal(got, fileOf(name, size)):
			t.Errorf("%s is on the card and not as it was", name)
		case err == nil:
			left++
		case !os.IsNotExist(err):
			t.Error(err)
		}
	}
	if roll := r.shift().Roll("A001"); roll.Erased && left > 0 || !roll.Erased && !roll.Partly {
		t.Errorf("erased %v, cut off %v, %d files on the card", roll.Erased, roll.Partly, left)
	}
}
