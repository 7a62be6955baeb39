package command

import (
	"fmt"
	"path/filepath"

	"twobin/guard"
	"twobin/guard/proofstore"
	"twobin/procedure"
)

// Lock is the verb that explains what keeps a roll's erase step closed.
type Lock struct {
	Common
	Label   string `arg:"" help:"The roll, like A003."`
	Journal string `help:"The journal to read; default: the shift that is open." placeholder:"FILE"`
	JSON    bool   `help:"JSON on stdout."`
}

// lockReport is the lock's state as JSON.
type lockReport struct {
	Roll       procedure.Label   `json:"roll"`
	Open       bool              `json:"open"`
	Step       string            `json:"step"`
	Place      string            `json:"place"`
	Conditions []guard.Condition `json:"conditions"`
	Note       string            `json:"note,omitempty"`
}

// Run explains the lock from journal and proof. The card is not in a reader of this process, so what needs a fresh look
// is closed here by its nature, and said so.
func (c *Lock) Run(a *App) error {
	policy, err := c.policy()
	if err != nil {
		return err
	}
	l, err := procedure.ParseLabel(c.Label)
	if err != nil {
		return usage("%w", err)
	}
	home, err := c.reading(a, c.Journal)
	if err != nil {
		return err
	}
	f, err := current(home, c.Journal)
	if err != nil {
		return err
	}
	f.warn(a)
	roll := f.shift.Roll(l)
	if roll == nil {
		return &Exit{Code: CodeFailed, Err: fmt.Errorf("%s did not come in in this shift", l)}
	}
	fault := ""
	if f.damage != nil {
		fault = f.damage.String()
	} else if f.err != nil {
		fault = f.err.Error()
	}
	var proof *guard.Proof
	if roll.Proof != "" {
		if proof, err = proofstore.Load(filepath.Join(home, "proofs"), roll.Proof); err != nil {
			proof = nil
		}
	}
	v := guard.Lock(proof, f.shift.Facts(l, fault == "", fault), nil, policy, a.Now())
	rep := lockReport{Roll: l, Open: v.Open(), Step: roll.Step.String(), Place: roll.Place.String(), Conditions: v.Conditions,
		Note: "Conditions on the card and the drives are asked afresh when the card is seated again."}
	switch {
	case roll.Erased:
		rep.Note = "This roll was erased; nothing is left to lock."
	case roll.Partly:
		rep.Note = "An erase stopped part of the way; have the card formatted in the camera."
	}
	if err := c.print(a, rep); err != nil {
		return err
	}
	if !rep.Open {
		return &Exit{Code: CodeClosed}
	}
	return nil
}

func (c *Lock) print(a *App, rep lockReport) error {
	if c.JSON {
		return a.JSON(rep, "  ")
	}
	word := "open"
	if !rep.Open {
		word = "closed"
	}
	if _, err := fmt.Fprintf(a.Out, "%s: the lock is %s. It is in: %s. Next step: %s.\n", rep.Roll, word, rep.Place, rep.Step); err != nil {
		return err
	}
	for _, k := range rep.Conditions {
		state := "holds "
		if !k.Holds {
			state = "closed"
		}
		if _, err := fmt.Fprintf(a.Out, "%s %s %s\n", k.ID, state, procedure.Plain(k.Says)); err != nil {
			return err
		}
		if !k.Holds && k.Do != "" {
			if _, err := fmt.Fprintf(a.Out, "          now: %s\n", procedure.Plain(k.Do)); err != nil {
				return err
			}
		}
	}
	_, err := fmt.Fprintln(a.Out, rep.Note)
	return err
}
