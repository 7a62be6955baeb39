package media

import "twobin/guard"

// wakes is how often a drive that does not answer is asked, each time as long as the identifier has patience: a disk that
// sleeps needs several seconds until it turns. Own choice.
const wakes = 4

// patient gives a sleeping drive time to wake up, whatever is asked of it: before a copy, at a look, before an erase.
type patient struct{ guard.Identifier }

// Identify asks again while the drive does not answer.
func (p patient) Identify(path string) (v guard.Volume, err error) {
	for range wakes {
		if v, err = p.Identifier.Identify(path); kindOf(err) != guard.KindStalled {
			break
		}
	}
	return v, err
}
