package clips

import (
	"fmt"
	"maps"
	"path"
	"slices"
	"strconv"
	"strings"

	"twobin/guard"
)

// What makes names a numbered series (this project's own choice): at least so many different numbers, at least half of
// the numbers from the first to the last there (anything thinner is a date or a random number), and for OddName at
// least so large a share of the files in the folder.
const (
	minSeries   = 3
	oddFewer    = 5 // fewer than one in oddFewer names is odd
	maxDigits   = 9 // longer runs of digits are no counters
	shownGaps   = 4
	folderMark  = "/"
	maxNameRuns = 12
)

// series are the names in one folder that differ in one number.
type series struct {
	where   string // folder of it, with an ending of names
	prefix  string
	width   int
	nums    map[int]bool
	members map[string]bool
}

// names asks about gaps in series of names, and about names outside of them. Folders count as names too: some cameras
// give every clip a folder of its own.
func names(es []guard.Entry) []Question {
	groups := map[string][]string{} // folder and ending -> paths
	folders := map[string]bool{}
	for _, e := range es {
		dir, base := path.Split(e.Path)
		k := dir + "\x00" + strings.ToLower(path.Ext(base))
		groups[k] = append(groups[k], e.Path)
		for d := path.Dir(e.Path); d != "."; d = path.Dir(d) {
			folders[d] = true
		}
	}
	for d := range folders {
		k := strings.TrimSuffix(path.Dir(d), ".") + "\x00" + folderMark
		groups[k] = append(groups[k], d)
	}
	var qs []Question
	told := map[string]bool{}
	for _, k := range slices.Sorted(maps.Keys(groups)) {
		paths := groups[k]
		slices.Sort(paths)
		s := bestSeries(paths)
		if s == nil {
			continue
		}
		if q, ok := s.gap(); ok && !told[q.Text] {
			told[q.Text] = true
			qs = append(qs, q)
		}
		if q, ok := s.odd(paths); ok {
			qs = append(qs, q)
		}
	}
	return qs
}

// bestSeries is the series that holds most of the paths, nil when there is none.
func bestSeries(paths []string) *series {
	type start struct {
		prefix string
		width  int
	}
	found := map[start]*series{}
	var order []start
	for _, p := range paths {
		name := path.Base(p)
		stem := strings.TrimSuffix(name, path.Ext(name))
		for i, run := range digitRuns(stem) {
			if i >= maxNameRuns {
				break
			}
			n, err := strconv.Atoi(stem[run[0]:run[1]])
			if err != nil {
				continue
			}
			k := start{stem[:run[0]], run[1] - run[0]}
			s := found[k]
			if s == nil {
				s = &series{where: path.Dir(p), prefix: k.prefix, width: k.width, nums: map[int]bool{}, members: map[string]bool{}}
				found[k] = s
				order = append(order, k)
			}
			s.nums[n] = true
			s.members[p] = true
		}
	}
	var best *series
	for _, k := range order {
		s := found[k]
		if !s.dense() {
			continue
		}
		if best == nil || len(s.members) > len(best.members) || len(s.members) == len(best.members) && len(s.nums) > len(best.nums) {
			best = s
		}
	}
	return best
}

// digitRuns gives the runs of digits in a name, as begin and end, without those too long to count with.
func digitRuns(s string) [][2]int {
	var out [][2]int
	for i := 0; i < len(s); i++ {
		if s[i] < '0' || s[i] > '9' {
			continue
		}
		j := i
		for j < len(s) && s[j] >= '0' && s[j] <= '9' {
			j++
		}
		if j-i <= maxDigits {
			out = append(out, [2]int{i, j})
		}
		i = j
	}
	return out
}

func (s *series) limits() (lo, hi int) {
	first := true
	for n := range s.nums {
		if first {
			lo, hi, first = n, n, false
		}
		lo, hi = min(lo, n), max(hi, n)
	}
	return lo, hi
}

func (s *series) dense() bool {
	lo, hi := s.limits()
	return len(s.nums) >= minSeries && hi-lo+1 <= 2*len(s.nums)
}

func (s *series) gap() (Question, bool) {
	lo, hi := s.limits()
	var gaps []string
	missing := 0
	for n := lo; n <= hi; n++ {
		if s.nums[n] {
			continue
		}
		end := n
		for !s.nums[end+1] {
			end++
		}
		missing += end - n + 1
		text := s.number(n)
		if end > n {
			text += " to " + s.number(end)
		}
		gaps = append(gaps, text)
		n = end
	}
	if missing == 0 {
		return Question{}, false
	}
	if n := len(gaps) - shownGaps; n > 0 {
		gaps = append(gaps[:shownGaps], fmt.Sprintf("%d more gaps", n))
	}
	return Question{Kind: Gap, Files: missing, Text: fmt.Sprintf("%s not there in %s, between %s and %s: deleted in the camera?",
		count(missing, "number is", "numbers are"), short(path.Join(s.where, s.prefix+strings.Repeat("#", s.width))), s.number(lo), s.number(hi)) +
		" (" + strings.Join(gaps, ", ") + ")"}, true
}

func (s *series) number(n int) string { return fmt.Sprintf("%0*d", s.width, n) }

func (s *series) odd(paths []string) (Question, bool) {
	var es []guard.Entry
	for _, p := range paths {
		if !s.members[p] {
			es = append(es, guard.Entry{Path: p})
		}
	}
	if len(es) == 0 || len(es)*oddFewer >= len(paths) {
		return Question{}, false
	}
	return ask(OddName, es, "%s not follow the others (%s): named by hand?", count(len(es), "name does", "names do")), true
}
