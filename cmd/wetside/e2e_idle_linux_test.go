package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"wetside/session/sessiontest"
	"wetside/sound/soundtest"
)

// BenchmarkIdle measures what the whole program costs while it waits, in a window of
// 80x24 and with an open stream or none, as a share of one core: processor time of the
// program and its keeper, all threads, from /proc.
//
//	go test ./cmd/wetside -run - -bench Idle -benchtime 1x
func BenchmarkIdle(b *testing.B) {
	const span = 20 * time.Second
	for _, wash := range []bool{false, true} {
		for _, device := range []string{"none", "pulse"} {
			b.Run(map[bool]string{false: "bench", true: "wash"}[wash]+"/"+device, func(b *testing.B) {
				rig := soundtest.NewRig(b)
				h := newHome(b, "PULSE_SERVER="+rig.Server)
				ownProcess(b, h, "only-wash", `wash; target = "30m"`)
				p := newPane(b, h, 80, 24, "rehearse", "--sound", device, "--process", "only-wash")
				p.wait("tab next") // before it the keeper asks the terminal, by other programs
				if device != "none" {
					until(b, "the stream is open", func() bool { return strings.TrimSpace(rig.Do("list", "short", "sink-inputs")) != "" })
				}
				if wash {
					p.wait("1 into the wash")
					p.keys("Space")
					until(b, "it washes", func() bool {
						return strings.Contains(h.wetside(b, "where", "--rehearsal", "--json"), `"stage": "wash"`)
					})
				}
				shell, err := strconv.Atoi(strings.TrimSpace(p.do("list-panes", "-F", "#{pane_pid}")))
				if err != nil {
					b.Fatal(err)
				}
				keeper := childOf(b, shell)
				program := childOf(b, keeper)
				// The greeting is said first, and words are made ahead.
				quiet, used := 0, processor(b, program)
				until(b, "it has come to rest", func() bool {
					before := used
					time.Sleep(time.Second) // what is looked at
					used = processor(b, program)
					if quiet++; used-before > 50*time.Millisecond {
						quiet = 0
					}
					return quiet == 5
				})
				for b.Loop() {
					from, at := processor(b, keeper)+processor(b, program), time.Now()
					time.Sleep(span) // what is measured
					used := processor(b, keeper) + processor(b, program) - from
					b.ReportMetric(100*used.Seconds()/time.Since(at).Seconds(), "%core")
					b.ReportMetric(0, "ns/op")
				}
			})
		}
	}
}

// processor is the processor time a process and its threads have used.
func processor(t testing.TB, pid int) (sum time.Duration) {
	t.Helper()
	tasks, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", pid))
	if len(tasks) == 0 {
		sessiontest.Skip(t, "/proc/PID/task/*/schedstat is not there", "run it on Linux")
	}
	for _, f := range tasks {
		var ns int64
		if b, err := os.ReadFile(f); err == nil {
			fmt.Sscan(string(b), &ns)
		}
		sum += time.Duration(ns)
	}
	return sum
}
