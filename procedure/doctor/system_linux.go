package doctor

import "golang.org/x/sys/unix"

// synced asks the kernel whether a time service holds the clock (adjtimex(2) with no mode: it only reads).
func synced() Answer {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	switch {
	case err != nil:
		return Unknown
	case state == unix.TIME_ERROR || t.Status&unix.STA_UNSYNC != 0:
		return No
	}
	return Yes
}
