//go:build torture

package torture

import "slices"

// want is a figure that a part must give, and its full size.
type want struct {
	name   string
	n      int64
	atMost bool // n is a limit, not a goal
}

// part is one go test command.
type part struct {
	name, pkg, run string
	args           []string
	env            string // the variable that sets its size
	sizes          [3]int // short, as a share of 20 minutes, full; for fuzzing seconds
	fuzz           string
	figures        []want
}

// parts are all of them; the sizes in the middle fit into 20 minutes on two cores.
func parts() []part {
	return slices.Concat(routineParts(), crashParts(), copyParts(), recordParts(), fuzzParts())
}

// routineParts: the lock and the routine have no way around.
func routineParts() []part {
	return []part{
		{name: "lock: every state", pkg: "./procedure", run: "TestInvariant5(EveryState|TwoRolls)", env: "TWOBIN_DEPTH",
			sizes: [3]int{6, 12, 16}, figures: []want{
				{name: "states, one roll", n: 5000}, {name: "transitions, one roll", n: 80_000}, {name: "depth of two rolls", n: 16},
				{name: "states, two rolls, 1 lanes", n: 1000}, {name: "transitions, two rolls, 1 lanes", n: 10_000},
				{name: "states, two rolls, 2 lanes", n: 1000}, {name: "transitions, two rolls, 2 lanes", n: 10_000}}},
		{name: "lock: random sequences", pkg: "./procedure", run: "TestInvariant5RandomSequences", env: "TWOBIN_SEQUENCES",
			sizes: [3]int{100_000, 10_000_000, 10_000_000}, figures: []want{{name: "random sequences", n: 10_000_000}}},
		{name: "lock: every condition", pkg: "./guard", run: "TestInvariant5"},
		{name: "mutants: lock and erase", pkg: "./guard", run: "TestMutants", args: []string{"-tags", "mutants"}, env: "TWOBIN_MUTANTS_SHARE",
			sizes: [3]int{60, 8, 1}, figures: []want{{name: "mutants of lock and erase killed", n: 720}, {name: "mutants of lock and erase alive", atMost: true}}},
		{name: "mutants: the shift's fold", pkg: "./guard", run: "TestShiftMutants", args: []string{"-tags", "mutants"}, env: "TWOBIN_MUTANTS_SHARE",
			sizes: [3]int{60, 1, 1}, figures: []want{{name: "mutants of shift killed", n: 750}, {name: "mutants of shift alive", atMost: true}}},
	}
}

// crashParts: killed, or without power, at any moment.
func crashParts() []part {
	return []part{
		{name: "crash: kills", pkg: "./procedure/command", run: "TestInvariant8KilledAtAnyMoment", env: "TWOBIN_KILLS", sizes: [3]int{10, 120, 1000},
			figures: []want{{name: "kills", n: 1000}, {name: "whole shifts under kills", n: 100},
				{name: "events vouched for before a kill or an end, found again", n: 15_000}}},
		{name: "crash: every write", pkg: "./procedure/journal", run: "TestInvariant8EveryWriteIsACrashPoint", env: "TWOBIN_WAYS",
			sizes: [3]int{60, 6000, 6000}, figures: []want{{name: "crash points of journal and proofs", n: 100},
				{name: "disk states replayed", n: 15_000}, {name: "different disk states opened", n: 10_000}}},
		{name: "crash: the journal cut", pkg: "./procedure/journal", run: "TestInvariant8(CutAtEveryByte|BlocksOfTheLastAppendLost)",
			figures: []want{{name: "prefixes of a journal opened", n: 1000}, {name: "reorderings of an append's blocks opened", n: 500}}},
		{name: "power cuts in a shift", pkg: "./procedure/command", run: "TestInvariant8PowerCutsOfADrive", env: "TWOBIN_CUTS", sizes: [3]int{8, 500, 500},
			figures: []want{{name: "power cuts of a drive in a shift", n: 500}, {name: "of them in the middle of the copy", n: 150},
				{name: "of them after the journal said proven", n: 100}}},
		{name: "power cuts of a cache", pkg: "./guard/offload", run: "TestPowerCut", env: "TWOBIN_CUTS", sizes: [3]int{1, 500, 500},
			figures: []want{{name: "power cuts of a drive with a cache", n: 500}}},
	}
}

