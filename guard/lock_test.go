package guard

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

// asked is everything that the lock is asked with.
type asked struct {
	p   *Proof
	f   Facts
	l   *Look
	pol Policy
	now time.Time
}

func (a *asked) verdict() Verdict { return Lock(a.p, a.f, a.l, a.pol, a.now) }

// seal makes the journal's and the look's digest fit the proof again, so that a test can break something else.
func (a *asked) seal() {
	sum, err := a.p.Digest()
	if err != nil {
		panic(err)
	}
	a.f.ProofSHA, a.l.Proof = sum, sum
}

// allGood is a roll of three files on three destinations for which every condition holds.
func allGood() *asked {
	began := time.Date(2024, 5, 4, 11, 0, 0, 0, time.FixedZone("", 3600))
	card := Volume{Mount: "/media/card", Device: "/dev/sdc1", FSType: "exfat", ID: "uuid:CARD", Disk: "sdc", Dev: 33}
	p := &Proof{
		Label: "A003", Card: card, Began: began, Ended: began.Add(time.Minute), Dirs: []string{"CLIPS", "CLIPS/X"},
		Files: []File{
			{Entry{"CLIPS/X/a.mov", 100, 1e18}, 11}, {Entry{"CLIPS/b.mov", 200, 2e18}, 22}, {Entry{"index.xml", 0, 3e18}, 33},
		},
	}
	l := &Look{At: began.Add(time.Hour), Card: card, Listing: p.Listing()}
	l.Card.Mount, l.Card.Dev = "/media/card1", 44 // seated again: another mount, the same card
	for i, name := range []string{"SHUTTLE", "RAID", "THIRD"} {
		v := Volume{Mount: "/media/" + name, ID: "uuid:" + name, Disk: "sd" + string(rune('x'+i)), Dev: uint64(50 + i)}
		c := Copy{Name: name, Path: v.Mount, Folder: "P/A003", Volume: v, Honesty: FromDevice, LastWrite: began.Add(10), ReadFrom: began.Add(20)}
		found := CopyLook{Name: name, Mounted: true, Volume: v, Held: len(p.Files)}
		for n, f := range p.Files {
			c.Back = append(c.Back, Back{f.Hash, true})
			found.Rehashed = append(found.Rehashed, Rehash{n, f.Hash, FromDevice})
		}
		p.Copies = append(p.Copies, c)
		l.Copies = append(l.Copies, found)
	}
	a := &asked{p: p, l: l, pol: DefaultPolicy(), now: l.At.Add(30 * time.Second)}
	a.f = Facts{Label: "A003", Looked: true, LookedBy: "Kim", Operator: "Kim", Marked: true, Binned: true, JournalWhole: true}
	a.seal()
	return a
}

// simulate turns everything into a drill.
func simulate(a *asked) {
	a.f.Drill, a.p.Card.Simulated, a.l.Card.Simulated = true, true, true
	for i := range a.p.Copies {
		a.p.Copies[i].Honesty, a.p.Copies[i].Volume.Simulated = FromSimulated, true
		a.l.Copies[i].Volume.Simulated = true
		for n := range a.l.Copies[i].Rehashed {
			a.l.Copies[i].Rehashed[n].Honesty = FromSimulated
		}
	}
	a.seal()
}

func TestLockOpensWhenAllHolds(t *testing.T) {
	tests := []struct {
		name   string
		change func(a *asked)
	}{
		{"as it is", func(*asked) {}},
		{"a drill", simulate},
		{"young to the last nanosecond", func(a *asked) { a.now = a.l.At.Add(a.pol.EraseWithin - 1) }},
		{"at once", func(a *asked) { a.now = a.l.At }},
		{"a condemned third copy", func(a *asked) { a.p.Copies[2].Fault = "full"; a.l.Copies = a.l.Copies[:2]; a.seal() }},
		{"every file wanted and hashed", func(a *asked) { a.pol.Recheck = RecheckFull }},
		{"lost+found came on ext4", func(a *asked) {
			a.l.Card.FSType = "ext4"
			a.l.Listing.Dirs = append([]string{"lost+found"}, a.l.Listing.Dirs...)
		}},
		{"two of three share a device, two are wanted", func(a *asked) {
			a.p.Copies[2].Volume.Disk, a.l.Copies[2].Volume.Disk = "sdy", "sdy"
			a.seal()
		}},
		{"the third drive's device is not known", func(a *asked) {
			a.p.Copies[2].Volume.Disk, a.l.Copies[2].Volume.Disk = "", ""
			a.seal()
		}},
	}
	for _, tt := range tests {
		a := allGood()
		tt.change(a)
		v := a.verdict()
		if !v.Open() {
			t.Errorf("%s: closed: %+v", tt.name, v.Conditions)
		}
		if permit, err := v.Permit(a.p, a.f, a.l, a.pol, a.now); permit == nil || err != nil {
			t.Errorf("%s: Permit = %v, %v", tt.name, permit, err)
		}
		for _, c := range v.Conditions {
			checkWords(t, tt.name, c)
		}
	}
}

