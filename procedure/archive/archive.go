// Package archive reads all journals of a data folder together: what labels a production has used, every card's
// history by its serial number, where a roll or a clip is, all rolls of a drive, and the log sheet over many days.
//
// A damaged journal is used up to its damage and named with the line ([Archive.Warnings]); one that cannot be read at
// all is named too. Drills are left out of everything but [Archive.Journals]. Nothing is written, and no lock is taken:
// a shift may be under way. An Archive is read once and does not change; its methods may be called concurrently.
package archive

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"twobin/guard"
	"twobin/guard/proofstore"
	"twobin/procedure"
	"twobin/procedure/handover"
	"twobin/procedure/journal"
	"twobin/procedure/sheet"
)

// ErrNothing says that no shift is there that fits what was asked for.
var ErrNothing = errors.New("no shift fits")

// Journal is one journal, folded as far as it goes.
type Journal struct {
	Path string
	// Shift and Entries are the fold of the good lines; Shift is never nil, but not opened when there is no line of use.
	Shift   *procedure.Shift
	Entries []procedure.Entry
	Lines   int
	// Record is what a hand-over says of the journal; its Code is empty before the close.
	Record handover.Record
	// Trouble says what is wrong, in one line; empty for a whole journal.
	Trouble string
}

// Opened says whether anything of a shift is there.
func (j *Journal) Opened() bool { return j.Shift != nil && j.Shift.Opened != nil }

// Archive is a data folder's journals, oldest shift first.
type Archive struct {
	Journals []Journal
	load     func(sha string) (*guard.Proof, error)
}

// Open reads a data folder: journals below its folder journals, proofs from its folder proofs.
func Open(home string) (*Archive, error) {
	proofs := filepath.Join(home, "proofs")
	return Read(filepath.Join(home, "journals"), func(sha string) (*guard.Proof, error) { return proofstore.Load(proofs, sha) })
}

// Read reads every file that ends in .jsonl below root. load may be called by several goroutines at once. The error is about root itself: that it is not there wraps
// [fs.ErrNotExist]. What is wrong with one journal is in [Journal.Trouble].
func Read(root string, load func(sha string) (*guard.Proof, error)) (*Archive, error) {
	if _, err := os.Stat(root); err != nil {
		return nil, fmt.Errorf("read the journals: %w", err)
	}
	a := &Archive{load: load}
	var paths []string
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			a.Journals = append(a.Journals, Journal{Path: path, Shift: procedure.NewShift(), Trouble: "cannot be read: " + err.Error()})
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
			return nil
		case d.IsDir() || !strings.HasSuffix(d.Name(), ".jsonl"):
			return nil
		}
		paths = append(paths, path)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the journals: %w", err)
	}
	a.Journals = append(a.Journals, readAll(paths)...)
	slices.SortStableFunc(a.Journals, func(x, y Journal) int { return x.Shift.OpenedAt.Wall.Compare(y.Shift.OpenedAt.Wall) })
	return a, nil
}

// readAll reads journals, as many at once as there are processors, and gives them in the order of paths.
func readAll(paths []string) []Journal {
	out := make([]Journal, len(paths))
	next := make(chan int)
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(paths)) {
		wg.Go(func() {
			for i := range next {
				out[i] = ReadJournal(paths[i])
			}
		})
	}
	for i := range paths {
		next <- i
	}
	close(next)
	wg.Wait()
	return out
}

// ReadJournal reads and folds one journal.
func ReadJournal(path string) Journal {
	j := Journal{Path: path, Shift: procedure.NewShift()}
	lines, damage, err := journal.ReadFile(path)
	if err != nil {
		j.Trouble = "cannot be read: " + err.Error()
		return j
	}
	shift, entries, err := procedure.Fold(lines)
	if shift != nil {
		j.Shift = shift
	}
	j.Entries, j.Lines, j.Record = entries, len(lines), handover.RecordOf(lines, damage)
	switch {
	case err != nil:
		j.Trouble = fmt.Sprintf("makes no sense from here on: %v; the %d lines before it are used", err, len(entries))
	case damage != nil && damage.Torn:
		j.Trouble = fmt.Sprintf("ends torn: %v; nothing that was acknowledged is in it, the %d lines before it are used", damage, len(lines))
	case damage != nil:
		j.Trouble = fmt.Sprintf("is damaged: %v; the %d lines before it are used", damage, len(lines))
	case len(lines) == 0:
		j.Trouble = "is empty"
	}
	return j
}

// Warnings names every journal with trouble, one line each, safe to show.
func (a *Archive) Warnings() []string {
	var out []string
	for i := range a.Journals {
		if j := &a.Journals[i]; j.Trouble != "" {
			out = append(out, procedure.Plain(j.Path+" "+j.Trouble))
		}
	}
	return out
}

