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
	"time"

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
	err     error  // it could not be read or folded
	touched int64  // when the file was last written, in ns; 0 when that is not known
	newer   *found // the newest journal of a shift, or of who knows what, that was passed over for this one; nil for none
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

// warn tells a reader of the record that what follows ends at a damage, and that a newer shift is there. Nothing of a
// damage for a whole journal, nor for a torn end: nothing that was acknowledged is in it.
func (f *found) warn(a *App) {
	f.warnNewer(a)
	if bad := f.unusable(); bad != nil {
		fmt.Fprintln(a.Err, procedure.Plain(fmt.Sprintf("look: %s is damaged: %v. Shown is what stands before the damage, %d lines; what came after is not known", f.path, bad, len(f.entries))))
	}
}

// warnNewer says which shift it is when a newer journal was passed over.
func (f *found) warnNewer(a *App) {
	if f.newer == nil {
		return
	}
	why := "a newer shift is in " + f.newer.path
	if bad := f.newer.unusable(); bad != nil {
		why = fmt.Sprintf("the newer %s cannot be used: %v", f.newer.path, bad)
	}
	state := "never ended"
	if f.ended() {
		state = "closed"
	}
	o := f.shift.Opened
	fmt.Fprintln(a.Err, procedure.Plain(fmt.Sprintf("look: this is %s, day %d, station %s, which was %s; %s", o.Production, o.Day, o.Station, state, oneLine(why))))
}

// real: a shift that is no drill was opened in it.
func (f *found) real() bool {
	return f.shift != nil && f.shift.Opened != nil && f.shift.Opened.Drill == ""
}

// counts: it holds a shift, or nobody knows what it holds.
func (f *found) counts() bool {
	return f.real() || (f.shift == nil || f.shift.Opened == nil) && f.unusable() != nil
}

// when is the time of the last line, for the newest first; without a line that can be read, that of the file, so that a
// journal that is lost does not look like the oldest.
func (f *found) when() int64 {
	if len(f.lines) == 0 && f.unusable() != nil {
		return f.touched
	}
	if len(f.lines) == 0 {
		return 0
	}
	return f.lines[len(f.lines)-1].Time.UnixNano()
}

func readJournal(path string) *found {
	f := &found{path: path}
	if st, err := os.Stat(path); err == nil {
		f.touched = st.ModTime().UnixNano()
	}
	f.lines, f.damage, f.err = journal.ReadFile(path)
	if f.err != nil {
		return f
	}
	f.shift, f.entries, f.err = procedure.Fold(f.lines)
	return f
}

// journalPaths lists the journals of a home; none when it has no such folder.
func journalPaths(home string) ([]string, error) {
	dir := filepath.Join(home, "journals")
	entries, err := os.ReadDir(dir) // no pattern: the path may hold any sign
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case err != nil:
		return nil, fmt.Errorf("look for journals: %w", err)
	}
	var out []string
	for _, e := range entries {
		if !e.IsDir() && strings.HasSuffix(e.Name(), ".jsonl") {
			out = append(out, filepath.Join(dir, e.Name()))
		}
	}
	return out, nil
}

// journals reads every journal of a home, newest first.
func journals(home string) ([]*found, error) {
	paths, err := journalPaths(home)
	if err != nil {
		return nil, err
	}
	var out []*found
	for _, p := range paths {
		out = append(out, readJournal(p))
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
// newest. One that is damaged is used up to the damage, for [found.warn] to say. What was passed over for an older one
// is in newer.
func current(home, path string) (*found, error) {
	if path != "" {
		f := readJournal(path)
		if f.shift == nil || f.shift.Opened == nil {
			return f, &Exit{Code: CodeFailed, Err: fmt.Errorf("%s cannot be used: %w", path, cmp.Or(f.unusable(), errors.New("no shift was opened in it")))}
		}
		return f, nil
	}
	all, err := journals(home)
	if err != nil {
		return nil, &Exit{Code: CodeFailed, Err: err}
	}
	open := func(f *found) bool { return f.shift != nil && f.shift.Opened != nil }
	i := slices.IndexFunc(all, func(f *found) bool { return open(f) && !f.ended() })
	if i < 0 {
		i = slices.IndexFunc(all, open)
	}
	if i >= 0 {
		if n := slices.IndexFunc(all[:i], (*found).counts); n >= 0 {
			all[i].newer = all[n]
		}
		return all[i], nil
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
		if f := readJournal(name); f.unusable() == nil && f.shift != nil && f.shift.Opened == nil {
			return name
		}
	}
}

// elsewhere lists the labels of the production's other journals that were written to since a shift was opened.
func elsewhere(home string, o procedure.ShiftOpened, since time.Time) []procedure.Label {
	paths, err := journalPaths(home)
	if err != nil {
		return nil // what was known at the opening still counts
	}
	var out []procedure.Label
	for _, p := range paths {
		if st, err := os.Stat(p); err != nil || st.ModTime().Before(since) {
			continue
		}
		if f := readJournal(p); f.real() && f.shift.Opened.Production == o.Production && f.shift.Opened.Key() != o.Key() {
			out = append(out, f.shift.Order...)
		}
	}
	return out
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
