package guard

import (
	"strings"
	"testing"
)

// A drive without an identity keeps the lock closed, and is not said to be another one.
func TestADriveWithoutIdentityIsNotCalledAnother(t *testing.T) {
	t.Parallel()
	const nameless, another = "SHUTTLE cannot be told from other drives", "another volume is where SHUTTLE was"
	for _, c := range []struct{ then, now, says string }{
		{"", "", nameless}, {"", "uuid:a", another}, {"uuid:a", "", another}, {"uuid:a", "uuid:b", another},
	} {
		a := allGood()
		a.p.Copies[0].Volume.ID, a.l.Copies[0].Volume.ID = c.then, c.now
		a.seal()
		v := a.verdict()
		if l5 := v.Conditions[4]; v.Open() || l5.Holds || !strings.HasPrefix(l5.Says, c.says) || l5.Do == "" {
			t.Errorf("identity %q, now %q: %+v", c.then, c.now, l5)
		}
	}
}
