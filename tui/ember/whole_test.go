//go:build unix

package ember

import (
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/tui/ember/rig"
)

// room is the least program that draws as the real one does: bubbletea behind
// the guard.
type room struct {
	guard *Guard
	w, h  int
	level Level
}

func (r room) Init() tea.Cmd { return tea.SetWindowTitle("\x1b[42mhat box") }

func (r room) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		r.w, r.h = msg.Width, msg.Height
		_ = r.guard.Resize(r.w, r.h)
	case tea.KeyMsg:
		switch msg.String() {
		case "q":
			return r, tea.Quit
		case "p":
			go func() { panic("\x1b[42;1mtray on the floor") }()
		case "d":
			r.level = Dark
			_ = r.guard.SetLevel(Dark)
		case "e":
			r.level = Ember
			_ = r.guard.SetLevel(Ember)
		}
	}
	return r, nil
}

func (r room) View() string { return sample(r.w, r.h, r.level) }

func roomChild(t *testing.T) {
	profile, _ := Detect(os.Getenv, true, false)
	opts := Options{Profile: profile, Mux: DetectMux(os.Getenv), Level: Ember, Kept: os.Getenv("EMBER_TEST_CHILD") == "room"}
	g := NewGuard(os.Stdout, opts)
	if os.Getenv("EMBER_TEST_CHILD") == "keeper" {
		self, err := os.Executable()
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(self, "-test.run=^TestTheRoomStaysDark$")
		cmd.Env = append(os.Environ(), "EMBER_TEST_CHILD=room")
		signals := make(chan os.Signal, 4)
		signal.Notify(signals, syscall.SIGTERM, syscall.SIGHUP, os.Interrupt)
		os.Exit(Keeper{Guard: g, Terminal: TTY(os.Stdin, os.Stdout), Signals: signals}.Run(Command(cmd)))
	}
	if err := os.WriteFile(os.Getenv("EMBER_TEST_PID"), []byte(strconv.Itoa(os.Getpid())), 0o600); err != nil {
		t.Fatal(err)
	}
	_ = g.Begin(80, 24)
	_, err := tea.NewProgram(room{guard: g, level: Ember}, tea.WithOutput(g), tea.WithAltScreen(),
		tea.WithoutCatchPanics(), tea.WithoutSignalHandler()).Run()
	if err != nil {
		os.Exit(1)
	}
	os.Exit(0)
}

// From a terminal of black on white: start, resize, dark, and each way out. The
// terminal goes back to white only when that was asked for.
func TestTheRoomStaysDark(t *testing.T) {
	switch os.Getenv("EMBER_TEST_CHILD") {
	case "keeper", "room":
		roomChild(t)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		end  func(m *rig.Term, child int)
		ask  bool
		code int
		tmux bool
	}{
		{"quit", func(m *rig.Term, _ int) { m.Type("q") }, false, 0, false},
		{"panic", func(m *rig.Term, _ int) { m.Type("p") }, true, 2, false},
		{"panic in tmux", func(m *rig.Term, _ int) { m.Type("p") }, true, 2, true},
		{"SIGTERM", func(m *rig.Term, _ int) { send(t, m.PID(), syscall.SIGTERM) }, true, 143, false},
		{"SIGHUP", func(m *rig.Term, _ int) { send(t, m.PID(), syscall.SIGHUP) }, true, 129, false},
		{"kill", func(_ *rig.Term, child int) { send(t, child, syscall.SIGKILL) }, true, 137, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			pidFile := filepath.Join(t.TempDir(), "pid")
			m := rig.Start(t, rig.Options{
				Cols: 80, Rows: 24, Tmux: c.tmux, White: true,
				// What a window gains is the terminal's own until tmux draws it: the
				// black background must get through to it. The program asks tmux for
				// that by itself.
				TmuxConf: "set -g allow-passthrough on\n",
				Command:  []string{self, "-test.run=^TestTheRoomStaysDark$"},
				Env:      []string{"EMBER_TEST_CHILD=keeper", "EMBER_TEST_PID=" + pidFile},
			})
			lit := func(s rig.Shot) bool { return s.Lit > 0.03 && s.Lit < 0.5 }
			shot := m.WaitShot("the first frame", lit)
			shot.Judge(t, "the first frame", 0.003)
			stop := m.Watch()
			m.Meddle()
			m.Resize(100, 30)
			m.WaitShot("the frame to fill the larger window", func(s rig.Shot) bool { return s.Width > shot.Width && s.MeanLuminance < 0.5 }).Judge(t, "resized", 0.003)
			m.Type("d")
			shot = m.Settled(true)
			shot.Judge(t, "dark", 0)
			m.Type("e")
			shot = m.Next(shot)
			shot.Judge(t, "ember again", 0.003)

			b, err := os.ReadFile(pidFile)
			if err != nil {
				t.Fatal(err)
			}
			child, err := strconv.Atoi(strings.TrimSpace(string(b)))
			if err != nil {
				t.Fatal(err)
			}
			if c.ask {
				c.end(m, child)
				shot = m.Next(shot)
				shot.Judge(t, "the question", 0.003)
				m.Meddle()
				m.Type("n")
			}
			worst, taken := stop()
			worst.Judge(t, fmt.Sprintf("the worst of %d photographs on the way", taken), 0.003)
			if c.ask {
				m.Type("y")
			} else {
				c.end(m, child)
			}
			if code := m.WaitEnd(); code != c.code {
				t.Errorf("code %d, want %d", code, c.code)
			}
			white := m.WaitShot("the terminal as it was", func(s rig.Shot) bool { return s.MaxGreen == 255 })
			t.Log("given back: ", fmt.Sprint(white))
		})
	}
}

func send(t *testing.T, pid int, sig syscall.Signal) {
	t.Helper()
	p, err := os.FindProcess(pid)
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Signal(sig); err != nil {
		t.Fatal(err)
	}
}
