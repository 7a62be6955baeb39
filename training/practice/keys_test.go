package practice

import (
	"fmt"
	"strings"
	"testing"
	"testing/synctest"

	"twobin/procedure"
	"twobin/training/drill"
)

// keysOf are the keys that a question offers, as one word.
func keysOf(p *procedure.Prompt) string {
	var b strings.Builder
	for _, o := range p.Options {
		b.WriteString(o.Key)
	}
	return b.String()
}

// The keys offered hint at nothing: every question has the same ones, with and without an incident. What can be next is
// told by what lies in the bins and on hold, and by nothing else.
func TestKeysDoNotHint(t *testing.T) {
	t.Parallel()
	offered := map[string]string{}
	incidents := 0
	for _, d := range drill.Drills() {
		for seed := int64(1); seed <= seeds(d, 10); seed++ {
			synctest.Test(t, func(t *testing.T) {
				_, s := playSeen(t, setup(t, d.Name, seed), Habits{}, func(v procedure.View) {
					if v.Prompt == nil || v.Prompt.ID == "close.done" { // open points decide what that offers
						return
					}
					id := v.Prompt.ID
					if id == "next" {
						id += fmt.Sprint(len(v.Strip.Red) > 0, len(v.Strip.Green) > 0, len(v.Strip.Held) > 0)
					}
					keys := keysOf(v.Prompt)
					if was, ok := offered[id]; ok && was != keys {
						t.Errorf("%s seed %d: %s offers %q, elsewhere %q", d.Name, seed, id, keys, was)
					}
					offered[id] = keys
				})
				incidents += len(s.Plan().Incidents)
			})
		}
	}
	if len(offered) < 25 || incidents < 10 {
		t.Errorf("%d questions in runs with %d incidents: too few to say anything", len(offered), incidents)
	}
}
