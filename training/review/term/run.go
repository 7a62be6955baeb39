package term

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"github.com/muesli/termenv"

	"twobin/training/review/read"
	"twobin/training/review/report"
)

// Run shows the review until it is left, a signal comes or ctx ends. in and out are terminals; they are restored in every
// case. The error is the terminal's own.
func Run(ctx context.Context, r *report.Report, in, out *os.File) error {
	rd := lipgloss.NewRenderer(out)
	rd.SetColorProfile(termenv.ANSI)
	p := tea.NewProgram(newModel(r, newStyles(rd), read.Timeline), tea.WithInput(in), tea.WithOutput(out), tea.WithAltScreen(), tea.WithoutSignalHandler())
	sig := make(chan os.Signal, 1)
	signal.Notify(sig, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	done, watched := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(watched)
		select {
		case <-sig:
		case <-ctx.Done():
		case <-done:
			return
		}
		p.Send(stopMsg{})
	}()
	_, err := p.Run()
	signal.Stop(sig)
	close(done)
	<-watched
	if err != nil && !errors.Is(err, tea.ErrInterrupted) {
		return fmt.Errorf("review: %w", err)
	}
	return nil
}
