//go:build torture

package torture

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

// parts are all of them; the sizes in the middle make 20 minutes on two cores.
func parts() []part {
	all := []part{
		{name: "lock: every state", pkg: "./procedure", run: "TestInvariant5(EveryState|TwoRolls)", env: "TWOBIN_DEPTH",
			sizes: [3]int{6, 12, 16}, figures: []want{
				{name: "states, one roll", n: 1000}, {name: "transitions, one roll", n: 10_000}, {name: "depth of two rolls", n: 16},
				{name: "states, two rolls, 1 lanes", n: 1000}, {name: "transitions, two rolls, 1 lanes", n: 10_000},
				{name: "states, two rolls, 2 lanes", n: 1000}, {name: "transitions, two rolls, 2 lanes", n: 10_000}}},
		{name: "lock: random sequences", pkg: "./procedure", run: "TestInvariant5RandomSequences", env: "TWOBIN_SEQUENCES",
			sizes: [3]int{100_000, 10_000_000, 10_000_000}, figures: []want{{name: "random sequences", n: 10_000_000}}},
		{name: "faults", pkg: "./guard/offload", run: "TestRandomFaults", env: "TWOBIN_FAULTS", sizes: [3]int{200, 10_000, 10_000},
			figures: []want{{name: "random faults in small offloads", n: 10_000}}},
		{name: "crash: kills", pkg: "./procedure/command", run: "TestInvariant8KilledAtAnyMoment", env: "TWOBIN_KILLS", sizes: [3]int{10, 250, 1000},
			figures: []want{{name: "kills", n: 1000}, {name: "whole shifts under kills", n: 1}}},
	}
	for _, f := range [][2]string{
		{"./procedure", "FuzzParseLabel"}, {"./procedure", "FuzzParseLine"}, {"./procedure", "FuzzDecodeEvent"}, {"./guard", "FuzzPolicy"},
		{"./procedure/journal", "FuzzParse"}, {"./procedure/journal", "FuzzParseLine"}, {"./guard/manifest", "FuzzDecode"}, {"./guard/manifest", "FuzzChain"},
		{"./guard/manifest", "FuzzList"},
	} {
		all = append(all, part{name: "fuzz: " + f[0] + " " + f[1], pkg: f[0], fuzz: f[1], sizes: [3]int{2, 6, 900},
			figures: []want{{name: "fuzz seconds on all cores, " + f[0][2:] + " " + f[1], n: 900}}})
	}
	return all
}
