package screen

import (
	"context"
	"fmt"
	"os"
	"time"

	"twobin/procedure"
)

// child runs the screen on this process's own terminal with a small desk: a choice, then a line, then a critical step.
// What it was told is written to the file named by childEnv.
func child() int {
	desk := newDesk(choiceView())
	desk.do = func(d *fakeDesk, i procedure.Intent) error {
		switch a := i.(type) {
		case procedure.Answer:
			switch a.ID {
			case "mark.green":
				d.view = at(procedure.StepReceive, ask("receive.from", "Who hands it over?"))
			case "receive.from":
				d.view = startView()
				began := time.Now()
				d.clock = func() []procedure.Clock {
					return []procedure.Clock{{Name: "start", Since: time.Since(began), Limit: 30 * time.Second}}
				}
			}
		case procedure.DoQuit:
			d.view.Ended = true
		}
		return nil
	}
	err := Run(context.Background(), desk, Options{In: os.Stdin, Out: os.Stdout, NoColor: os.Getenv("NO_COLOR") != ""})
	out := ""
	for _, i := range desk.intents() {
		out += fmt.Sprintf("%T %+v\n", i, i)
	}
	if err != nil {
		out += "error " + err.Error() + "\n"
	}
	if err := os.WriteFile(os.Getenv(childEnv), []byte(out), 0o600); err != nil {
		return 1
	}
	fmt.Println("back in the shell")
	return 0
}
