// Package stats is the reckoning behind the trainer's review: what a list of step times says, and what it does not.
//
// The questions, and what answers them:
//
//   - How long does this step take? [Summarize]: number, median, 90th percentile (method R6), spread, best.
//   - Which single times deserve a look? [ModifiedZ], and [Grubbs] for one suspect among near-normal times.
//   - Was today's run unusual? [NewChart]: individuals and moving ranges, run tests.
//   - Is she still getting faster, and when will she meet the standard? [FitCurve], [Curve.Forecast].
//   - Is A quicker than B, or May quicker than April? [Compare]: rank-sum test with the shift in time units; over many
//     steps at once [Holm].
//
// Times are float64 in any one unit, the same in and out; the review works in whole milliseconds and converts once. They
// must be finite; steps that were broken off are left out by the caller, never given as 0. No result holds a NaN or an
// infinity: where the data carry no answer, OK is false and Why says so in words that end a sentence ("no limits: …").
//
// Means, deviations, regression and distributions are gonum's. What gonum lacks is here: R6 percentiles, the median
// absolute deviation, the chart, the exact rank-sum distribution under ties, Holm's steps. Every method is checked
// against published worked examples, named beside the checks.
//
// All functions are pure and may be called concurrently; none changes its arguments. No input or output, no invariant.
package stats
