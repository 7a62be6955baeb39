package procedure_test

import (
	"context"
	"strings"
	"testing"

	"twobin/procedure"
)

// maxKeys is how many keys one roll may cost an experienced operator who meets no trouble, from its arrival to its
// return, erase included (the project's own limit: the program must be quicker than working from memory).
const maxKeys = 60

// keyed answers prompts as the full screen does and counts keys: a choice is one key, text is its characters and Enter,
// an empty line is Enter, the erase is the label and its own key.
type keyed struct {
	r *rig
	n int
}

func (k *keyed) wait(id string) *procedure.Prompt {
	k.r.tb.Helper()
	k.r.out.await(k.r.tb, "["+id)
	p := k.r.runner.View().Prompt
	if p == nil || !strings.HasPrefix(p.ID, id) {
		k.r.tb.Fatalf("prompt is %+v, want %s", p, id)
	}
	return p
}

func (k *keyed) answer(id, text string) {
	k.r.tb.Helper()
	k.give(k.wait(id), text)
}

func (k *keyed) give(p *procedure.Prompt, text string) {
	k.r.tb.Helper()
	switch p.Kind {
	case procedure.PromptChoice:
		if len(text) != 1 {
			k.r.tb.Fatalf("%s: %q is not one key", p.ID, text)
		}
		k.n++
	default:
		k.n += len([]rune(text)) + 1
	}
	if err := k.r.runner.Do(context.Background(), procedure.Answer{ID: p.ID, Seq: p.Seq, Text: text}); err != nil {
		k.r.tb.Fatalf("%s %q: %v", p.ID, text, err)
	}
}

func TestKeysForOneRoll(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	// A first roll of the same camera: from then on the program knows who brings and takes its cards.
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.toGreen("A001")
	r.ask("next", "r")
	r.ask("return.to", "Robin")

	r.card("A002", clips("A002"))
	k := &keyed{r: r}
	k.answer("next", "a")
	k.answer("receive.label", "A002")
	k.answer("receive.from", "")
	k.answer("receive.bin", "b")
	k.answer("next", "p")
	k.answer("pick.card", "A002")
	k.answer("pick.tape", "A002")
	k.answer("seat.tape", "t")
	r.out.await(t, "waiting for the card")
	r.seat("A002")
	k.answer("start.go", "s")
	k.answer("log.serial", "0117")
	k.answer("log.notes", "")
	k.answer("count.written", "w")
	k.answer("count.files", "4")
	k.answer("count.size", "2.1")
	p := k.wait("pull.desk")
	r.pull("A002")
	r.out.await(t, "reader: card out")
	k.give(p, "d")
	for range 2 {
		q := k.wait("look.")
		k.give(q, r.answerOf("["+q.ID+"] "+q.Question))
	}
	k.answer("mark.green", "g")
	k.answer("bin.green", "i")
	k.answer("next", "e")
	r.out.await(t, "waiting for the card")
	r.seat("A002")
	k.answer("reseat.in", "i")
	k.answer("erase.label", "A002")
	r.out.await(t, "The card is empty")
	p = k.wait("return.to")
	r.pull("A002")
	r.out.await(t, "reader: card out")
	k.give(p, "")
	t.Logf("keys for one roll, erase included: %d", k.n)
	if k.n > maxKeys {
		t.Errorf("%d keys for one roll, at most %d are allowed", k.n, maxKeys)
	}
}
