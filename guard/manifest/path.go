package manifest

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"
)

// maxPath is the longest path taken from a manifest or list, in bytes. Linux stops at 4,096 and the others lower or at
// 32,767 UTF-16 units; anything longer is no path.
const maxPath = 64 << 10

// ErrPath says that a path in a manifest or list is not one below its folder: absolute, climbing, empty, with a drive
// letter or a NUL. Nothing of such a manifest is used.
var ErrPath = errors.New("unsafe path")

// CheckPath tells whether p may be used below a folder: relative, separated by '/', no empty, "." or ".." component, no
// drive letter, no NUL. A backslash is an ordinary character. The error wraps [ErrPath].
func CheckPath(p string) error {
	bad := func(why string) error { return fmt.Errorf("%w %.200q: %s", ErrPath, p, why) }
	switch {
	case p == "":
		return bad("empty")
	case len(p) > maxPath:
		return bad("too long")
	case strings.IndexByte(p, 0) >= 0:
		return bad("holds a NUL")
	case p[0] == '/':
		return bad("absolute")
	case len(p) >= 2 && p[1] == ':' && isLetter(p[0]) && (len(p) == 2 || p[2] == '/' || p[2] == '\\'):
		return bad("drive letter")
	}
	for c := range strings.SplitSeq(p, "/") {
		switch c {
		case "":
			return bad("empty component")
		case ".", "..":
			return bad("component " + c)
		}
	}
	return nil
}

func isLetter(b byte) bool { return 'a' <= b|0x20 && b|0x20 <= 'z' }

// Recordable tells whether a name can stand in an XML 1.0 document unaltered: valid UTF-8, and only characters of
// production [2] of that recommendation (no control characters but tab, line feed and carriage return; not U+FFFE or
// U+FFFF).
func Recordable(name string) bool {
	if !utf8.ValidString(name) {
		return false
	}
	for _, r := range name {
		switch {
		case r == '\t' || r == '\n' || r == '\r':
		case r < 0x20 || r == 0xFFFE || r == 0xFFFF:
			return false
		}
	}
	return true
}

// pathLess orders paths depth first: what is below a folder comes before its longer-named neighbours, so every folder's
// contents stand together. It is byte order with '/' taken as the lowest byte.
func pathLess(a, b string) bool {
	n := min(len(a), len(b))
	for i := range n {
		if a[i] != b[i] {
			if a[i] == '/' {
				return true
			}
			return b[i] != '/' && a[i] < b[i]
		}
	}
	return len(a) < len(b)
}

// parentOf is the folder part of a path, "" for a name directly below the root.
func parentOf(p string) string {
	if i := strings.LastIndexByte(p, '/'); i >= 0 {
		return p[:i]
	}
	return ""
}

// under tells whether p lies below folder dir ("" is the root, above everything).
func under(p, dir string) bool {
	return dir == "" || len(p) > len(dir) && p[len(dir)] == '/' && p[:len(dir)] == dir
}