// shifts gives the journals of real shifts that a query asks for.
func (a *Archive) shifts(q sheet.Query) []*Journal {
	var out []*Journal
	for i := range a.Journals {
		j := &a.Journals[i]
		if !j.Opened() || j.Shift.Opened.Drill != "" {
			continue
		}
		if o := j.Shift.Opened; q.Match(o.Production, o.Day, o.Station) {
			out = append(out, j)
		}
	}
	return out
}

// Twice is a label that came in more than once in a production: on several days, or at two stations.
type Twice struct {
	Production string
	Label      procedure.Label
	Journals   []string
}

// Doubles lists labels that stand in more than one journal of a production.
func (a *Archive) Doubles() []Twice {
	type key struct {
		production string
		label      procedure.Label
	}
	seen := map[key][]string{}
	var order []key
	for _, j := range a.shifts(sheet.Query{}) {
		for _, l := range j.Shift.Order {
			k := key{j.Shift.Opened.Production, l}
			if len(seen[k]) == 1 {
				order = append(order, k)
			}
			seen[k] = append(seen[k], j.Path)
		}
	}
	var out []Twice
	for _, k := range order {
		out = append(out, Twice{k.production, k.label, seen[k]})
	}
	return out
}

// Sheet makes the log sheet over all shifts that q asks for. The error wraps [ErrNothing] when there is none, and says
// what there is.
func (a *Archive) Sheet(q sheet.Query, made time.Time, tool string) (*sheet.Sheet, error) {
	js := a.shifts(q)
	if len(js) == 0 {
		there := a.there()
		if there == "" {
			return nil, fmt.Errorf("%w: there is no shift at all, or none that can be read", ErrNothing)
		}
		return nil, fmt.Errorf("%w: %s was asked for; there is %s", ErrNothing, q, there)
	}
	s := &sheet.Sheet{Made: made, Tool: tool}
	rd := sheet.NewReader(a.load)
	for _, j := range a.upTo(js) {
		if slices.Contains(js, j) {
			s.Rows = append(s.Rows, rd.Rows(j.Shift, j.Entries)...)
		} else {
			rd.Learn(j.Shift)
		}
	}
	s.Warnings = a.WarningsFor(q.Production, s.Rows)
	s.Sort()
	return s, nil
}

// WarningsFor is what the reader of a sheet with these rows must know, one line each, safe to show: journals with trouble,
// labels that came in more than once in a production (empty: in any), proofs that are lost.
func (a *Archive) WarningsFor(production string, rows []sheet.Row) []string {
	out := a.Warnings()
	for _, d := range a.Doubles() {
		if production == "" || production == d.Production {
			out = append(out, procedure.Plain(fmt.Sprintf("%s came in %d times in %s: %s", d.Label, len(d.Journals), d.Production, strings.Join(d.Journals, ", "))))
		}
	}
	lost := 0
	for i := range rows {
		if rows[i].Problem != "" {
			lost++
		}
	}
	switch {
	case lost == 1:
		out = append(out, "1 proof could not be read; its roll has no recording times and no questions here")
	case lost > 1:
		out = append(out, fmt.Sprintf("%d proofs could not be read; their rolls have no recording times and no questions here", lost))
	}
	return out
}

// upTo gives js with all earlier shifts of their productions, in order: what a roll holds may stand on an earlier one.
func (a *Archive) upTo(js []*Journal) []*Journal {
	last := map[string]*Journal{}
	for _, j := range js {
		last[j.Shift.Opened.Production] = j
	}
	var out []*Journal
	for _, j := range a.shifts(sheet.Query{}) {
		production := j.Shift.Opened.Production
		if end := last[production]; end != nil {
			out = append(out, j)
			if j == end {
				delete(last, production)
			}
		}
	}
	return out
}

// Before gives a reader of rows that has learned every shift of the same production that was opened before s.
func (a *Archive) Before(s *procedure.Shift) *sheet.Reader {
	rd := sheet.NewReader(a.load)
	for _, j := range a.shifts(sheet.Query{Production: s.Opened.Production}) {
		if j.Shift.OpenedAt.Wall.Before(s.OpenedAt.Wall) {
			rd.Learn(j.Shift)
		}
	}
	return rd
}

// there says in a few words which shifts there are; empty for none.
func (a *Archive) there() string {
	var names []string
	for _, j := range a.shifts(sheet.Query{}) {
		o := j.Shift.Opened
		n := fmt.Sprintf("%q day %d station %q", procedure.Plain(o.Production), o.Day, procedure.Plain(o.Station))
		if !slices.Contains(names, n) {
			names = append(names, n)
		}
	}
	const most = 8
	switch n := len(names) - most; {
	case len(names) == 0:
		return ""
	case n > 0:
		names = append(names[n:], fmt.Sprintf("and %d earlier ones", n))
	}
	return strings.Join(names, ", ")
}
