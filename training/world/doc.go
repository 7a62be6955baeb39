// Package world plays everything outside the program in a drill: who brings which card, what is written on it, the
// phone, the reader, the drives and what goes wrong with them. The program itself is the real one: same runner, same
// guard, real files, real copying and hashing, in one sandbox folder.
//
//   - [Scene]: what is true outside, as a fold over the journal's entries and the drill's plan. It says what the hands
//     and the others do next ([Deed]) and what the trainee sees and hears. Pure.
//   - [World]: the sandbox and the goroutine that does the deeds: moves cards into and out of the reader, makes drives
//     come and go, lets incidents begin. It is the drill's [procedure.Volumes] and [guard.Identifier].
//   - [Media]: the real media with the faults of simulated drives and cards in front.
//
// # What it writes
//
// One folder, made by [Open], with a marker file [SandboxName] in it: cards/ (cards that are not in the reader),
// reader/ (the card in the reader), drives/NAME, lost/ (folders that an incident took away). Nothing outside it. Every
// access goes through a handle of that folder that does not follow links out of it. [World.Remove] removes it, and only
// if the marker is there.
//
// It carries its part of invariant 9: every volume that it names is marked simulated.
//
// A Scene belongs to one goroutine at a time. The methods of a World may be called from any goroutine; [World.Heard]
// never calls back into the runner.
package world
