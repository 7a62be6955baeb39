package procedure

import (
	"testing"

	"twobin/guard"
)

// A name stands for one folder of one volume in a whole shift, also after it was dropped: what is copied is told apart by
// it. The volume that comes back has its name again.
func TestFreeName(t *testing.T) {
	t.Parallel()
	at := func(name, path, id, mount string) Destination {
		return Destination{Name: name, Path: path, Volume: guard.Volume{ID: id, Mount: mount}}
	}
	one := at("SHUTTLE", "/m/S", "uuid:1", "/m/S")
	for _, c := range []struct {
		name          string
		used, dropped []Destination
		next          Destination
		want          string
	}{
		{"nothing yet", nil, nil, one, "SHUTTLE"},
		{"in use", []Destination{one}, nil, at("", "/n/S", "uuid:2", "/n/S"), "SHUTTLE-2"},
		{"another volume after a drop", nil, []Destination{one}, at("", "/m/S", "uuid:2", "/m/S"), "SHUTTLE-2"},
		{"a volume without identity after a drop", nil, []Destination{at("SHUTTLE", "/m/S", "", "/m/S")}, at("", "/m/S", "", "/m/S"), "SHUTTLE-2"},
		{"the same back", nil, []Destination{one}, one, "SHUTTLE"},
		{"the same back, elsewhere", nil, []Destination{one}, at("", "/n/x", "uuid:1", "/n/x"), "SHUTTLE"},
		{"another folder of the same", nil, []Destination{one}, at("", "/m/S/b", "uuid:1", "/m/S"), "SHUTTLE-2"},
		{"the second one back", nil, []Destination{one, at("SHUTTLE-2", "/m/S", "uuid:2", "/m/S")}, at("", "/m/S", "uuid:2", "/m/S"), "SHUTTLE-2"},
		{"a third", []Destination{at("SHUTTLE-2", "/m/S", "uuid:2", "/m/S")}, []Destination{one}, at("", "/o/S", "uuid:3", "/o/S"), "SHUTTLE-3"},
		{"back and in use already", []Destination{one}, []Destination{one}, one, "SHUTTLE-2"},
	} {
		s := NewShift()
		s.Dests, s.Dropped = c.used, c.dropped
		if got := s.freeName("SHUTTLE", c.next.Path, c.next.Volume); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// A dropped destination is remembered by the fold, and one that had gone and is taken into use again is there.
func TestDroppedIsRemembered(t *testing.T) {
	t.Parallel()
	s := NewShift()
	d := Destination{Name: "SHUTTLE", Path: "/m/S", Volume: guard.Volume{ID: "uuid:1", Mount: "/m/S"}}
	for _, ev := range []Event{DestinationSet{Destination: d}, DestGone{Dest: "SHUTTLE"}, DestinationDropped{Dest: "SHUTTLE"}} {
		var err error
		if _, gone := ev.(DestGone); gone {
			err = s.applyAside(Entry{Event: ev})
		} else {
			err = s.applySetUp(Entry{Event: ev})
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if len(s.Dests) != 0 || len(s.Dropped) != 1 || s.Dropped[0] != d || len(s.Clone().Dropped) != 1 {
		t.Errorf("in use %v, dropped %v", s.Dests, s.Dropped)
	}
	if err := s.applySetUp(Entry{Event: DestinationSet{Destination: d}}); err != nil || s.GoneDests["SHUTTLE"] {
		t.Errorf("taken into use again: %v, gone %v", err, s.GoneDests)
	}
}

// A number that is left out overnight is missing as one is that is left out within a day; one that was left out on an
// earlier day is not asked about again, and numbers that begin anew leave out none.
func TestMissingOverNight(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name           string
		known, today   []Label
		next           Label
		missing, skips string
	}{
		{"the night between", []Label{"A004", "A005"}, []Label{"A007"}, "A009", "A006", "A008"},
		{"it came after all", []Label{"A005"}, []Label{"A007", "A006"}, "A008", "", ""},
		{"none left out", []Label{"A005"}, []Label{"A006"}, "A007", "", ""},
		{"only older ones left out", []Label{"A001", "A005"}, []Label{"A006"}, "A008", "", "A007"},
		{"first of the day", []Label{"A005"}, nil, "A007", "", "A006"},
		{"another camera", []Label{"B005"}, []Label{"A007"}, "A008", "", ""},
		{"first of all", nil, []Label{"A007"}, "A008", "", ""},
		{"known ones are higher", []Label{"A009"}, []Label{"A001", "A003"}, "A004", "A002", ""},
		{"at the limit", []Label{"A001"}, []Label{"A022"}, "A023", "A002 to A021, 20 numbers", ""},
		{"begun anew", []Label{"A001"}, []Label{"A023"}, "A024", "", ""},
		{"begun anew is read again", []Label{"A001"}, nil, "A101", "", "A002 to A100, 99 numbers"},
	} {
		s := NewShift()
		s.Opened = &ShiftOpened{Known: c.known}
		s.Order = c.today
		if got := labels(s.Missing()[c.next.Camera()]); got != c.missing {
			t.Errorf("%s: missing %q, want %q", c.name, got, c.missing)
		}
		if got := labels(s.skipped(c.next)); got != c.skips {
			t.Errorf("%s: %s leaves out %q, want %q", c.name, c.next, got, c.skips)
		}
	}
}
