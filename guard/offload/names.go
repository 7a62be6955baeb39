package offload

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"

	"twobin/guard"
	"twobin/guard/device"
)

// probeKey is what the temporary name of the folder for trying names stands for.
const probeKey = "names tried on this volume"

// triedNames is how many unusual names of each kind are tried one by one on a volume; more would only repeat what those show.
const triedNames = 500

// pair is two paths of the card that some file systems take for one.
type pair struct{ a, b string }

// fold maps names that a case-folding or normalising file system may take for one to one text.
func fold(path string) string {
	if isPlain(path) {
		return strings.ToLower(path)
	}
	return norm.NFC.String(cases.Fold().String(norm.NFC.String(path)))
}

// isPlain says that every byte is printable ASCII.
func isPlain(s string) bool {
	for i := range len(s) {
		if s[i] < 0x20 || s[i] >= 0x7f {
			return false
		}
	}
	return true
}

// collisions lists the paths that fold to the same text.
func collisions(list guard.Listing) []pair {
	var pairs []pair
	seen := make(map[string]string, len(list.Files)+len(list.Dirs))
	add := func(path string) {
		f := fold(path)
		if other, ok := seen[f]; ok {
			pairs = append(pairs, pair{other, path})
			return
		}
		seen[f] = path
	}
	for _, d := range list.Dirs {
		add(d)
	}
	for _, e := range list.Files {
		add(e.Path)
	}
	return pairs
}

// unusual lists the names, each once, that some file system refuses or changes.
func unusual(list guard.Listing) []string {
	seen := map[string]bool{}
	var names []string
	var tried [unusualKinds]int
	add := func(path string) {
		_, name := split(path)
		if k := kindOfName(name); k != usual && tried[k] < triedNames && !seen[name] {
			seen[name] = true
			tried[k]++
			names = append(names, name)
		}
	}
	for _, d := range list.Dirs {
		add(d)
	}
	for _, e := range list.Files {
		add(e.Path)
	}
	return names
}

// nameKind is in which way a name is beyond what every file system in use takes.
type nameKind int

const (
	usual       nameKind = iota
	oddEnd               // a dot or a blank at an end, which some volumes leave out
	oddBytes             // not UTF-8
	oddSign              // a character that FAT, exFAT and NTFS forbid, control characters too
	oddLength            // long
	otherScript          // beyond printable ASCII
	unusualKinds
)

// kindOfName sorts names. The names of old devices matter on Windows only and are left to the trial.
func kindOfName(name string) nameKind {
	switch {
	case strings.HasSuffix(name, ".") || strings.HasSuffix(name, " ") || strings.HasPrefix(name, " "):
		return oddEnd
	case !utf8.ValidString(name):
		return oddBytes
	case strings.ContainsAny(name, `<>:"\|?*`) || strings.ContainsFunc(name, unicode.IsControl):
		return oddSign
	case len(name) > 200:
		return oddLength
	case !isPlain(name):
		return otherScript
	}
	return usual
}

// tryNames makes a folder with a temporary name at the volume's top and tries names and pairs of names in it. The first
// that does not fit comes back as an Error of kind KindNames; err is for a volume that cannot be tried at all.
func tryNames(root *device.Root, item string, names []string, pairs []pair) (found *guard.Error, err error) {
	top, err := root.Open("")
	if err != nil {
		return nil, err
	}
	defer top.Close()
	probe := device.TempName(probeKey)
	if err := removeProbe(top, probe); err != nil {
		return nil, err
	}
	if _, err := top.Make(probe); err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, removeProbe(top, probe)) }()
	folder, err := top.Sub(probe)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	bad := func(path string, err error) *guard.Error {
		return &guard.Error{Op: "try names", Item: item, Path: path, Kind: guard.KindNames, Err: err}
	}
	for _, name := range names {
		if err := tryName(folder, name); err != nil {
			if e := fault("", "", "", guard.KindNames, err); e.Kind != guard.KindNames && e.Kind != guard.KindDenied {
				return nil, err
			}
			return bad(name, err), nil
		}
	}
	for _, p := range pairs {
		same, err := tryPair(folder, p)
		if err != nil {
			return nil, err
		}
		if same {
			return bad(p.b, fmt.Errorf("this volume cannot tell it from %q", p.a)), nil
		}
	}
	return nil, nil
}

// tryName makes a folder of that name and looks whether it is listed under it, byte for byte. A folder, because its
// name has the same limits and nothing but an empty folder can be lost by taking it away.
func tryName(in *device.Folder, name string) error {
	made, err := in.Make(name)
	if err != nil {
		return err
	}
	if !made {
		return errors.New("another name is taken for it")
	}
	found := false
	err = in.List(func(n string, _ device.Stat) error { found = found || n == name; return nil })
	if e := in.RemoveTrial(name); err == nil {
		err = e
	}
	if err == nil && !found {
		err = errors.New("the volume changes it")
	}
	return err
}

// tryPair says whether the volume takes two names for one. Of paths, the first component that differs counts.
func tryPair(in *device.Folder, p pair) (same bool, err error) {
	a, b := strings.Split(p.a, "/"), strings.Split(p.b, "/")
	for i := range min(len(a), len(b)) {
		if a[i] == b[i] {
			continue
		}
		if _, err := in.Make(a[i]); err != nil {
			return false, err
		}
		_, err := in.Stat(b[i])
		if e := in.RemoveTrial(a[i]); e != nil {
			return false, e
		}
		if errors.Is(err, fs.ErrNotExist) {
			return false, nil
		}
		if err != nil {
			return false, err
		}
	}
	return true, nil
}

// removeProbe takes the folder for trying names away, with whatever empty folders an interrupted trial left in it.
func removeProbe(top *device.Folder, probe string) error {
	folder, err := top.Sub(probe)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	var left []string
	err = folder.List(func(name string, _ device.Stat) error { left = append(left, name); return nil })
	for _, name := range left {
		err = errors.Join(err, folder.RemoveTrial(name))
	}
	err = errors.Join(err, folder.Close())
	if err != nil {
		return err
	}
	return top.RemoveTempFolder(probe)
}
