package main

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"wetside/sound/soundtest"
)

// A rehearsal a thousand times as fast as life asks for a day of cues in a
// minute and a half. What the program holds of them stays small: sheets that
// move by themselves, and sheets that nobody answers for, with all that can be
// said about them.
func TestARehearsalAtAnyPaceStaysSmall(t *testing.T) {
	byProcess(t)
	const most = 60 << 10 // kB
	for _, x := range []struct {
		name string
		args []string
	}{
		{"moving by themselves", []string{"--self"}},
		{"waiting for hands", []string{"--talk", "full"}},
	} {
		t.Run(x.name, func(t *testing.T) {
			t.Parallel()
			rig := soundtest.NewRig(t)
			h := newHome(t, "PULSE_SERVER="+rig.Server)
			args := append([]string{"rehearse", "--blind", "--pace", "1000", "--sheets", "4", "--sound", "pulse"}, x.args...)
			cmd := exec.CommandContext(t.Context(), binary(t), args...)
			cmd.Env = append(os.Environ(), h.env...)
			keys, err := cmd.StdinPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			fmt.Fprint(keys, " ") // the first sheet goes in
			ended := make(chan error, 1)
			go func() { ended <- cmd.Wait() }()
			enough := time.After(10 * time.Second)
			look := time.NewTicker(50 * time.Millisecond)
			defer look.Stop()
			peak := 0
			for on := true; on; {
				select {
				case err := <-ended:
					if err != nil {
						t.Errorf("the rehearsal ended: %v", err)
					}
					on = false
				case <-look.C:
					peak = max(peak, resident(cmd.Process.Pid))
				case <-enough:
					_ = cmd.Process.Kill()
					<-ended
					on = false
				}
			}
			if peak == 0 {
				t.Fatal("the program's memory could not be read")
			}
			if peak > most {
				t.Errorf("%d MB resident at the peak; at most %d", peak>>10, most>>10)
			}
			t.Logf("%.1f MB resident at the peak", float64(peak)/1024)
		})
	}
}

// resident is the most memory a process has had so far, in kB; 0: it is gone.
func resident(pid int) int {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0
	}
	kb := 0
	for l := range strings.Lines(string(b)) {
		if _, err := fmt.Sscanf(l, "VmHWM: %d kB", &kb); err == nil {
			return kb
		}
	}
	return 0
}
