// Package read takes many journals of drills and shifts into a compact model of what the trainer asks about: runs, the
// operator's and the machine's time by step, and what went wrong in them.
//
//   - [Find] lists the journals that a data folder, folders or single files hold.
//   - [Read] reads them, on all cores, and gives a [Set]: one [Session] a journal, and what was left out ([Left]).
//   - [Timeline] reads one roll's way through one journal again, event by event.
//
// A session has runs: one [Run] is one pass of one roll through the routine, from its pick to its return, as worked by one
// person. Who takes over in the middle begins a run of their own; both are marked as shared. The receiving belongs to the
// first pass.
//
// Operator's time is the sum of took_ms of the answers to a step's prompts, up to the event that completes the step.
// Machine's time (scan, copy, look, erase) is kept apart and never in it. A step that was broken off (put back, hold, the
// program's end) has no time and is counted as broken off.
//
// A journal that is damaged counts up to the damage; [Left] names the line. Events of a newer program that are not known
// here are skipped and counted. One journal handed over twice counts once: the copy with more lines.
//
// Nothing is written and no lock is taken: a shift that is under way may be read. All functions may be called
// concurrently. Journals are read whole, one a core at a time; the model keeps about 300 bytes a run.
package read
