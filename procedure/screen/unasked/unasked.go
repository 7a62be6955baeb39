// Package unasked keeps the screen library from asking the terminal for its background colour before main, in every
// subcommand: a terminal that does not answer would cost five seconds at every start.
//
// The library asks in an init of its own, and leaves it where TERM is "dumb". So TERM is "dumb" while packages are
// initialized, and main puts it back with [Restore]. The order is the language's: of all packages whose imports are
// initialized, the first by import path comes next (Go specification, "Program initialization"). This one imports
// syscall alone, which needs no package behind "twobin" in that order; the library needs strings, and so unicode/utf8,
// which does come behind. A test starts the program on a terminal that never answers.
package unasked

import "syscall"

const name = "TERM"

// term is what the variable held, and whether it was set.
var term, set = hush()

func hush() (string, bool) {
	was, ok := syscall.Getenv(name)
	_ = syscall.Setenv(name, "dumb") // at worst the library asks
	return was, ok
}

// Restore gives the environment back as it was. To be called first in main.
func Restore() {
	if set {
		_ = syscall.Setenv(name, term) // it held this value before
		return
	}
	_ = syscall.Unsetenv(name) // only a malformed name fails
}
