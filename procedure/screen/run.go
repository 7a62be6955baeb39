package screen

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"syscall"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"github.com/muesli/termenv"

	"twobin/procedure"
)

// Options is what a screen is built from. In and Out are terminals.
type Options struct {
	In, Out *os.File
	// NoColor: no colours; bold and reverse stay.
	NoColor bool
	// Log may be nil.
	Log *slog.Logger
	// Board draws the board on at most so many columns and lines; it may wait, but for no drive. Nil: the board is drawn
	// from the strip.
	Board func(width, height int) string
	// Now is the clock by which keys are judged; nil is time.Now.
	Now func() time.Time
}

// leaveWithin is how long a signalled end waits for the desk to take DoQuit. Long enough for one flushed journal line
// on a slow disk; the shift goes on where it left off without it too.
const leaveWithin = 3 * time.Second

// framesPerSecond is how often Bubble Tea looks for something to draw: a key is on the screen after 33 ms at most, and
// an idle screen costs half of what the usual 60 cost (measured: 1.4 % of a core).
const framesPerSecond = 30

// Run shows the desk until its view has ended, the operator quits, a signal comes or ctx ends. The terminal is restored
// in every case. A signal or an ended ctx is no error: the shift stays open. The error is the terminal's own.
func Run(ctx context.Context, desk procedure.Desk, opts Options) error {
	if opts.Log == nil {
		opts.Log = slog.New(slog.DiscardHandler)
	}
	// The desk's calls live as long as the screen; they must end with it even if ctx does not.
	inner, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	r := lipgloss.NewRenderer(opts.Out)
	r.SetColorProfile(termenv.ANSI)
	r.SetHasDarkBackground(true) // nothing hangs on it, and so the terminal is not asked
	m := newModel(inner, desk, newStyles(r, !opts.NoColor), opts)
	m.ring = func() {
		if _, err := opts.Out.WriteString("\a"); err != nil {
			opts.Log.Debug("bell", "err", err)
		}
	}
	p := tea.NewProgram(m, tea.WithInput(opts.In), tea.WithOutput(opts.Out), tea.WithAltScreen(), tea.WithoutSignalHandler(),
		tea.WithFPS(framesPerSecond))

	sig := make(chan os.Signal, 1)
	signal.Notify(sig, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	done := make(chan struct{})
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		select {
		case s := <-sig:
			opts.Log.Info("signal", "signal", s.String())
		case <-ctx.Done():
		case <-done:
			return
		}
		p.Send(stopMsg{})
	}()
	_, err := p.Run()
	signal.Stop(sig)
	close(done)
	cancel()
	<-watched
	if err != nil && !errors.Is(err, tea.ErrInterrupted) {
		return fmt.Errorf("screen: %w", err)
	}
	return nil
}
