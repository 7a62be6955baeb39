//go:build mutants && linux

package guard

import (
	"context"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// TestMutants breaks every condition of the lock, the policy and the erase, one at a time, and expects the tests of this
// package to fail each time:
//
//	go test -tags mutants -run TestMutants -timeout 60m -v ./guard
//
// With TWOBIN_MUTANTS=TEXT only those whose description ("file:line function: from => to") contains TEXT, or one of its lines, are
// tried, with TWOBIN_MUTANTS_SHARE=n every n-th.
//
// With -short the last of several test runs is left out.
//
// A condition is any comparison, any of && || !, and any true or false. Its mutants: the other operator, the
// neighbouring operator, one side left out, always, never. All of them are compiled into one copy of the package, where
// an environment variable chooses the mutant, so that each costs one run and no build.
func TestMutants(t *testing.T) {
	tryMutants(t, subject{name: "lock and erase", pkg: "guard", runs: [][]string{
		{"-test.skip=^TestEraseRealCard$"}, // it would leave a loop device behind if a mutant made it hang
	}, files: []string{
		"lock.go", "lock_conditions.go", "lock_listing.go", "policy.go", "erase.go", "erase_remove.go", "erase_list.go", "erase_folder.go", "erase_unix.go",
		"erase_linux.go", "holder_unix.go", "holder_linux.go", "volume.go",
	}, equivalents: map[string]string{
		"erase_remove.go splitPath: i >= 0 => (i > 0)":                                                               "no path of a proof begins with a slash",
		"erase_unix.go openCard: err == nil => true":                                                                 "a folder that is open can be described; else it is refused all the same",
		"erase_unix.go openQuietly: errors.Is(err, unix.EPERM) && noAccessTime != 0 => (errors.Is(err, unix.EPERM))": "a constant, that is 0 on other systems",
		"erase_unix.go Sub: err == nil && self.dev != f.dev => (self.dev != f.dev)":                                  "a folder that is open can be described; else it is refused all the same",
		"holder_linux.go lockHolder: err != nil => false":                                                            "/proc/locks can be read; else nothing stands in it",
		"holder_linux.go holderIn: err == nil && pid > 0 => (pid > 0)":                                               "what is no number gives 0",
	}})
}

// TestShiftMutants is TestMutants for the fold over a shift's events, with the tests that need no program around it: first
// the tables, which take milliseconds, then for what they leave alive the searches.
func TestShiftMutants(t *testing.T) {
	tryMutants(t, subject{name: "shift", pkg: "procedure", runs: [][]string{
		{"-test.run=^TestShift"},
		{"-test.run=^(TestInvariant1Steps|TestWholeWay|TestReturn|TestPutBack$|TestHoldLeaves|TestInvariant8Recover|" +
			"TestErase|TestNewOp|TestStart|TestRefused|TestCamera|TestOneLane|TestClose(Needs|Points|IsOf|Names|Counts)|TestOldClose|" +
			"TestShortIn|TestStoodText|TestLabelRuns|TestLastLook|TestPulled|TestNames|TestDest)"},
		{"-test.run=^(TestInvariant5(Every|Two|Random)|TestFold)"},
	}, files: []string{"shift.go", "shift_roll.go", "shift_setup.go", "shift_close.go"}, equivalents: map[string]string{
		"shift_roll.go labelRead: err == nil && l == r.Label => (l == r.Label)": "with an error ParseLabel gives no label, and no roll is without one",
	}})
}

// subject is a package whose conditions are broken: in which files, and the test runs of which one is to notice.
type subject struct {
	name, pkg string
	files     []string
	runs      [][]string
	// equivalents are mutants ("file function: from => to") that no test can kill, because they do the same; each with the
	// reason. One that is killed, or that is no mutant any more, fails the test: the list has to stay true.
	equivalents map[string]string
	limit       time.Duration // of one test run; what takes longer hangs
}

func tryMutants(t *testing.T, sub subject) {
	dir := t.TempDir()
	all := plantMutants(t, dir, sub)
	for key := range sub.equivalents {
		if !slices.ContainsFunc(all, func(m mutant) bool { return m.key() == key }) {
			t.Errorf("listed as equivalent, but no mutant any more: %s", key)
		}
	}
	wanted := strings.Split(os.Getenv("TWOBIN_MUTANTS"), "\n")
	all = slices.DeleteFunc(all, func(m mutant) bool {
		return !slices.ContainsFunc(wanted, func(text string) bool { return strings.Contains(m.String(), text) })
	})
	if share, err := strconv.Atoi(os.Getenv("TWOBIN_MUTANTS_SHARE")); err == nil {
		all = slices.DeleteFunc(all, func(m mutant) bool { return m.number%share != 0 })
	}
	binary := filepath.Join(dir, "mutants.test")
	build := exec.Command("go", "test", "-c", "-vet=off", "-o", binary, "./"+sub.pkg)
	build.Dir = dir
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	began := time.Now()
	sub.limit = 10 * time.Minute
	if out, err := runMutant(dir, binary, 0, sub); err != nil {
		t.Fatalf("without a mutant: %v\n%s", err, out)
	}
	sub.limit = max(time.Minute, 10*time.Since(began)) // so that being slow on a busy computer kills no mutant
	type end struct {
		m   mutant
		err error
	}
	work, ends := make(chan mutant), make(chan end)
	for range runtime.NumCPU() {
		go func() {
			for m := range work {
				_, err := runMutant(dir, binary, m.number, sub)
				ends <- end{m, err}
			}
		}()
	}
	go func() {
		for _, m := range all {
			work <- m
		}
		close(work)
	}()
	killed, same := 0, 0
	var alive []string
	for range all {
		e := <-ends
		why, equal := sub.equivalents[e.m.key()]
		switch {
		case e.err != nil && equal:
			t.Errorf("killed, but listed as equivalent: %s", e.m)
		case e.err != nil:
			killed++
			if errors.Is(e.err, errHangs) {
				t.Logf("killed because it hangs: %s", e.m)
			}
		case equal:
			same++
			t.Logf("equivalent (%s): %s", why, e.m)
		default:
			alive = append(alive, e.m.String())
		}
	}
	slices.Sort(alive)
	for _, m := range alive {
		t.Errorf("alive: %s", m)
	}
	t.Logf("figure: mutants of %s killed = %d", sub.name, killed)
	t.Logf("figure: mutants of %s alive = %d", sub.name, len(alive))
	t.Logf("killed %d, equivalent %d of %d; alive %d", killed, same, len(all), len(alive))
}

// mutant is one changed condition.
type mutant struct {
	number   int
	file     string
	function string
	line     int
	from, to string
}

func (m mutant) key() string { return m.file + " " + m.change() }

func (m mutant) change() string { return m.function + ": " + m.from + " => " + m.to }

func (m mutant) String() string { return fmt.Sprintf("%s:%d %s", m.file, m.line, m.change()) }

// runMutant runs the tests with one mutant switched on; 0 is none. An error is what kills it.
func runMutant(dir, binary string, number int, sub subject) (out []byte, err error) {
	runs := sub.runs
	if testing.Short() && len(runs) > 1 {
		runs = runs[:len(runs)-1]
	}
	for _, run := range runs {
		if out, err = runTests(dir, binary, number, sub, run); err != nil {
			break
		}
	}
	return out, err
}

func runTests(dir, binary string, number int, sub subject, args []string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 2*sub.limit)
	defer cancel()
	cmd := exec.CommandContext(ctx, binary, append([]string{"-test.short", "-test.failfast", "-test.timeout=" + sub.limit.String(), "-rapid.nofailfile"}, args...)...)
	cmd.Dir = filepath.Join(dir, sub.pkg)
	cmd.Env = append(os.Environ(), fmt.Sprintf("MUTANT=%d", number))
	out, err := cmd.CombinedOutput()
	if err != nil && (ctx.Err() != nil || strings.Contains(string(out), "test timed out")) {
		err = errHangs
	}
	return out, err
}

