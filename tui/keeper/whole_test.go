//go:build unix

package keeper

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

	"wetside/tui/ember"
	"wetside/tui/termtest"
)

// room is the least program that draws as the real one does: bubbletea behind
// the guard.
type room struct {
	guard *ember.Guard
	w, h  int
	level ember.Level
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
			r.level = ember.Dark
			_ = r.guard.SetLevel(ember.Dark)
		case "e":
			r.level = ember.Ember
			_ = r.guard.SetLevel(ember.Ember)
		}
	}
	return r, nil
}

func (r room) View() string {
	st := ember.NewStyles(r.level, ember.TrueColor)
	lines := []string{st.Faint.Render("develop  sheet 3  tea caddy"), st.Strong.Render("12:34"), st.Border.Render(strings.Repeat("─", r.w))}
	for i := range 12 {
		lines = append(lines, st.Normal.Render(fmt.Sprintf("%2d  hat box      fix 1    3:%02d left", i, i)))
	}
	return ember.Paint(strings.Join(lines, "\n"), r.w, r.h, r.level)
}

func roomChild(t *testing.T) {
	profile, _ := ember.Detect(os.Getenv, true, false)
	opts := ember.Options{Profile: profile, Mux: ember.DetectMux(os.Getenv), Level: ember.Ember, Kept: os.Getenv("KEEPER_TEST_CHILD") == "room"}
	g := ember.NewGuard(os.Stdout, opts)
	if os.Getenv("KEEPER_TEST_CHILD") == "keeper" {
		self, err := os.Executable()
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(self, "-test.run=^TestTheRoomStaysDark$")
		cmd.Env = append(os.Environ(), "KEEPER_TEST_CHILD=room")
		signals := make(chan os.Signal, 4)
		signal.Notify(signals, syscall.SIGTERM, syscall.SIGHUP, os.Interrupt)
		os.Exit(Keeper{Guard: g, Terminal: TTY(os.Stdin, os.Stdout), Signals: signals}.Run(Command(cmd)))
	}
	if err := os.WriteFile(os.Getenv("KEEPER_TEST_PID"), []byte(strconv.Itoa(os.Getpid())), 0o600); err != nil {
		t.Fatal(err)
	}
	_ = g.Begin(80, 24)
	_, err := tea.NewProgram(room{guard: g, level: ember.Ember}, tea.WithOutput(g), tea.WithAltScreen(),
		tea.WithoutCatchPanics(), tea.WithoutSignalHandler()).Run()
	if err != nil {
		os.Exit(1)
	}
	os.Exit(0)
}

// From a terminal of black on white: start, resize, dark, and each way out. The
// terminal goes back to white only when that was asked for.
func TestTheRoomStaysDark(t *testing.T) {
	switch os.Getenv("KEEPER_TEST_CHILD") {
	case "keeper", "room":
		roomChild(t)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		end  func(m *termtest.Term, child int)
		ask  bool
		code int
		tmux bool
	}{
		{"quit", func(m *termtest.Term, _ int) { m.Type("q") }, false, 0, false},
		{"panic", func(m *termtest.Term, _ int) { m.Type("p") }, true, 2, false},
		{"panic in tmux", func(m *termtest.Term, _ int) { m.Type("p") }, true, 2, true},
		{"SIGTERM", func(m *termtest.Term, _ int) { send(t, m.PID(), syscall.SIGTERM) }, true, 143, false},
		{"SIGHUP", func(m *termtest.Term, _ int) { send(t, m.PID(), syscall.SIGHUP) }, true, 129, false},
		{"kill", func(_ *termtest.Term, child int) { send(t, child, syscall.SIGKILL) }, true, 137, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			pidFile := filepath.Join(t.TempDir(), "pid")
			m := termtest.Start(t, termtest.Options{
				Cols: 80, Rows: 24, Tmux: c.tmux, White: true,
				// What a window gains is the terminal's own until tmux draws it: the
				// black background must get through to it. The program asks tmux for
				// that by itself.
				TmuxConf: "set -g allow-passthrough on\n",
				Command:  []string{self, "-test.run=^TestTheRoomStaysDark$"},
				Env:      []string{"KEEPER_TEST_CHILD=keeper", "KEEPER_TEST_PID=" + pidFile},
			})
			lit := func(s termtest.Shot) bool { return s.Lit > 0.03 && s.Lit < 0.5 }
			shot := m.WaitShot("the first frame", lit)
			shot.Judge(t, "the first frame", 0.003)
			stop := m.Watch()
			m.Meddle()
			m.Resize(100, 30)
			m.WaitShot("the frame to fill the larger window", func(s termtest.Shot) bool { return s.Width > shot.Width && s.MeanLuminance < 0.5 }).Judge(t, "resized", 0.003)
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
			white := m.WaitShot("the terminal as it was", func(s termtest.Shot) bool { return s.MaxGreen == 255 })
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
