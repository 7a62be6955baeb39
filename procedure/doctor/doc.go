// Package doctor tells, on one screen, what would stop a shift on this machine: terminal, colour, data folder, clock,
// volume watching, destinations, reading back past the cache, general tools.
//
// [Check] asks an [Env] and judges; it touches the machine through Env only. [System] builds the Env of the real
// machine. Every line of the [Report] has a word (fine, look, stop), what is seen, and what to do about it; the words
// carry everything, no colour is used (invariant 12).
//
// What is written: one file in the data folder, flushed, read back and removed again, and the data folder itself if it
// is not there yet; it is removed again too. Nothing is written to destinations, cards or readers (invariants 2 and 3):
// whether a destination can be written to is asked of the system, not tried.
//
// Check may be called concurrently on different Envs. No call waits for a dead drive for longer than [Patience].
package doctor
