package procedure

import (
	"fmt"
	"math/rand/v2"
	"path"
	"sort"
	"strconv"
	"strings"
	"unicode"

	"twobin/guard"
)

// Sighted is one sighted check: a question that only looking at the drive answers.
type Sighted struct {
	Question string
	Answer   string
	// Name is the whole name of the file that is asked about, empty when none is: who types all of it has looked, too.
	Name string
}

// hiddenChars is how many characters of a name are asked for.
const hiddenChars = 4

// maskTries is how many files are tried for a name that can be asked with hidden characters.
const maskTries = 24

// AskSighted makes a sighted check for the roll's folder, with a random file of the proof. It prefers a name with some
// characters hidden, if those that are shown lead to exactly one file there and the hidden ones cannot be guessed from
// its neighbours; else it asks for the last name of a folder, or the number of files in one. Hidden system files are
// left out: file browsers do not show them.
func AskSighted(files []guard.File, roll Label, rng *rand.Rand) Sighted {
	byDir := map[string][]string{}
	for i := range files {
		if p := files[i].Path; !hiddenPath(p) {
			byDir[path.Dir(p)] = append(byDir[path.Dir(p)], path.Base(p))
		}
	}
	dirs := make([]string, 0, len(byDir))
	for d := range byDir {
		dirs = append(dirs, d)
	}
	if len(dirs) == 0 {
		return Sighted{Question: fmt.Sprintf("Open %s. How many files does it hold, hidden ones too?", roll), Answer: strconv.Itoa(len(files))}
	}
	sort.Strings(dirs)
	where := func(dir string) string {
		if dir == "." {
			return string(roll)
		}
		return string(roll) + "/" + Plain(dir)
	}
	for range maskTries {
		f := files[rng.IntN(len(files))].Path
		names := byDir[path.Dir(f)]
		if hiddenPath(f) {
			continue
		}
		if shown, hidden, ok := mask(path.Base(f), names); ok {
			return Sighted{Question: fmt.Sprintf("Open %s. What stands for the dots: %s", where(path.Dir(f)), shown), Answer: hidden, Name: path.Base(f)}
		}
	}
	dir := dirs[rng.IntN(len(dirs))]
	names := byDir[dir]
	if last, ok := lastByName(names); ok {
		stem := strings.TrimSuffix(last, path.Ext(last))
		return Sighted{
			Question: fmt.Sprintf("Open %s. The last file by name: its last %d characters before the dot?", where(dir), hiddenChars),
			Answer:   stem[len(stem)-hiddenChars:], Name: last,
		}
	}
	return Sighted{Question: fmt.Sprintf("Open %s. How many files are in it?", where(dir)), Answer: strconv.Itoa(len(names))}
}

// SameSighted compares an answer: blanks around it and letter case do not matter.
func SameSighted(answer, want string) bool {
	a := strings.TrimSpace(answer)
	return a != "" && strings.EqualFold(a, want)
}

// Right says whether an answer is right: what is asked for, or the whole name that it is part of, with or without what
// follows its dot.
func (s Sighted) Right(answer string) bool {
	return SameSighted(answer, s.Answer) || s.Name != "" && (SameSighted(answer, s.Name) || SameSighted(answer, strings.TrimSuffix(s.Name, path.Ext(s.Name))))
}

func hiddenPath(p string) bool {
	for _, part := range strings.Split(p, "/") {
		if strings.HasPrefix(part, ".") || strings.HasPrefix(part, "$") {
			return true
		}
	}
	return false
}

// mask hides the last characters of a name's stem if they hold a letter and the rest is that of one file only.
func mask(name string, names []string) (shown, hidden string, ok bool) {
	ext := path.Ext(name)
	stem := strings.TrimSuffix(name, ext)
	if len(stem) < hiddenChars+2 || !printable(name) {
		return "", "", false
	}
	head := stem[:len(stem)-hiddenChars]
	hidden = stem[len(stem)-hiddenChars:]
	letter := false
	for _, c := range hidden {
		letter = letter || unicode.IsLetter(c)
		if !unicode.IsLetter(c) && !unicode.IsDigit(c) {
			return "", "", false
		}
	}
	if !letter {
		return "", "", false
	}
	n := 0
	for _, o := range names {
		if strings.HasPrefix(o, head) && path.Ext(o) == ext && len(o) == len(name) {
			n++
		}
	}
	return head + strings.Repeat("·", hiddenChars) + ext, hidden, n == 1
}

// lastByName gives the last name if every file browser would sort it last: names of one length and one pattern.
func lastByName(names []string) (string, bool) {
	last := ""
	for _, n := range names {
		if len(n) != len(names[0]) || path.Ext(n) != path.Ext(names[0]) || !printable(n) {
			return "", false
		}
		if strings.ToUpper(n) > strings.ToUpper(last) {
			last = n
		}
	}
	stem := strings.TrimSuffix(last, path.Ext(last))
	return last, len(names) > 1 && len(stem) >= hiddenChars
}

// printable: only plain ASCII that a person can read off a screen and type.
func printable(s string) bool {
	for i := range len(s) {
		if s[i] <= ' ' || s[i] > '~' {
			return false
		}
	}
	return true
}
