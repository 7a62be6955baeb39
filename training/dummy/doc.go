// Package dummy makes the cards that a drill works on: folders with made-up clips, so that nobody practises on footage.
//
//   - [Fill] writes a roll of one [Shape] into a folder. Same [Roll], same bytes: contents come from a seeded ChaCha8,
//     times from the roll, nothing from the machine.
//   - [Grow] adds one more take to a card, as a camera does.
//   - [Prepare] makes a real, spare, empty card into a practice card: the marker first, then files. It refuses a volume
//     that holds anything. [Marked] says whether a volume carries that marker; a drill touches no other real volume.
//
// Names are this project's own: label, clip number and four letters that differ from clip to clip ("A001C003_RKTQ.mov").
// They follow no maker's pattern.
//
// # What it writes
//
// Only below the folder that it is given: the files of the roll and their folders, and for Prepare the marker
// [MarkerName], one line of text. It creates files, and never opens one that is there. It removes nothing.
//
// The package carries its part of invariant 9 (a drill cannot reach a real volume). Calls for different folders may run
// concurrently.
package dummy
