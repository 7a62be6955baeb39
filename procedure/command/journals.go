package command

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"twobin/procedure"
	"twobin/procedure/journal"
)

// found is a journal on disk, folded.
type found struct {
	path    string
	lines   []journal.Line
	shift   *procedure.Shift
	entries []procedure.Entry
	damage  *journal.Damage
	err     error // it could not be folded
}

// ended: closed, and the code was read back from the book.
func (f *found) ended() bool { return f.shift != nil && f.shift.Closed && f.shift.CodeRight }

// unusable says why a shift cannot go on with this journal; nil if it can. A torn end is no reason: it is set aside.
func (f *found) unusable() error {
	switch {
	case f.damage != nil && !f.damage.Torn:
		return errors.New(f.damage.String())
	case f.err != nil:
		return f.err
	}
	return nil
}

// warn tells a reader of the record that what follows ends at a damage. Nothing for a whole journal, nor for a torn end:
// nothing that was acknowledged is in it.
func (f *found) warn(a *App) {
	if bad := f.unusable(); bad != nil {
		fmt.Fprintln(a.Err, procedure.Plain(fmt.Sprintf("look: %s is damaged: %v. Shown is what stands before the damage, %d lines; what came after is not known", f.path, bad, len(f.entries))))
	}
}

// when is the time of the last line, for the newest first.
func (f *found) when() int64 {
	if len(f.lines) == 0 {
		return 0
	}
	return f.lines[len(f.lines)-1].Time.UnixNano()
}

func readJournal(path string) *found {
	f := &found{path: path}
	f.lines, f.damage = nil, nil
	f.lines, f.damage, f.err = journal.ReadFile(path)
	if f.err != nil {
		return f
	}
	f.shift, f.entries, f.err = procedure.Fold(f.lines)
	return f
}

// journals reads every journal of a home, newest first.
func journals(home string) ([]*found, error) {
	dir := filepath.Join(home, "journals")
	entries, err := os.ReadDir(dir) // no pattern: the path may hold any sign
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("look for journals: %w", err)
	}
	var out []*found
	for _, e := range entries {
		if !e.IsDir() && strings.HasSuffix(e.Name(), ".jsonl") {
			out = append(out, readJournal(filepath.Join(dir, e.Name())))
		}
	}
	slices.SortStableFunc(out, func(a, b *found) int {
		switch {
		case a.when() > b.when():
			return -1
		case a.when() < b.when():
			return 1
		}
		return 0
	})
	return out, nil
}

// current picks the journal that a question is about: the one named, else the newest that is not ended, else the
// newest.
func current(home, path string) (*found, error) {
	if path != "" {
		f := readJournal(path)
		return f, f.err
	}
	all, err := journals(home)
	if err != nil {
		return nil, err
	}
	for _, f := range all {
		if f.err == nil && f.shift.Opened != nil && !f.ended() {
			return f, nil
		}
	}
	for _, f := range all {
		if f.err == nil && f.shift.Opened != nil {
			return f, nil
		}
	}
	if len(all) > 0 { // damaged before its shift was opened: the question goes to what is there
		return all[0], &Exit{Code: CodeFailed, Err: fmt.Errorf("%s cannot be used: %w", all[0].path, cmp.Or(all[0].unusable(), errNoShift(home)))}
	}
	return nil, &Exit{Code: CodeFailed, Err: errNoShift(home)}
}

type noShift string

func errNoShift(home string) error { return noShift(home) }

// Error says where was looked.
func (n noShift) Error() string {
	return "no shift has a journal in " + string(n) + "; begin one with: twobin shift"
}

// newJournal gives a name for the journal of a shift: a free one, or that of a journal in which no shift was opened,
// because the program ended in that very moment.
func newJournal(home string, o procedure.ShiftOpened) string {
	base := strings.Join([]string{procedure.FolderName(o.Production), dayName(o.Day), o.Date, procedure.FolderName(o.Station)}, "_")
	for n := 1; ; n++ {
		name := filepath.Join(home, "journals", base+suffix(n)+".jsonl")
		if _, err := os.Lstat(name); os.IsNotExist(err) {
			return name
		}
		if f := readJournal(name); f.unusable() == nil && f.shift.Opened == nil {
			return name
		}
	}
}

// known lists the labels that the other journals of a production hold.
func known(home, production string) []procedure.Label {
	all, err := journals(home)
	if err != nil {
		return nil
	}
	seen := map[procedure.Label]bool{}
	var out []procedure.Label
	for _, f := range all {
		if f.shift == nil || f.shift.Opened == nil || f.shift.Opened.Drill != "" || f.shift.Opened.Production != production {
			continue
		}
		for _, l := range f.shift.Order {
			if !seen[l] {
				seen[l] = true
				out = append(out, l)
			}
		}
	}
	slices.Sort(out)
	return out
}