// copyParts: what goes wrong while it works.
func copyParts() []part {
	return []part{
		{name: "faults", pkg: "./guard/offload", run: "TestRandomFaults", env: "TWOBIN_FAULTS", sizes: [3]int{200, 10_000, 10_000},
			figures: []want{{name: "random faults in small offloads", n: 10_000}, {name: "of them on real file systems", n: 500}}},
		{name: "card untouched", pkg: "./procedure/command", run: "TestInvariant2(ReadOnly)?CardUntouchedByAShift", figures: []want{
			{name: "card images that changed", atMost: true}, {name: "calls that could write to the card", atMost: true}}},
		{name: "erase races", pkg: "./guard", run: "TestInvariant6", figures: []want{{name: "erase races", n: 100}}},
		{name: "two at once", pkg: "./procedure/command", run: "Test(TwoShifts|SecondProcess)", figures: []want{
			{name: "two at once, journal", n: 1}, {name: "two at once, card", n: 2}, {name: "two at once, destination", n: 1}}},
	}
}

// recordParts: the record, what is shown of it, and a long day.
func recordParts() []part {
	return []part{
		{name: "tampering", pkg: "./procedure/journal", run: "TestInvariant10", env: "TWOBIN_TEST_LONG", sizes: [3]int{1, 1, 1}, figures: []want{
			{name: "bytes of the journal tampered with", n: 1000}, {name: "tampering by change", n: 255_000}, {name: "tampering by deletion", n: 1000},
			{name: "tampering by insertion", n: 255_000}, {name: "tampering by swap", n: 1000}, {name: "tampering by truncation", n: 1000}}},
		{name: "escapes", pkg: "./procedure/command", run: "TestEscapesReachNothing|TestJSONIsPlain", figures: []want{{name: "places shown with hostile text", n: 15}}},
		{name: "escapes: full screen", pkg: "./procedure/screen", run: "Test(OutsideText|PastedText)IsPlain"},
		{name: "escapes: sheets", pkg: "./procedure/sheet", run: "TestCSV|TestHTML|TestHarmless|TestXLSX"},
		{name: "escapes: hand-over", pkg: "./procedure/handover", run: "TestHTML"},
		{name: "long run", pkg: "./procedure", run: "TestLongShift", env: "TWOBIN_ROLLS", sizes: [3]int{24, 100, 100}, figures: []want{
			{name: "rolls of a 16-hour shift", n: 100}, {name: "bytes of heap a roll", n: 32 << 10, atMost: true},
			{name: "open files more at its end", n: 4, atMost: true}, {name: "milliseconds to open its journal", n: 100, atMost: true}}},
	}
}

// fuzzParts: everything that reads what others wrote, and every key.
func fuzzParts() (all []part) {
	for _, f := range [][2]string{
		{"./procedure", "FuzzParseLabel"}, {"./procedure", "FuzzParseLine"}, {"./procedure", "FuzzDecodeEvent"}, {"./guard", "FuzzPolicy"},
		{"./procedure/journal", "FuzzParse"}, {"./procedure/journal", "FuzzParseLine"}, {"./guard/manifest", "FuzzDecode"},
		{"./guard/manifest", "FuzzChain"}, {"./guard/manifest", "FuzzList"}, {"./procedure/screen", "FuzzKeys"}, {"./procedure", "FuzzPlain"},
		{"./procedure/plain", "FuzzRun"},
		{"./guard/hashes", "FuzzParse"}, {"./guard/proofstore", "FuzzLoad"}, {"./guard/watch", "FuzzParseMountinfo"}, {"./training/review/read", "FuzzAnswered"},
	} {
		all = append(all, part{name: "fuzz: " + f[0] + " " + f[1], pkg: f[0], fuzz: f[1], sizes: [3]int{2, 6, 900},
			figures: []want{{name: "fuzz seconds on two cores, " + f[0][2:] + " " + f[1], n: 900}}})
	}
	return all
}
