// Package practice runs a drill: the real runner on a simulated world, behind any screen.
//
//   - [Start] builds world, media, journal and runner of one drill and gives a [Session], which is a [procedure.Desk].
//     It takes the trainee's acts in the world ("do answer") out of the intents, and shows as much coaching as asked for.
//   - [Session.End] scores, journals the result, takes the sandbox away and gives the [drill.Result].
//   - [Book] is a trainee's folder of drill journals: what was shown, done and passed, which drill was cut off.
//   - [Player] is a trainee in software. Without a habit it always does the right thing: it plays the drill for
//     those who watch, and tests use it, and its bad habits, to see that drills can be passed and failed.
//
// # What it writes
//
// One journal a drill, <home>/drills/<trainee>/<time>_<drill>_<seed>.jsonl, in the format of a shift's and marked with
// the drill's name; proofs into <home>/drills/proofs; the sandbox of package world. Nothing of it stands where shifts
// look for their journals or proofs (invariant 9).
//
// A Session may be used from any goroutine. A Player belongs to one goroutine.
package practice