var errHangs = errors.New("the tests did not end")

// plantMutants copies the module to dir, with every mutant in it.
func plantMutants(t *testing.T, dir string, sub subject) []mutant {
	t.Helper()
	top := filepath.Clean("..")
	err := filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && d.Name() == ".git":
			return filepath.SkipDir
		case !d.Type().IsRegular() || d.Name() == "mutants_test.go":
			return nil
		}
		rel, err := filepath.Rel(top, path)
		if err != nil {
			return err
		}
		b, err := os.ReadFile(path)
		to := filepath.Join(dir, rel)
		return errors.Join(err, os.MkdirAll(filepath.Dir(to), 0o755), os.WriteFile(to, b, 0o644))
	})
	if err != nil {
		t.Fatal(err)
	}
	var all []mutant
	for _, name := range sub.files {
		src, err := os.ReadFile(filepath.Join(top, sub.pkg, name))
		if err != nil {
			t.Fatal(err)
		}
		out := plantFile(t, name, string(src), &all)
		if err := os.WriteFile(filepath.Join(dir, sub.pkg, name), []byte(out), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	choice := "package " + sub.pkg + "\n\nimport (\n\"os\"\n\"strconv\"\n)\n\nvar chosenMutant, _ = strconv.Atoi(os.Getenv(\"MUTANT\"))\n"
	if err := os.WriteFile(filepath.Join(dir, sub.pkg, "chosen_mutant.go"), []byte(choice), 0o644); err != nil {
		t.Fatal(err)
	}
	return all
}

// plantFile replaces every condition by a switch over its mutants.
func plantFile(t *testing.T, name, src string, all *[]mutant) string {
	t.Helper()
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, name, src, 0)
	if err != nil {
		t.Fatal(err)
	}
	at := func(p token.Pos) int { return fset.Position(p).Offset }
	text := func(n ast.Node) string { return src[at(n.Pos()):at(n.End())] }
	type edit struct {
		from, to int
		text     string
	}
	var edits []edit
	for _, decl := range file.Decls {
		fn, ok := decl.(*ast.FuncDecl)
		if !ok || fn.Body == nil {
			continue
		}
		loops := map[ast.Node]bool{}
		ast.Inspect(fn.Body, func(n ast.Node) bool {
			if f, ok := n.(*ast.ForStmt); ok && f.Cond != nil {
				loops[f.Cond] = true
			}
			if !isCondition(n) {
				return true
			}
			e := n.(ast.Expr)
			whole := text(e)
			var b strings.Builder
			b.WriteString("func() bool {\nswitch chosenMutant {\n")
			for _, v := range variants(e, text, loops[e]) {
				m := mutant{number: len(*all) + 1, file: name, function: fn.Name.Name, line: fset.Position(e.Pos()).Line, from: whole, to: v}
				*all = append(*all, m)
				fmt.Fprintf(&b, "case %d: return %s\n", m.number, v)
			}
			fmt.Fprintf(&b, "}\nreturn %s\n}()", whole)
			edits = append(edits, edit{at(e.Pos()), at(e.End()), b.String()})
			return false
		})
	}
	slices.SortFunc(edits, func(a, b edit) int { return b.from - a.from })
	for _, e := range edits {
		src = src[:e.from] + e.text + src[e.to:]
	}
	return src
}

