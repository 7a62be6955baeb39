package manifest

import (
	"fmt"
	"path"
	"slices"
	"strings"
)

// DefaultIgnore is the list that the published sample histories carry, in their order.
func DefaultIgnore() []string { return []string{".DS_Store", "ascmhl", "ascmhl/"} }

// Ignore decides which items of a folder tree stay out of its history. The pattern language is not in the texts we
// have; this one reads them as a small part of what gitignore files know: '*' and '?' (neither matches '/'), a slash at
// the end for folders only, a slash at the start for "directly from the root", and no slash for "this name anywhere".
// A pattern with a slash in the middle is anchored too. The zero value ignores nothing but folders named ascmhl.
type Ignore struct {
	patterns []pattern
}

type pattern struct {
	text               string
	dirOnly, wholePath bool
}

// NewIgnore takes patterns as written in manifests. A pattern that uses more than is understood ('!', '**', '[', '\')
// is left out of force and named in the warnings: it must not hide media by surprise.
func NewIgnore(patterns []string) (ig Ignore, warnings []string) {
	for _, p := range patterns {
		if strings.ContainsAny(p, "[\\") || strings.HasPrefix(p, "!") || strings.HasPrefix(p, "#") || strings.Contains(p, "**") {
			warnings = append(warnings, fmt.Sprintf("ignore pattern %.200q is not understood and not applied", p))
			continue
		}
		q := pattern{text: p}
		q.text, q.dirOnly = strings.CutSuffix(q.text, "/")
		q.wholePath = strings.Contains(q.text, "/")
		q.text = strings.TrimPrefix(q.text, "/")
		if q.text == "" || strings.Trim(q.text, "*") == "" {
			warnings = append(warnings, fmt.Sprintf("ignore pattern %.200q would hide everything and is not applied", p))
			continue
		}
		ig.patterns = append(ig.patterns, q)
	}
	return ig, warnings
}

// Match tells whether the item at path p (relative to the history's folder) is ignored. Items below an ignored folder
// are not asked for: the walk does not enter it.
func (ig Ignore) Match(p string, dir bool) bool {
	name := path.Base(p)
	if dir && name == Folder {
		return true
	}
	for _, q := range ig.patterns {
		if q.dirOnly && !dir {
			continue
		}
		against := name
		if q.wholePath {
			against = p
		}
		// The pattern has no '[' or '\', so it cannot be malformed.
		if ok, _ := path.Match(q.text, against); ok {
			return true
		}
	}
	return false
}

// Ignored tells whether a file, or any folder above it, is left out.
func (ig Ignore) Ignored(file string) bool {
	for i := range len(file) {
		if file[i] == '/' && ig.Match(file[:i], true) {
			return true
		}
	}
	return ig.Match(file, false)
}

// MergePatterns keeps old in their order and adds what is new.
func MergePatterns(old, add []string) []string {
	out := slices.Clone(old)
	for _, p := range add {
		if !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	return out
}
