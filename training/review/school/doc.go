// Package school invents the journals of a school: six trainees and their teacher on the invented production "Harbour
// Lights", over eight weeks of drills and, from the third week, shifts. The review shows it with --demo; tests and the
// benchmark of the review stand on it.
//
// Everybody and everything in it is made up. Equal [Options] give equal events, times and results (the process id in a
// journal's first line differs). Every event goes through [procedure.Shift.Apply], and every journal is written by
// package journal: the chain is whole, the routine's order holds, drills have the incidents of their own plan. Only what
// becomes of an incident, and how long an answer takes, is drawn: from the trainee's [Profile].
//
// [Write] writes below the folder that it is given: journals/ and drills/<trainee>/, like a data folder, and nothing
// else. It may be called concurrently for different folders.
package school