// checkWords: what the operator reads fits the screen and never has the label that has to be typed.
func checkWords(t *testing.T, name string, c Condition) {
	t.Helper()
	if c.Says == "" || (c.Do == "") != c.Holds {
		t.Errorf("%s: %s says %q, do %q: one of them is wrong", name, c.ID, c.Says, c.Do)
	}
	for _, s := range []string{c.Says, c.Do} {
		if utf8.RuneCountInString(s) > 76 || strings.Contains(s, "A003") || strings.ContainsAny(s, "\n\x1b!") {
			t.Errorf("%s: %s has %q: too long, has the label, or does not belong on a screen", name, c.ID, s)
		}
	}
}

// breakage makes conditions false. only lists exactly which.
type breakage struct {
	name   string
	only   string
	change func(a *asked)
}

// breakages has every single thing that closes the lock.
func breakages() []breakage {
	reseal := func(change func(a *asked)) func(a *asked) { return func(a *asked) { change(a); a.seal() } }
	return []breakage{
		{"not looked", "L1", func(a *asked) { a.f.Looked = false }},
		{"not marked", "L1", func(a *asked) { a.f.Marked = false }},
		{"not binned", "L1", func(a *asked) { a.f.Binned = false }},
		{"another operator", "L1", func(a *asked) { a.f.Operator = "Lee" }},
		{"looked by nobody", "L1", func(a *asked) { a.f.LookedBy, a.f.Operator = "", "" }},

		{"another card", "L2", func(a *asked) { a.l.Card.ID = "uuid:OTHER" }},
		{"card without identity", "L2", func(a *asked) { a.l.Card.ID = "" }},
		{"neither card has an identity", "L2", reseal(func(a *asked) { a.l.Card.ID, a.p.Card.ID = "", "" })},
		{"card unreadable", "L2", func(a *asked) { a.l.Err = "input/output error" }},
		{"simulated card in a shift", "L2", func(a *asked) { a.l.Card.Simulated = true }},
		{"real card in a drill", "L2", func(a *asked) { simulate(a); a.l.Card.Simulated = false }},
		{"a new file", "L2", func(a *asked) { a.l.Listing.Files = append(a.l.Listing.Files, Entry{"new", 1, 1}) }},
		{"a file named twice", "L2", func(a *asked) { a.l.Listing.Files = append(a.l.Listing.Files, a.l.Listing.Files[2]) }},
		{"a file less", "L2", func(a *asked) { a.l.Listing.Files = a.l.Listing.Files[:2] }},
		{"a file grown", "L2", func(a *asked) { a.l.Listing.Files[1].Size++ }},
		{"a file touched", "L2", func(a *asked) { a.l.Listing.Files[1].MTime++ }},
		{"a file renamed", "L2", func(a *asked) { a.l.Listing.Files[2].Path = "Index.xml" }},
		{"a new folder", "L2", func(a *asked) { a.l.Listing.Dirs = append(a.l.Listing.Dirs, "NEW") }},
		{"a folder less", "L2", func(a *asked) { a.l.Listing.Dirs = a.l.Listing.Dirs[:1] }},
		{"a link", "L2", func(a *asked) { a.l.Listing.Odd = []string{"link"} }},
		{"lost+found on exfat", "L2", func(a *asked) { a.l.Listing.Dirs = append(a.l.Listing.Dirs, "lost+found") }},
		{"an empty card", "L2", func(a *asked) { a.l.Listing = Listing{} }},

		{"no proof", "L2 L3 L4 L5", func(a *asked) { a.p = nil }},
		{"another roll's proof", "L2 L3 L4 L5", reseal(func(a *asked) { a.p.Label = "A004" })},
		{"a proof without label", "L2 L3 L4 L5 L6", reseal(func(a *asked) { a.p.Label, a.f.Label = "", "" })},
		{"not the journal's proof", "L2 L3 L4 L5", func(a *asked) { a.p.Ended = a.p.Ended.Add(1) }},
		{"no proof journaled", "L2 L3 L4 L5", func(a *asked) { a.f.ProofSHA, a.l.Proof = "", "" }},
		{"a proof of nothing", "L2 L3 L4 L5", reseal(func(a *asked) {
			a.p.Files, a.l.Listing.Files = nil, nil
			for i := range a.p.Copies {
				a.p.Copies[i].Back, a.l.Copies[i].Rehashed, a.l.Copies[i].Held = nil, nil, 0
			}
		})},
		{"a proof that contradicts itself", "L2 L3 L4 L5", func(a *asked) { a.p.Files[0].Path = "../x"; a.l.Listing = a.p.Listing() }},
		{"a proof that contradicts itself, and none journaled", "L2 L3 L4 L5", func(a *asked) {
			a.p.Files[0].Path, a.f.ProofSHA, a.l.Proof = "../x", "", ""
			a.l.Listing = a.p.Listing()
		}},
		{"a drill's proof", "L2 L3 L4 L5", reseal(func(a *asked) { a.p.Card.Simulated = true })},
		{"a shift's proof in a drill", "L2 L3 L4 L5", reseal(func(a *asked) { simulate(a); a.p.Card.Simulated = false })},

		{"proven on one only", "L3 L4", reseal(func(a *asked) { a.p.Copies = a.p.Copies[:1] })},
		{"condemned", "L3 L4", reseal(func(a *asked) { a.p.Copies[0].Fault, a.p.Copies[1].Fault = "x", "y" })},
		{"one read-back differs on two", "L3 L4", reseal(func(a *asked) { a.p.Copies[0].Back[2].Hash++; a.p.Copies[2].Back[0].Hash++ })},
		{"one read-back lacking on two", "L3 L4", reseal(func(a *asked) { a.p.Copies[0].Back[2].OK = false; a.p.Copies[1].Back = a.p.Copies[1].Back[:2] })},
		{"read from the cache", "L3 L4", reseal(func(a *asked) { a.p.Copies[0].Honesty, a.p.Copies[1].Honesty = NotPastCache, NotPastCache })},
		{"read before the last write", "L3 L4", reseal(func(a *asked) {
			for i := range a.p.Copies[:2] {
				a.p.Copies[i].ReadFrom = a.p.Copies[i].LastWrite.Add(-1)
			}
		})},
		{"three wanted, two proven", "L3 L4", reseal(func(a *asked) { a.pol.Destinations, a.p.Copies[2].Fault = 3, "x" })},
		{"simulated copies in a shift", "L3 L4 L5", reseal(func(a *asked) {
			for i := range a.p.Copies {
				a.p.Copies[i].Honesty, a.p.Copies[i].Volume.Simulated = FromSimulated, true
			}
		})},

		{"one device then", "L4", reseal(func(a *asked) {
			for i := range a.p.Copies {
				a.p.Copies[i].Volume.Disk = "sdx"
			}
		})},
		{"one device now", "L4", func(a *asked) {
			for i := range a.l.Copies {
				a.l.Copies[i].Volume.Disk = "sdx"
			}
		}},
		{"tied by a third", "L4", reseal(func(a *asked) {
			a.p.Copies[0].Volume.Disk, a.p.Copies[1].Volume.Disk, a.p.Copies[2].Volume.Disk = "sdx", "sdy", "sdx+sdy"
		})},
		{"devices unknown then", "L4", reseal(func(a *asked) { a.p.Copies[0].Volume.Disk, a.p.Copies[1].Volume.Disk = "", "" })},
		{"devices unknown now", "L4", func(a *asked) { a.l.Copies[0].Volume.Disk, a.l.Copies[1].Volume.Disk = "", "" }},
		{"on the card's device then", "L4", reseal(func(a *asked) { a.p.Copies[2].Volume.Disk = "sdc" })},
		{"on the card's device now", "L4", func(a *asked) { a.l.Copies[2].Volume.Disk = "sdc+sdq" }},
		{"card's device unknown then", "L4", reseal(func(a *asked) { a.p.Card.Disk = "" })},
		{"card's device unknown now", "L4", func(a *asked) { a.l.Card.Disk = "" }},
		{"three wanted, two devices", "L4", reseal(func(a *asked) { a.pol.Destinations = 3; a.p.Copies[1].Volume.Disk = "sdx" })},

		{"a copy not looked at", "L5", func(a *asked) { a.l.Copies = a.l.Copies[:2] }},
		{"a copy looked at twice", "L5", func(a *asked) { a.l.Copies = append(a.l.Copies, a.l.Copies[0]) }},
		{"not mounted", "L5", func(a *asked) { a.l.Copies[1].Mounted = false }},
		{"another volume", "L5", func(a *asked) { a.l.Copies[1].Volume.ID = "uuid:OTHER" }},
		{"volumes without identity", "L5", reseal(func(a *asked) { a.l.Copies[1].Volume.ID, a.p.Copies[1].Volume.ID = "", "" })},
		{"a simulated volume now", "L5", func(a *asked) { a.l.Copies[1].Volume.Simulated = true }},
		{"a fault", "L5", func(a *asked) { a.l.Copies[2].Err = "input/output error" }},
		{"a file missing", "L5", func(a *asked) { a.l.Copies[2].Held--; a.l.Copies[2].Missing++ }},
		{"a missing file, miscounted", "L5", func(a *asked) { a.l.Copies[2].Missing++ }},
		{"a file of wrong size", "L5", func(a *asked) { a.l.Copies[2].WrongSize++ }},
		{"files not counted", "L5", func(a *asked) { a.l.Copies[2].Held = 0 }},
		{"a hash differs", "L5", func(a *asked) { a.l.Copies[0].Rehashed[1].Hash++ }},
		{"hashed from the cache", "L5", func(a *asked) { a.l.Copies[0].Rehashed[1].Honesty = NotPastCache }},
		{"hashed from a simulated drive", "L5", func(a *asked) { a.l.Copies[0].Rehashed[1].Honesty = FromSimulated }},
		{"hashed really in a drill", "L5", func(a *asked) { simulate(a); a.l.Copies[0].Rehashed[1].Honesty = FromDevice }},
		{"nothing hashed again", "L5", func(a *asked) { a.l.Copies[0].Rehashed = nil }},
		{"too few hashed again", "L5", func(a *asked) { a.l.Copies[0].Rehashed = a.l.Copies[0].Rehashed[:2] }},
		{"one hashed twice", "L5", func(a *asked) { a.l.Copies[0].Rehashed[2] = a.l.Copies[0].Rehashed[1] }},
		{"no such file", "L5", func(a *asked) { a.l.Copies[0].Rehashed[2].File = 3 }},
		{"no such file, negative", "L5", func(a *asked) { a.l.Copies[0].Rehashed[2].File = -1 }},
		{"the look was for another proof", "L5", func(a *asked) { a.l.Proof = strings.Repeat("0", 64) }},

		{"on hold", "L6", func(a *asked) { a.f.Holds = []string{"count differs"} }},
		{"on hold twice, without words", "L6", func(a *asked) { a.f.Holds = []string{"", ""} }},
		{"journal not whole", "L7", func(a *asked) { a.f.JournalWhole = false }},
		{"journal at fault", "L7", func(a *asked) { a.f.JournalFault = "line 7" }},

		{"too old", "L8", func(a *asked) { a.now = a.l.At.Add(a.pol.EraseWithin) }},
		{"from the future", "L8", func(a *asked) { a.now = a.l.At.Add(-1) }},
		{"disturbed", "L8", func(a *asked) { a.f.Disturbed = true }},
		{"time unknown", "L8", func(a *asked) { a.l.At = time.Time{}; a.now = time.Time{} }},
		{"too old for a stricter policy", "L8", func(a *asked) { a.pol.EraseWithin = 10 * time.Second }},
		{"an impossible policy", "L8", func(a *asked) { a.pol.EraseWithin = -1 }},

		{"no look", "L2 L4 L5 L8", func(a *asked) { a.l = nil }},
		{"an empty look", "L2 L4 L5 L8", func(a *asked) { a.l = &Look{} }},
		{"no facts", "L1 L2 L3 L4 L5 L6 L7", func(a *asked) { a.f = Facts{} }},
		{"nothing at all", "L1 L2 L3 L4 L5 L6 L7 L8", func(a *asked) { *a = asked{} }},
	}
}

