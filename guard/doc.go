// Package guard is everything that touches media, and the lock that stands before the erase step.
//
// The root package holds the values that the wing shares and the two decisions that matter most:
//
//   - [Volume], [Listing], [Proof]: what a card is, what it holds, and what was proven of it. Plain values.
//   - [Lock]: proof, the journal's facts, a fresh look and the policy, to a verdict with reasons. Pure.
//   - [Erase]: removes exactly what is proven. It needs a [Permit], and only an open [Verdict] yields one.
//   - [Error] and [Kind]: what went wrong, on which destination, in terms that a caller can decide on.
//
// Sub-packages: watch (which volumes come and go), device (careful reading and writing of one volume), proofstore (proofs as files named by their digest), offload (scan,
// copy, hash, read back), look (the fresh look that the lock asks for), manifest (what is left for people without this
// program).
//
// Invariants carried here, by the numbers of DEVELOPERS.md: 2 (a card is never written before its erase step), 3 (nothing
// on a destination is overwritten or removed), 4 (proven only by bytes from the device), 5 (no way around the lock),
// 6 (erase removes only what is proven).
//
// guard knows no roll's place, no step and no screen. Nothing here prints, asks or keeps a journal.
package guard
