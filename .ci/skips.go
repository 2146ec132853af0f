// Skips runs go test with the given arguments and says at the end which tests
// did not run here and how to run them: go run .ci/skips.go ./...
// The status is that of go test.
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
)

const notRun = "NOT RUN HERE: " // sessiontest.NotRun

func main() {
	cmd := exec.Command("go", append([]string{"test", "-json"}, os.Args[1:]...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	kept := map[string]string{}      // a running test's output
	why := map[string]string{}       // what its skip said
	skipped := map[string][]string{} // what to do -> tests
	sc := bufio.NewScanner(out)
	sc.Buffer(nil, 16<<20)
	for sc.Scan() {
		var e struct{ Action, Package, Test, Output string }
		if json.Unmarshal(sc.Bytes(), &e) != nil {
			fmt.Println(sc.Text())
			continue
		}
		id := e.Package + " " + e.Test
		switch e.Action {
		case "output":
			if _, s, ok := strings.Cut(e.Output, notRun); ok {
				why[id] = strings.TrimSpace(s)
			}
			if e.Test == "" {
				fmt.Print(e.Output)
			} else {
				kept[id] += e.Output
			}
		case "build-output":
			fmt.Print(e.Output)
		case "fail":
			fmt.Print(kept[id])
			delete(kept, id)
		case "pass":
			delete(kept, id)
		case "skip":
			delete(kept, id)
			if w := why[id]; w != "" {
				skipped[w] = append(skipped[w], id)
			}
		}
	}
	if n := len(skipped); n > 0 {
		whys := make([]string, 0, n)
		count := 0
		for w, tests := range skipped {
			whys = append(whys, w)
			count += len(tests)
		}
		slices.Sort(whys)
		fmt.Printf("\nThese %d tests did not run here:\n", count)
		for _, w := range whys {
			fmt.Printf("  %s\n", w)
			for _, t := range skipped[w] {
				fmt.Printf("    %s\n", t)
			}
		}
	}
	if cmd.Wait() != nil {
		os.Exit(1)
	}
}