// others are the operators that take an operator's place.
var others = map[token.Token][]string{
	token.EQL: {"!="}, token.NEQ: {"=="}, token.LSS: {"<=", ">="}, token.LEQ: {"<", ">"}, token.GTR: {">=", "<="}, token.GEQ: {">", "<"},
	token.LAND: {"||"}, token.LOR: {"&&"},
}

func isCondition(n ast.Node) bool {
	switch e := n.(type) {
	case *ast.BinaryExpr:
		return others[e.Op] != nil
	case *ast.UnaryExpr:
		return e.Op == token.NOT
	case *ast.Ident:
		return e.Name == "true" || e.Name == "false"
	}
	return false
}

// variants are all mutants of a condition, as texts of the whole.
func variants(e ast.Expr, text func(ast.Node) string, loop bool) []string {
	whole := text(e)
	list := []string{}
	add := func(v string) {
		if v != whole && !slices.Contains(list, v) {
			list = append(list, v)
		}
	}
	if id, ok := e.(*ast.Ident); ok {
		return []string{map[string]string{"true": "false", "false": "true"}[id.Name]}
	}
	if !loop {
		add("true")
	}
	add("false")
	start := e.Pos()
	with := func(n ast.Node, v string) string {
		from, to := int(n.Pos()-start), int(n.End()-start)
		return whole[:from] + v + whole[to:]
	}
	ast.Inspect(e, func(n ast.Node) bool {
		switch x := n.(type) {
		case *ast.BinaryExpr:
			for _, op := range others[x.Op] {
				add(with(x, "("+text(x.X)+" "+op+" "+text(x.Y)+")"))
			}
			if x.Op == token.LAND || x.Op == token.LOR {
				add(with(x, "("+text(x.X)+")"))
				add(with(x, "("+text(x.Y)+")"))
			}
		case *ast.UnaryExpr:
			if x.Op == token.NOT {
				add(with(x, "("+text(x.X)+")"))
			}
		}
		return true
	})
	return list
}
