// Package drill is what a practice session consists of, as data and pure functions.
//
//   - [Drill]: name, stage, what it teaches, which incidents may happen, and by which [Criteria] it is passed.
//   - [NewPlan]: drill and seed to a [Plan]: cameras, drives, rolls and incidents. Equal seeds give equal plans. Whether an
//     incident happens at all is chance, so that nobody learns the rhythm of a drill.
//   - [Incidents]: every kind of incident, its trigger, what it looks like, what counts as right, late, wrong and
//     missed, and the words of the debrief.
//   - [Score]: plan and journal entries to a [Result]. A fold: no clock, no disk, no memory. A journal scored again
//     years later gives the same result.
//   - [Debrief] and [Standing]: results to text, and what a trainee has been shown, has done and has passed.
//
// Nothing here touches a disk or asks anybody. The package world makes a plan happen, the package practice runs it.
// All values may be used concurrently as long as nobody changes them.
package drill
