package practice

import (
	"fmt"
	"path"
	"regexp"
	"strings"
	"time"

	"twobin/procedure"
)

// look opens the drive and looks, then answers what stands there.
func (p *Player) look(v procedure.View, dest string) Move {
	roll := p.s.Shift().InLane(1)
	if p.habits.LetsLie && v.Step.Step == procedure.StepLook && p.once(fmt.Sprintf("lie %s %d", roll.Label, roll.Pass)) {
		return Move{Wait: 4 * time.Minute}
	}
	drives := []string{dest}
	if p.habits.SkipsLook {
		for _, d := range p.s.plan.Drives {
			drives = append(drives, d.Name)
		}
	}
	for _, d := range drives {
		if a, ok := sighted(v.Prompt.Question, roll.Label, func(below string) ([]string, bool) { return p.s.world.Names(d, roll.Label, below) }); ok {
			return p.answer(v, a, "")
		}
	}
	return p.say(procedure.DoHold{Reason: "the roll is not on " + dest}, "It is not there: on hold.")
}

// The three forms of a sighted check, see [procedure.AskSighted].
var (
	whereRE = regexp.MustCompile(`Open (\S+)\. `)
	dotsRE  = regexp.MustCompile(`dots: (\S+)$`)
)

// sighted reads the question and answers it from the names in the folder that it speaks of.
func sighted(question string, l procedure.Label, names func(below string) ([]string, bool)) (string, bool) {
	w := whereRE.FindStringSubmatch(question)
	if w == nil {
		return "", false
	}
	below := strings.TrimPrefix(strings.TrimPrefix(w[1], string(l)), "/")
	ns, ok := names(below)
	if !ok {
		return "", false
	}
	if m := dotsRE.FindStringSubmatch(question); m != nil {
		return masked(m[1], ns)
	}
	if strings.Contains(question, "How many files") {
		return fmt.Sprint(len(ns)), true
	}
	last := ""
	for _, n := range ns {
		if strings.ToUpper(n) > strings.ToUpper(last) {
			last = n
		}
	}
	stem := strings.TrimSuffix(last, path.Ext(last))
	if len(stem) < 4 {
		return "", false
	}
	return stem[len(stem)-4:], true
}

// masked finds the name that fits a pattern with dots, and gives what stands for the dots.
func masked(pattern string, names []string) (string, bool) {
	head, tail, ok := strings.Cut(pattern, "·")
	tail = strings.TrimLeft(tail, "·")
	dots := strings.Count(pattern, "·")
	for _, n := range names {
		if ok && len(n) == len(head)+dots+len(tail) && strings.HasPrefix(n, head) && strings.HasSuffix(n, tail) {
			return n[len(head) : len(head)+dots], true
		}
	}
	return "", false
}
