package drill

import (
	"strings"
	"testing"

	"twobin/procedure"
)

// What is refused at the erase is told with its moment and reason; it is nothing out of its order, whether or not the same
// thing tried too early is one.
func TestRefusedAtTheErase(t *testing.T) {
	t.Parallel()
	const why = `"A002" is not the label of this roll.`
	s := (&script{run: 1}).
		add(a1, procedure.Refused{Asked: "erase", Due: "bin", Why: "bin is due."}).
		add(a1, procedure.Refused{Asked: "erase", Due: "erase", Why: why}).
		add(a1, procedure.Refused{Asked: "erase.began", Due: "erase", Why: "the look is too old"}).
		add(a1, procedure.Refused{Asked: "copy.began", Due: "start", Why: "1 destination in use, 2 needed"})
	r := Result{}
	for _, e := range s.es {
		r.take(&Plan{}, e)
	}
	if len(r.Slips) != 1 || r.Slips[0].Due != "bin" {
		t.Errorf("out of order: %+v, want the first one only", r.Slips)
	}
	if len(r.AtErase) != 2 || r.AtErase[0].Why != why {
		t.Errorf("at the erase: %+v, want the second and the third one", r.AtErase)
	}
	var b strings.Builder
	if err := Debrief(&b, Drill{}, r, Spans{}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"refused at the erase, 2 times; nothing was removed by it", "(A001): " + why, "read the label from the tape you kept"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the debrief lacks %q:\n%s", want, b.String())
		}
	}
}

// Wrong answers at the look and the count are told, with what to do; they are no slips.
func TestMisreadIsTold(t *testing.T) {
	t.Parallel()
	s := (&script{run: 1}).
		add(a1, procedure.CountRead{What: "files", Read: "13"}).add(a1, procedure.CountRead{What: "files", Read: "12", Right: true}).
		add(a1, procedure.DestLooked{Dest: "RAID", Answer: "9999"}).add(a1, procedure.DestLooked{Dest: "RAID", Answer: "R4KQ", Right: true})
	r := Result{}
	for _, e := range s.es {
		r.take(&Plan{}, e)
	}
	var b strings.Builder
	if err := Debrief(&b, Drill{}, r, Spans{}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"than it stands there, 2 times", `(A001): Read "13" from the book as the files`, `(A001): "9999" is not what stands on RAID`, "from memory is no look"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the debrief lacks %q:\n%s", want, b.String())
		}
	}
	if len(r.Misread) != 2 || len(r.Slips) != 0 {
		t.Errorf("misread %+v, slips %+v", r.Misread, r.Slips)
	}
}

// What is shown beside a drill is what it is passed by, number for number.
func TestCriteriaSays(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		c    Criteria
		want string
	}{
		{Criteria{}, "no card on the desk for longer than the limit"},
		{Criteria{Desk: 1}, "at most 1 card on the desk for longer than the limit"},
		{Criteria{Desk: 2}, "at most 2 cards on the desk for longer than the limit"},
		{Criteria{AnyDesk: true}, ""},
	} {
		got := ""
		for _, l := range c.c.Says() {
			if strings.Contains(l, "desk") {
				got = l
			}
		}
		if got != c.want {
			t.Errorf("%+v says %q, want %q", c.c, got, c.want)
		}
	}
	long, _ := Find(LongDay)
	if says := strings.Join(long.Says(), "; "); !strings.Contains(says, "at most 1 card on the desk") {
		t.Errorf("the long day says %s", says)
	}
}

// An answer to a question that had gone meanwhile is nobody's mistake; one to a question that is not due is.
func TestLateAnswerIsNoSlip(t *testing.T) {
	t.Parallel()
	r := Result{}
	for _, asked := range []string{procedure.LateAnswer + "log.notes", "answer log.notes"} {
		r.take(&Plan{}, (&script{run: 1}).add(a1, procedure.Refused{Asked: asked, Due: "receive"}).es[0])
	}
	if len(r.Slips) != 1 || r.Slips[0].Asked != "answer log.notes" {
		t.Errorf("out of order: %+v, want the second one only", r.Slips)
	}
}
