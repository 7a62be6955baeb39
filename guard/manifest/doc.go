// Package manifest writes and reads what a destination holds for people who do not have this program: a history in the
// format of the ASC Media Hash List (ASC MHL) 2.0, and a checksum list for xxhsum.
//
//   - [Recorder] is what an offload calls: [Recorder.Stage], then Publish or Discard.
//   - [Recorder.Carry] is for a further copy of a proven one: the history goes along and grows on the new drive.
//   - [ReadHistory] reads a folder's history, by whichever program, proves its chain, and folds it into what is [Known]
//     of every file. [Walk] lists what stands there. [Judge] gives a computed digest its action. [Stage] writes the next
//     generation. Package recheck is built on these.
//   - [Decode], [Encode], [DecodeChain], [EncodeChain], [ReadList], [WriteList] are the formats by themselves.
//
// # What it writes
//
// For the roll folder A003:
//
//	A003/ascmhl/0001_A003_2024-05-01_181500Z.mhl   one manifest a generation, never written again
//	A003/ascmhl/ascmhl_chain.xml                   names and C4 IDs of all manifests
//	A003.xxh64                                     beside the roll folder: the checksum list
//
// The first copy of a card is generation 1, each file "original"; offloading the same roll again, or a recheck, appends
// a generation, "verified" or "failed". The folder hashes are XXH64. An equal checksum list is left as it stands; a
// different one is kept and the new one is called A003_2.xxh64, and so on.
//
// Each file is written under a temporary name ([device.TempName]) in its folder and flushed; then it is given its name,
// never over another file, and the folder is flushed. The order is list, manifest, chain. The chain file is the one file
// ever replaced (by rename, in one step), and only if its bytes are still those that the new generation was made on.
// A power cut between manifest and chain leaves a manifest that no chain lists: it is reported and never used, and the
// next generation takes its number. Only temporary names are ever removed.
//
// # Names
//
// A manifest cannot hold a name that is not valid UTF-8, that has a character XML 1.0 forbids, or that its readers must
// refuse (one that looks like a drive letter). Such a file is not listed there, and no name is ever altered. It is still
// part of its folders' hashes, the manifest's comment says how many there are, the note of the recorder names the first,
// and the checksum list has it like any other: the roll's proof loses nothing.
//
// The checksum list has a line a file: sixteen lower-case digits, two spaces, the name from the list's own folder on,
// byte for byte. Tried with xxhsum 0.8.1 (Debian 12) and 0.8.3 (Debian 13), "xxhsum -c" accepts every name written so:
// with spaces anywhere, backslashes, carriage returns, tabs, quotes, a leading "*", "#" or "-", bytes that are no UTF-8,
// 255 bytes long. The one exception is a line feed. Such a name is written as 0.8.3 itself prints it: a backslash before
// the digits, and in the name "\\", "\n" and "\r" for backslash, line feed and carriage return. Version 0.8.3 checks
// that line. Version 0.8.1 has no way at all to name such a file: it says that "1 line is improperly formatted", checks
// the others and ends with 0 (with --strict: 1). There are no comments in the list. A card without files makes an empty
// list, which xxhsum does not accept as one.
//
// # What the standard's text may say otherwise
//
// The schemas and the published sample histories were at hand, the prose was not. These are our own readings: the pattern
// language of ignore ([Ignore]); an empty folder hashes the empty string; equal digests in a folder are kept; compared is
// the earliest good value of a format, never a failed one; a format is added for a file only if a known one matched;
// several possible new names of a moved file are no move. Draft chains are named as such ([ErrDraft]), not as damage.
//
// # Histories further down
//
// A folder in a roll may have a history of its own. Its files are listed there and not in the roll's manifest, which has
// the folder's hashes and a reference to the newest manifest below. The recorder never extends such a history, because
// it came with the card and is part of what was proven; for the same reason a card with a history at its own root gets
// no generation from the recorder, only the checksum list. A history below that is broken counts as ordinary files.
//
// # Hostile files
//
// A manifest may come from anywhere. Document types and entities are refused, as are files over 2 GiB, tags and texts over
// 1 MiB, deep nesting, other encodings than UTF-8, and paths that are absolute, climb, have a drive letter or a NUL.
// Nothing is used of a manifest before its bytes were compared with the chain. All names go through [os.Root]; symbolic
// links are neither followed nor opened.
//
// Invariants carried here: 3 (nothing on a destination is overwritten or removed: with the chain file as the exception
// said above, and never one that the card brought), 8 (a half-written generation is never taken for one).
//
// A Recorder may be used concurrently for different destinations. A History, Tree or Generation belongs to one goroutine.
package manifest
