//go:build linux || darwin

package guard

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// race is something that happens to the card while it is erased. do returns the files that must survive whatever comes,
// and those that must survive unless it happened right before their own removal (that gap no system can close).
type race struct {
	name string
	do   func(t *testing.T, r *rig, outside string) (always map[string]string, but map[string]string)
}

const twins = "a file is swapped for one of same size and time"

// races are done at paths of cardTree.
func races() []race {
	one := func(path, text string) map[string]string { return map[string]string{path: text} }
	return []race{
		{"a file appears", func(t *testing.T, r *rig, _ string) (always, but map[string]string) {
			path := filepath.Join(r.root, "CLIPS/A001/new.mov")
			plant(t, path, "NEW", false)
			return one(path, "NEW"), nil
		}},
		{"a file appears at the top", func(t *testing.T, r *rig, _ string) (always, but map[string]string) {
			path := filepath.Join(r.root, "zzz")
			plant(t, path, "NEW", false)
			return one(path, "NEW"), nil
		}},
		{"a file grows", func(t *testing.T, r *rig, _ string) (always, but map[string]string) {
			path := filepath.Join(r.root, "CLIPS/A001/b.mov")
			plant(t, path, "bbbbbbNEW", false) // or appears again after it went
			return nil, one(path, "bbbbbbNEW")
		}},
		{"a file is written over, same size", func(t *testing.T, r *rig, _ string) (always, but map[string]string) {
			path := filepath.Join(r.root, "CLIPS/c.mov")
			plant(t, path, "N", false)
			return nil, one(path, "N")
		}},
		{twins, func(t *testing.T, r *rig, outside string) (always, but map[string]string) {
			path, twin := filepath.Join(r.root, "CLIPS/A001/b.mov"), filepath.Join(outside, "twin")
			plant(t, twin, "NEWNEW", false)
			for _, f := range r.p.Files {
				if f.Path == "CLIPS/A001/b.mov" {
					setTime(t, twin, f.MTime)
				}
			}
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.Rename(twin, path); err != nil {
				t.Fatal(err)
			}
			return nil, one(path, "NEWNEW")
		}},
		{"a file becomes a link", func(t *testing.T, r *rig, outside string) (always, but map[string]string) {
			path, target := filepath.Join(r.root, "CLIPS/A001/b.mov"), filepath.Join(outside, "b.mov")
			plant(t, target, "bbbbbb", false)
			_ = os.Remove(path)
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(target, path); err != nil {
				t.Fatal(err)
			}
			return one(target, "bbbbbb"), nil
		}},
		{"a folder becomes a link to a twin elsewhere", func(t *testing.T, r *rig, outside string) (always, but map[string]string) {
			always = map[string]string{}
			for _, f := range r.p.Files {
				if filepath.Dir(f.Path) != "CLIPS/A001" {
					continue
				}
				target := filepath.Join(outside, "A001", filepath.Base(f.Path))
				plant(t, target, cardTree[f.Path], false)
				setTime(t, target, f.MTime)
				always[target] = cardTree[f.Path]
			}
			if err := os.MkdirAll(filepath.Join(r.root, "CLIPS"), 0o755); err != nil {
				t.Fatal(err)
			}
			dir := filepath.Join(r.root, "CLIPS/A001")
			_ = os.Rename(dir, filepath.Join(outside, "moved"))
			if err := os.Symlink(filepath.Join(outside, "A001"), dir); err != nil {
				t.Fatal(err)
			}
			return always, nil
		}},
		{"the card's folder is moved away, another comes", func(t *testing.T, r *rig, outside string) (always, but map[string]string) {
			if err := os.Rename(r.root, filepath.Join(outside, "pulled")); err != nil {
				t.Fatal(err)
			}
			always = map[string]string{}
			for path, text := range cardTree {
				if path != "EMPTY/" {
					plant(t, filepath.Join(r.root, path), text, false)
					always[filepath.Join(r.root, path)] = text
				}
			}
			return always, nil
		}},
	}
}

// TestInvariant6Races lets each of these things happen before every single call of an erase: nothing unproven is ever
// removed, and unless all was over the erase does not say that the card is empty when it is not.
func TestInvariant6Races(t *testing.T) {
	all := callsOf(t)
	tried := 0
	for _, race := range races() {
		for n := range all {
			if testing.Short() && n%5 != 0 {
				continue
			}
			base := t.TempDir()
			outside := filepath.Join(base, "outside")
			plant(t, outside, "", true)
			r := newRig(t, filepath.Join(base, "card"), cardTree)
			var always, but map[string]string
			var at call
			i := 0
			spied(&r.job, func(c call) error {
				if i++; i == n+1 {
					at = c
					always, but = race.do(t, r, outside)
				}
				return nil
			})
			done, err := Erase(t.Context(), r.permit(t), r.job)
			tried++
			name := fmt.Sprintf("%s before call %d, %v", race.name, n, at)
			survive(t, name, always)
			for path, text := range but {
				// A twin of same name, size and time that is there before the listing is the proven file by the rule.
				asProven := race.name == twins && n <= slices.Index(all, call{"stat", rel(r, path)})
				if at != (call{"remove file", rel(r, path)}) && !asProven {
					survive(t, name, map[string]string{path: text})
				}
			}
			if left := contents(t, r.root); err == nil && len(left) != 0 && race.name != "the card's folder is moved away, another comes" &&
				i > n+1 && !lastListing(all, n) {
				t.Errorf("%s: done %+v, but left %q", name, done, left)
			}
		}
	}
	t.Logf("figure: erase races = %d", tried)
}

// lastListing: call n belongs to the listing that proves the card empty, which can only see what was there by then.
func lastListing(all []call, n int) bool {
	for i, c := range all {
		if c.op == "sync" {
			return n > i
		}
	}
	return false
}

func rel(r *rig, path string) string {
	p, err := filepath.Rel(r.root, path)
	if err != nil {
		return path
	}
	return p
}

// survive: every file is there with its contents.
func survive(t *testing.T, name string, files map[string]string) {
	t.Helper()
	for path, text := range files {
		if b, err := os.ReadFile(path); err != nil || string(b) != text {
			t.Errorf("%s: %s was removed or changed: %q, %v", name, path, b, err)
		}
	}
}