// TestInvariant5LockClosed: each single false thing keeps the lock closed, under its own condition and no other, and no
// permit is given.
func TestInvariant5LockClosed(t *testing.T) {
	covered := map[string]bool{}
	for _, tt := range breakages() {
		a := allGood()
		tt.change(a)
		v := a.verdict()
		var ids []string
		for _, c := range v.Conditions {
			if !c.Holds {
				ids = append(ids, c.ID)
				covered[c.ID] = true
			}
			checkWords(t, tt.name, c)
		}
		if got := strings.Join(ids, " "); v.Open() || got != tt.only {
			t.Errorf("%s: open %v, closed by %q, want by %q", tt.name, v.Open(), got, tt.only)
		}
		if permit, err := v.Permit(a.p, a.f, a.l, a.pol, a.now); permit != nil || !errors.Is(err, ErrClosed) {
			t.Errorf("%s: Permit = %v, %v, want ErrClosed", tt.name, permit, err)
		}
	}
	if len(covered) != len(conditionIDs) {
		t.Errorf("conditions covered: %v", covered)
	}
}

// TestInvariant5NoWayAround: a verdict that somebody wrote by hand, or kept, yields no permit.
func TestInvariant5NoWayAround(t *testing.T) {
	open := allGood().verdict()
	for _, tt := range breakages() {
		a := allGood()
		tt.change(a)
		if permit, err := open.Permit(a.p, a.f, a.l, a.pol, a.now); permit != nil || !errors.Is(err, ErrClosed) {
			t.Errorf("%s: an open verdict of before gave %v, %v", tt.name, permit, err)
		}
	}
	a := allGood()
	for name, v := range map[string]Verdict{
		"zero":         {},
		"no condition": {Label: "A003", Conditions: []Condition{}},
		"one lacking":  {Label: "A003", Conditions: open.Conditions[:7]},
		"one twice":    {Label: "A003", Conditions: append(slices.Clone(open.Conditions[:7]), open.Conditions[0])},
		"one too many": {Label: "A003", Conditions: append(slices.Clone(open.Conditions), open.Conditions[0])},
		"other roll":   {Label: "A004", Conditions: open.Conditions},
	} {
		if permit, err := v.Permit(a.p, a.f, a.l, a.pol, a.now); permit != nil || !errors.Is(err, ErrClosed) {
			t.Errorf("%s verdict: Permit = %v, %v, want ErrClosed", name, permit, err)
		}
	}
}

