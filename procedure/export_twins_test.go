package procedure

// AskTwinsAgain looks for clips of earlier rolls as at the count.
func (r *Runner) AskTwinsAgain(l Label) {
	r.locked(func() { r.askTwins(r.shift.Rolls[l]) })
}
