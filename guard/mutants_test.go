//go:build mutants && (linux || darwin)

package guard

import (
	"context"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestMutants breaks every condition of the lock, the policy and the erase, one at a time, and expects the tests of this
// package to fail each time:
//
//	go test -tags mutants -run TestMutants -timeout 60m -v ./guard
//
// With TWOBIN_MUTANTS=TEXT only those whose description ("file:line function: from => to") contains TEXT are tried.
//
// A condition is any comparison, any of && || !, and any true or false. Its mutants: the other operator, the
// neighbouring operator, one side left out, always, never. All of them are compiled into one copy of the package, where
// an environment variable chooses the mutant, so that each costs one run and no build.
func TestMutants(t *testing.T) {
	dir := t.TempDir()
	all := plantMutants(t, dir)
	all = slices.DeleteFunc(all, func(m mutant) bool { return !strings.Contains(m.String(), os.Getenv("TWOBIN_MUTANTS")) })
	binary := filepath.Join(dir, "mutants.test")
	build := exec.Command("go", "test", "-c", "-vet=off", "-o", binary, "./guard")
	build.Dir = dir
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	if out, err := runMutant(dir, binary, 0); err != nil {
		t.Fatalf("without a mutant: %v\n%s", err, out)
	}
	type end struct {
		m   mutant
		err error
	}
	work, ends := make(chan mutant), make(chan end)
	for range runtime.NumCPU() {
		go func() {
			for m := range work {
				_, err := runMutant(dir, binary, m.number)
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
		why, equal := equivalents[e.m.key()]
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
	fmt.Printf("mutants: %d killed of %d (%d more change nothing that can be observed)\n", killed, len(all)-same, same)
}

// mutated are the files whose conditions are broken.
var mutated = []string{
	"lock.go", "lock_conditions.go", "lock_listing.go", "policy.go", "erase.go", "erase_remove.go", "erase_list.go", "volume.go",
}

// equivalents are mutants that no test can kill, because they do the same; each with the reason.
var equivalents = map[string]string{
	"splitPath: i >= 0 => (i > 0)": "no path of a proof begins with a slash",
}

// mutant is one changed condition.
type mutant struct {
	number   int
	file     string
	function string
	line     int
	from, to string
}

func (m mutant) key() string { return m.function + ": " + m.from + " => " + m.to }

func (m mutant) String() string { return fmt.Sprintf("%s:%d %s", m.file, m.line, m.key()) }

// runMutant runs the tests with one mutant switched on; 0 is none. An error is what kills it.
func runMutant(dir, binary string, number int) ([]byte, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, binary, "-test.short", "-test.failfast", "-test.timeout=60s", "-rapid.nofailfile",
		"-test.skip=^TestEraseRealCard$") // it would leave a loop device behind if a mutant made it hang
	cmd.Dir = filepath.Join(dir, "guard")
	cmd.Env = append(os.Environ(), fmt.Sprintf("MUTANT=%d", number))
	out, err := cmd.CombinedOutput()
	if err != nil && (ctx.Err() != nil || strings.Contains(string(out), "test timed out")) {
		err = errHangs
	}
	return out, err
}

var errHangs = errors.New("the tests did not end")

// plantMutants copies the package to dir, with every mutant in it.
func plantMutants(t *testing.T, dir string) []mutant {
	t.Helper()
	copyFile := func(from, to string) {
		b, err := os.ReadFile(from)
		if err == nil {
			err = errors.Join(os.MkdirAll(filepath.Dir(to), 0o755), os.WriteFile(to, b, 0o644))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, pattern := range []string{"../go.mod", "../go.sum", "*.go", "hashes/*.go"} {
		names, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			if name != "mutants_test.go" {
				copyFile(name, filepath.Join(dir, "guard", name))
			}
		}
	}
	var all []mutant
	for _, name := range mutated {
		src, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		out := plantFile(t, name, string(src), &all)
		if err := os.WriteFile(filepath.Join(dir, "guard", name), []byte(out), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	choice := "package guard\n\nimport (\n\"os\"\n\"strconv\"\n)\n\nvar chosenMutant, _ = strconv.Atoi(os.Getenv(\"MUTANT\"))\n"
	if err := os.WriteFile(filepath.Join(dir, "guard", "chosen_mutant.go"), []byte(choice), 0o644); err != nil {
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