// TestInvariant5PolicyOnlyStricter: no policy opens a lock that the default keeps closed.
func TestInvariant5PolicyOnlyStricter(t *testing.T) {
	lax := []Policy{
		{}, {Destinations: 1, Recheck: RecheckSample, EraseWithin: time.Hour}, {Destinations: -1, SampleFiles: -1, SampleBytes: -1},
		{Destinations: 2, Recheck: Recheck(77), EraseWithin: 1 << 62}, {SampleFiles: 1, SampleBytes: 1, Recheck: RecheckSample},
	}
	for _, tt := range breakages() {
		for _, pol := range lax {
			a := allGood()
			tt.change(a)
			if !reflect.DeepEqual(a.pol, DefaultPolicy()) { // the breakage is the policy's own strictness
				continue
			}
			if v := Lock(a.p, a.f, a.l, pol, a.now); v.Open() {
				t.Errorf("%s: open under %+v", tt.name, pol)
			}
		}
	}
}

// TestLockSays: what the operator reads, where the same condition has several reasons.
func TestLockSays(t *testing.T) {
	tests := []struct {
		id, says, detail string
		change           func(a *asked)
	}{
		{"L2", "1 new, 1 missing, 1 changed, 1 odd", "CLIPS/X/a.mov", func(a *asked) {
			a.l.Listing.Files[0].Path, a.l.Listing.Odd = "zzz", []string{"odd"}
			a.l.Listing.Files[1].Size++
		}},
		{"L2", "the card does not hold what was proven: 1 changed", "index.xml", func(a *asked) { a.l.Listing.Files[2].Size++ }},
		{"L3", "there is no proof of this roll", "", func(a *asked) { a.p = nil }},
		{"L3", "the proof is another roll's", "A004", func(a *asked) { a.p.Label = "A004" }},
		{"L3", "the proof is damaged", `file "../x"`, func(a *asked) { a.p.Files[0].Path = "../x" }},
		{"L4", "the card's device is not known", "now", func(a *asked) { a.l.Card.Disk = "" }},
		{"L5", "RAID is not there", "input/output error", func(a *asked) { a.l.Copies[1] = CopyLook{Name: "RAID", Err: "input/output error"} }},
		{"L5", "A destination with …", "", func(a *asked) { a.p.Copies[1].Name = "A destination with a long name"; a.seal() }},
		{"L5", "A destination of 20c is not there", "", func(a *asked) { a.p.Copies[1].Name = "A destination of 20c"; a.seal() }},
		{"L6", "on hold (1 reason open)", "count differs", func(a *asked) { a.f.Holds = []string{"count differs"} }},
		{"L6", "on hold (2 reasons open)", "a; b", func(a *asked) { a.f.Holds = []string{"a", "b"} }},
		{"L8", "there is no fresh look", "", func(a *asked) { a.l.At = time.Time{} }},
	}
	for _, tt := range tests {
		a := allGood()
		tt.change(a)
		v := a.verdict()
		i := slices.Index(conditionIDs[:], tt.id)
		if c := v.Conditions[i]; c.Holds || !strings.Contains(c.Says, tt.says) || !strings.Contains(c.Detail, tt.detail) {
			t.Errorf("%+v, want it to say %q and detail %q", c, tt.says, tt.detail)
		}
		// The error of a permit names the first condition that does not hold.
		first := v.Conditions[slices.IndexFunc(v.Conditions, func(c Condition) bool { return !c.Holds })]
		if _, err := v.Permit(a.p, a.f, a.l, a.pol, a.now); err == nil || !strings.Contains(err.Error(), first.ID+": "+first.Says) {
			t.Errorf("Permit: %v, want it to say %q", err, first.Says)
		}
	}
}

