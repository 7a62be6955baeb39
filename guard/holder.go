package guard

import "fmt"

// Holder is the cause of a [KindBusy]: another process of this program has the folder.
type Holder struct {
	// PID is its number; 0 where the system does not tell.
	PID int
}

// Error says who has the folder.
func (h *Holder) Error() string {
	if h.PID == 0 {
		return "another process has it"
	}
	return fmt.Sprintf("process %d has it", h.PID)
}
