//go:build unix

package soundtest

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"

	"wetside/session/sessiontest"
	"wetside/sound"
)

// Sink is the name of the rig's output.
const Sink = "tray"

// A Rig is a PulseAudio server of the test's own, with one output that nobody
// hears: a null sink, of which everything can be recorded.
type Rig struct {
	Server string // for the client: "unix:..."

	t   testing.TB
	dir string
	mu  sync.Mutex
	cmd *exec.Cmd
	out bytes.Buffer
}

// Need skips the test if the server and its tools are not installed.
func Need(t testing.TB) {
	t.Helper()
	sessiontest.Need(t, "pulseaudio", "pactl=pulseaudio-utils", "parec=pulseaudio-utils")
}

// NewRig starts a server that is stopped when the test ends.
func NewRig(t testing.TB) *Rig {
	t.Helper()
	Need(t)
	// Not t.TempDir: a socket's path must be short.
	dir, err := os.MkdirTemp("", "tray")
	if err != nil {
		t.Fatal(err)
	}
	r := &Rig{t: t, dir: dir, Server: "unix:" + filepath.Join(dir, "native")}
	t.Cleanup(func() { r.Kill(); _ = os.RemoveAll(dir) })
	r.Start()
	return r
}

func (r *Rig) env() []string {
	return append(os.Environ(), "HOME="+r.dir, "XDG_RUNTIME_DIR="+r.dir, "XDG_CONFIG_HOME="+r.dir,
		"PULSE_RUNTIME_PATH="+r.dir, "PULSE_STATE_PATH="+r.dir, "PULSE_SERVER="+r.Server)
}

// Start starts the server and waits until it answers.
func (r *Rig) Start() {
	r.t.Helper()
	socket := filepath.Join(r.dir, "native")
	_ = os.Remove(socket)
	cmd := exec.Command("pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1",
		"--disable-shm=yes", "--high-priority=no", "--realtime=no",
		"--load=module-null-sink sink_name="+Sink,
		"--load=module-native-protocol-unix auth-anonymous=1 socket="+socket)
	cmd.Env = r.env()
	r.mu.Lock()
	r.out.Reset()
	cmd.Stdout, cmd.Stderr = &r.out, &r.out
	r.cmd = cmd
	r.mu.Unlock()
	if err := cmd.Start(); err != nil {
		r.t.Fatalf("pulseaudio: %v", err)
	}
	for end := time.Now().Add(20 * time.Second); ; {
		if _, err := r.pactl("info"); err == nil {
			return
		}
		if time.Now().After(end) {
			r.Kill()
			r.t.Fatalf("pulseaudio does not answer; it said:\n%s", &r.out)
		}
		time.Sleep(20 * time.Millisecond) // between two looks at a condition
	}
}

func (r *Rig) pactl(args ...string) (string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, "pactl", args...)
	cmd.Env = r.env()
	b, err := cmd.CombinedOutput()
	return string(b), err
}

// Do runs pactl with the arguments.
func (r *Rig) Do(args ...string) string {
	r.t.Helper()
	out, err := r.pactl(args...)
	if err != nil {
		r.t.Fatalf("pactl %v: %v\n%s", args, err, out)
	}
	return out
}

// Kill ends the server as a crash would.
func (r *Rig) Kill() {
	r.mu.Lock()
	cmd := r.cmd
	r.cmd = nil
	r.mu.Unlock()
	if cmd != nil {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}
}

// Freeze stops the server from answering; Thaw lets it go on.
func (r *Rig) Freeze() { r.signal(syscall.SIGSTOP) }

// Thaw lets a frozen server go on.
func (r *Rig) Thaw() { r.signal(syscall.SIGCONT) }

func (r *Rig) signal(s syscall.Signal) {
	r.t.Helper()
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := r.cmd.Process.Signal(s); err != nil {
		r.t.Fatal(err)
	}
}

// Suspend puts the output to sleep, or wakes it.
func (r *Rig) Suspend(on bool) {
	r.t.Helper()
	r.Do("suspend-sink", Sink, fmt.Sprint(map[bool]int{false: 0, true: 1}[on]))
}

// A Recording is what the output plays, from when it was begun.
type Recording struct {
	cmd  *exec.Cmd
	done chan struct{}

	mu    sync.Mutex
	pcm   []byte
	start time.Time // the earliest at which the first sample can have been taken
}

// Record begins a recording and waits until it runs.
func (r *Rig) Record() *Recording {
	r.t.Helper()
	cmd := exec.Command("parec", "--device="+Sink+".monitor", "--format=s16le", "--rate=48000", "--channels=1",
		"--raw", "--latency-msec=20")
	cmd.Env = r.env()
	out, err := cmd.StdoutPipe()
	if err != nil {
		r.t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		r.t.Fatal(err)
	}
	rec := &Recording{cmd: cmd, done: make(chan struct{})}
	runs := make(chan struct{})
	go func() {
		defer close(rec.done)
		first := true
		buf := make([]byte, 1<<14)
		for {
			n, err := out.Read(buf)
			if n > 0 {
				rec.mu.Lock()
				rec.pcm = append(rec.pcm, buf[:n]...)
				// Each sample arrives after it was taken; the one that came
				// soonest tells most.
				begin := time.Now().Add(-time.Duration(len(rec.pcm)/2) * time.Second / sound.Rate)
				if first || begin.Before(rec.start) {
					rec.start = begin
				}
				rec.mu.Unlock()
				if first {
					first = false
					close(runs)
				}
			}
			if err != nil {
				return
			}
		}
	}()
	r.t.Cleanup(func() { rec.Stop() })
	select {
	case <-runs:
	case <-rec.done:
		r.t.Fatal("parec ended without a sample")
	case <-time.After(20 * time.Second):
		r.t.Fatal("parec records nothing")
	}
	return rec
}

// Stop ends the recording and returns its samples.
func (rec *Recording) Stop() []float32 {
	_ = rec.cmd.Process.Kill()
	<-rec.done
	_ = rec.cmd.Wait()
	return rec.Samples()
}

// Samples are what was recorded so far.
func (rec *Recording) Samples() []float32 {
	rec.mu.Lock()
	defer rec.mu.Unlock()
	return PCM(rec.pcm)
}

// Start is when the first sample was taken, to within the recorder's buffer.
func (rec *Recording) Start() time.Time {
	rec.mu.Lock()
	defer rec.mu.Unlock()
	return rec.start
}

// Len is how much is recorded so far.
func (rec *Recording) Len() time.Duration {
	rec.mu.Lock()
	defer rec.mu.Unlock()
	return time.Duration(len(rec.pcm)/2) * time.Second / sound.Rate
}