func TestPermitIsSingleAndExpires(t *testing.T) {
	a := allGood()
	permit, err := a.verdict().Permit(a.p, a.f, a.l, a.pol, a.now)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := permit.Deadline(), a.l.At.Add(time.Minute); !got.Equal(want) {
		t.Errorf("Deadline = %s, want %s", got, want)
	}
	if err := permit.valid(permit.Deadline().Add(-1)); err != nil {
		t.Errorf("before the deadline: %v", err)
	}
	if err := permit.valid(permit.Deadline()); !errors.Is(err, ErrExpired) {
		t.Errorf("at the deadline: %v, want ErrExpired", err)
	}
	if err := permit.valid(a.l.At.Add(-1)); !errors.Is(err, ErrExpired) {
		t.Errorf("clock went back: %v, want ErrExpired", err)
	}
	if err := permit.take(); err != nil {
		t.Errorf("first use: %v", err)
	}
	if err := permit.take(); !errors.Is(err, ErrUsed) {
		t.Errorf("second use: %v, want ErrUsed", err)
	}
	permit.Void()
	if err := permit.valid(a.now); !errors.Is(err, ErrVoid) {
		t.Errorf("voided: %v, want ErrVoid", err)
	}
	for _, none := range []*Permit{nil, {}, new(Permit)} {
		if err := none.take(); !errors.Is(err, ErrClosed) {
			t.Errorf("a permit made by hand: %v, want ErrClosed", err)
		}
	}
}

func TestDevices(t *testing.T) {
	tests := []struct {
		disks string
		want  int
	}{
		{"", 0}, {"a", 1}, {"a a", 1}, {"a b", 2}, {"a+b b+c c", 1}, {"a+b c+d", 2}, {"a c+d b a+b", 2}, {"a b c a+c", 2},
	}
	for _, tt := range tests {
		if got := devices(strings.Split(tt.disks, " ")); got != tt.want {
			t.Errorf("devices(%q) = %d, want %d", tt.disks, got, tt.want)
		}
	}
}

func TestSystemFolder(t *testing.T) {
	for _, tt := range []struct {
		name, fs string
		want     bool
	}{{"lost+found", "ext4", true}, {"lost+found", "ext2", true}, {"lost+found", "exfat", false}, {"lost+found", "", false},
		{"CLIPS", "ext4", false}, {"", "ext4", false}, {"CLIPS/lost+found", "ext4", false}} {
		if got := SystemFolder(tt.name, tt.fs); got != tt.want {
			t.Errorf("SystemFolder(%q, %q) = %v", tt.name, tt.fs, got)
		}
	}
}
