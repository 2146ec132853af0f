package main

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"
	"github.com/jezek/xgb"
	"github.com/jezek/xgb/dpms"
	"github.com/jezek/xgb/xproto"

	"wetside/session"
	"wetside/session/desk"
	"wetside/session/sessiontest"
	"wetside/tui"
	"wetside/tui/termtest"
)

// A laptop that is not there: a session service on a bus of its own, and a folder that
// stands for the kernel's lamps while the program runs.
type laptop struct {
	home
	t   *testing.T
	sys string

	mu    sync.Mutex
	lamps string // what the service does when it is asked to set one: "" does so, "refuse", "hang"
	lid   string // and to hold off the lid
	end   chan struct{}
}

const login = "org.freedesktop.login1"

func newLaptop(t *testing.T) *laptop {
	t.Helper()
	sessiontest.Need(t, "dbus-daemon=dbus", "tmux")
	if out, err := exec.Command("unshare", "-m", "mount", "--bind", t.TempDir(), "/sys/class").CombinedOutput(); err != nil {
		sessiontest.Skip(t, "a folder cannot stand for the kernel's lamps: "+strings.TrimSpace(string(out)), "run as root on Linux")
	}
	l := &laptop{home: newHome(t), t: t, end: make(chan struct{})}
	t.Cleanup(func() { close(l.end) })
	l.sys = filepath.Join(l.dir, "sys")
	l.device("backlight/panel0", 700, 1000)
	l.device("leds/maker::kbd_backlight", 2, 3)

	conf := filepath.Join(l.dir, "bus.conf")
	if err := os.WriteFile(conf, []byte(`<busconfig><type>custom</type><listen>unix:tmpdir=/tmp</listen><auth>EXTERNAL</auth>
<policy context="default"><allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/><allow own="*"/></policy></busconfig>`), 0o600); err != nil {
		t.Fatal(err)
	}
	daemon := exec.Command("dbus-daemon", "--config-file="+conf, "--print-address", "--nofork")
	out, err := daemon.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	running(t, daemon)
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	bus := strings.TrimSpace(line)
	conn, err := dbus.Connect(bus)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	for path, methods := range map[dbus.ObjectPath]map[string]any{
		"/org/freedesktop/login1": {
			"GetSession": func(string) (dbus.ObjectPath, *dbus.Error) { return "/org/freedesktop/login1/session/c7", nil },
			"Inhibit": func(what, _, _, _ string) (dbus.UnixFD, *dbus.Error) {
				if strings.Contains(what, "lid") {
					if err := l.does(&l.lid); err != nil {
						return 0, err
					}
				}
				null, err := os.Open(os.DevNull)
				if err != nil {
					return 0, dbus.MakeFailedError(err)
				}
				time.AfterFunc(time.Second, func() { null.Close() }) // it was sent
				return dbus.UnixFD(null.Fd()), nil
			},
		},
		"/org/freedesktop/login1/session/c7": {
			"SetBrightness": func(subsystem, name string, v uint32) *dbus.Error {
				if err := l.does(&l.lamps); err != nil {
					return err
				}
				l.set(subsystem+"/"+name, "brightness", int(v))
				return nil
			},
		},
	} {
		iface := login + ".Manager"
		if strings.Contains(string(path), "session") {
			iface = login + ".Session"
		}
		if err := conn.ExportMethodTable(methods, path, iface); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := conn.RequestName(login, dbus.NameFlagDoNotQueue); err != nil {
		t.Fatal(err)
	}
	l.env = append(l.env, "DBUS_SYSTEM_BUS_ADDRESS="+bus)
	return l
}

// running starts a process that ends with the test.
func running(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
}

func (l *laptop) does(which *string) *dbus.Error {
	l.mu.Lock()
	what := *which
	l.mu.Unlock()
	switch what {
	case "refuse":
		return dbus.NewError("org.freedesktop.DBus.Error.AccessDenied", []any{"Permission denied"})
	case "hang":
		<-l.end
	}
	return nil
}

func (l *laptop) set(device, file string, v int) {
	if err := os.WriteFile(filepath.Join(l.sys, device, file), fmt.Appendf(nil, "%d\n", v), 0o600); err != nil {
		l.t.Error(err)
	}
}

func (l *laptop) device(name string, value, most int) {
	l.t.Helper()
	if err := os.MkdirAll(filepath.Join(l.sys, name), 0o700); err != nil {
		l.t.Fatal(err)
	}
	l.set(name, "brightness", value)
	l.set(name, "max_brightness", most)
}

// shines waits until panel and keyboard have these values.
func (l *laptop) shines(panel, keys int) {
	l.t.Helper()
	until(l.t, fmt.Sprintf("panel and keyboard at %d and %d", panel, keys), func() bool {
		for name, want := range map[string]int{"backlight/panel0": panel, "leds/maker::kbd_backlight": keys} {
			b, _ := os.ReadFile(filepath.Join(l.sys, name, "brightness")) // it may be written just now
			if strings.TrimSpace(string(b)) != strconv.Itoa(want) {
				return false
			}
		}
		return true
	})
}

// in is how a program is begun on the laptop.
func (l *laptop) in() []string {
	return []string{"unshare", "-m", "sh", "-c", `mount --bind "$0" /sys/class && exec "$@"`, l.sys, binary(l.t)}
}

func (l *laptop) check() string {
	l.t.Helper()
	args := append(l.in(), "check", "--sound", "none")
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Env = append(append(os.Environ(), "DISPLAY="), l.env...)
	out, err := cmd.Output()
	if err != nil {
		l.t.Fatal(err)
	}
	return string(out)
}

func (l *laptop) begin() *pane {
	l.t.Helper()
	return newPaneOf(l.t, l.home, 120, 45, l.in(), "--sound", "none")
}

// screen goes to a screen by the words that it is known by.
func (p *pane) screen(words string) {
	p.t.Helper()
	asked := time.Time{}
	defer func() {
		if p.t.Failed() {
			p.t.Logf("what the screen says:\n%s", p.text())
		}
	}()
	until(p.t, "the screen that says "+words, func() bool {
		text := p.text()
		if !strings.Contains(text, words) && time.Since(asked) > time.Second { // sooner it were a key held down
			p.keys("Tab")
			asked = time.Now()
		}
		return strings.Contains(text, words)
	})
}

// paperOut has a box of paper open, from the start of the program on.
func (p *pane) paperOut() {
	p.t.Helper()
	p.wait("What do you want to do?")
	p.screen("i image seen")
	p.keys("p")
	p.wait("PAPER IS OUT")
}

// plainly is a screen's text without what its lines are broken by.
func plainly(text string) string { return strings.Join(strings.Fields(text), " ") }

func (p *pane) leave() {
	p.t.Helper()
	p.keys("q")
	p.wait("overed?")
	p.keys("y")
	p.wait("status 0")
}

// A session service that refuses to set a lamp, or never answers: nothing waits for it,
// nothing is said to be dimmed, and what is to be done by hand is; nothing is put back
// that was not changed.
func TestLampsThatCannotBeDimmed(t *testing.T) {
	for _, does := range []string{"refuse", "hang"} {
		t.Run(does, func(t *testing.T) {
			t.Parallel()
			l := newLaptop(t)
			l.lamps, l.lid = does, "refuse"
			const line = "set to 700 of 1000, and cannot be dimmed from here: turn it down with the laptop's own keys"
			says := func(where, text string) {
				t.Helper()
				text = plainly(text)
				if !strings.Contains(text, line) || strings.Contains(text, "dimmed to") || strings.Contains(text, "dimmed, and at") || strings.Contains(text, "dimmed when") {
					t.Errorf("%s:\n%s", where, text)
				}
			}
			text := l.check()
			says("the check", text)
			if does == "refuse" && !strings.Contains(text, "What closing the lid does never is: leave it open") {
				t.Errorf("the lid was refused:\n%s", text)
			}
			p := l.begin()
			p.paperOut()
			p.wait("turn down by hand what is lit")
			p.screen("before paper is opened")
			p.keys("?") // a key is answered as ever
			p.wait("keys of the room")
			p.keys("Escape")
			for range 8 {
				p.keys("Down") // to the brightness
				time.Sleep(350 * time.Millisecond)
			}
			until(t, "the room says so", func() bool { return strings.Contains(plainly(p.text()), line) })
			says("the room", p.text())
			says("the check, with paper out", l.check())
			l.shines(700, 2)
			p.leave()
			if _, err := os.Stat(filepath.Join(l.dir, ".local", "state", "wetside", "lamps.json")); err == nil && does == "refuse" {
				t.Error("nothing was changed, and old values are kept")
			}
			if text := p.text(); strings.Contains(text, "cannot be put back") && does == "refuse" {
				t.Errorf("nothing was changed:\n%s", text)
			}
		})
	}
}

// What raises a lamp while paper is out is answered within two seconds, and said; at
// level dark the panel goes as low as it can, and what is so is what is told.
func TestLampsThatComeUpInTheBuiltProgram(t *testing.T) {
	t.Parallel()
	l := newLaptop(t)
	if text := l.check(); !strings.Contains(text, "set to 700 of 1000, and dimmed when paper comes out") || !strings.Contains(text, "Then the lid is too, and with a clicker or pedal it may be closed") ||
		!strings.Contains(text, "it cannot be put out from here: the laptop's own key") {
		t.Errorf("the check:\n%s", text)
	}
	p := l.begin()
	p.paperOut()
	l.shines(1, 0)
	l.set("backlight/panel0", "brightness", 900)
	l.shines(1, 0)
	p.wait("came up by itself, and was dimmed again")
	if text := l.check(); !strings.Contains(text, "dimmed to 1 of 1000") {
		t.Errorf("dimmed:\n%s", text)
	}
	p.keys("g") // dark
	l.shines(0, 0)
	if text := l.check(); !strings.Contains(text, "dimmed to 0 of 1000, its lowest, which may not be off") {
		t.Errorf("at dark:\n%s", text)
	}
	l.set("backlight/panel0", "bl_power", 4)
	if text := l.check(); !strings.Contains(text, "dimmed to 0 of 1000, and says that it is off") {
		t.Errorf("off:\n%s", text)
	}
	l.set("backlight/panel0", "bl_power", 0)
	p.keys("g") // torch, and ember with paper out
	l.shines(1, 0)
	p.keys("p")
	l.shines(700, 2)
	p.leave()
}

// Whatever a session service does when it is asked for the lamps, and whatever is answered
// of a fog test's strip, in both of its halves, the window keeps to its budget. With
// WETSIDE_SOAK=1 every answer there is.
func TestLightWhateverServicesAndStripsDo(t *testing.T) {
	sessiontest.Need(t, "Xvfb=xvfb", "xterm", "import=imagemagick", "xdotool", "tmux")
	t.Parallel()
	l := newLaptop(t)
	type strip struct {
		does, answer string
		before       bool // the light came before the exposure
	}
	strips := []strip{{"hang", "0", false}, {"refuse", "16", true}, {"", "4", false}}
	if os.Getenv("WETSIDE_SOAK") == "" {
		t.Run("the other answers", func(t *testing.T) {
			sessiontest.Leave(t, "each takes a start of its own", "set WETSIDE_SOAK=1")
		})
	} else {
		services := strips
		strips = nil
		for i := range 2 * len(tui.FogSteps) {
			minutes := tui.FogSteps[i/2] / time.Minute
			strips = append(strips, strip{services[i%3].does, fmt.Sprint(int(minutes)), i%2 == 1})
		}
	}
	state := filepath.Join(l.dir, ".local", "state", "wetside")
	if err := os.MkdirAll(state, 0o700); err != nil {
		t.Fatal(err)
	}
	const each = `for i in $(seq 0 99); do while [ ! -e "$HOME/next$i" ]; do sleep 0.05; done; "$0" --sound none; : >"$HOME/ended$i"; done`
	in := l.in()
	in = append(in[:len(in)-1], "sh", "-c", each, binary(t))
	s := newScene(t, "tmux", termtest.Options{Tmux: true, Cols: 120, Rows: 45}, l.home, in[0], in[1:]...)
	t.Cleanup(func() {
		if t.Failed() {
			t.Log(s.Text())
		}
	})
	s.open()
	tabTo := func(words string) {
		t.Helper()
		s.WaitText(words, func(text string) bool {
			if strings.Contains(text, words) {
				return true
			}
			if time.Since(s.typed) > time.Second { // sooner it were a key held down
				s.press("<Tab>")
			}
			return false
		})
	}
	for i, c := range strips {
		l.mu.Lock()
		l.lamps = c.does
		l.mu.Unlock()
		if err := desk.StripIn(state).Keep(&session.FogTest{Paper: "direct-positive-fb", PreExposed: !c.before, Level: "ember", At: time.Now()}); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(l.dir, fmt.Sprintf("next%d", i)), nil, 0o600); err != nil {
			t.Fatal(err)
		}
		s.arrive(emberLimit)
		s.dim(fmt.Sprintf("services that %s, answer %s", either(c.does, "obey"), c.answer), func() {
			s.says("What do you want to do?")
			tabTo("i image seen")
			s.press("p")
			s.says("PAPER IS OUT")
			if c.does == "" {
				l.shines(1, 0)
				l.set("backlight/panel0", "brightness", 900)
				l.shines(1, 0)
				s.says("came up by itself")
			} else {
				s.says("turn down by hand")
			}
			tabTo("before paper is opened")
			s.press("f")
			s.says("Which is the longest step")
			s.judge("ember", "fog test's answer", s.Shot())
			s.press("7<Return>")
			s.says("answer with 0, 1")
			s.press("<BackSpace>" + c.answer + "<Return>")
			s.says("kept: ")
			s.judge("ember", "fog test kept", s.Shot())
			s.press("f")
			s.says("It has two halves")
			s.press("y")
			s.says("then uncover the strip")
			s.judge("ember", "fog test", s.Shot())
			s.press("<Escape>")
			s.says("cancelled")
			s.press("q")
			s.says("overed?")
		})
		s.press("y")
		s.WaitShot("the terminal as it was", func(x termtest.Shot) bool { return x.MaxGreen == 255 && x.MeanLuminance > 0.8 })
		until(t, "it has ended", func() bool { // it puts the lamps back last
			_, err := os.Stat(filepath.Join(l.dir, fmt.Sprintf("ended%d", i)))
			return err == nil
		})
	}
	out := l.wetside(t, "profiles", "show", "direct-positive-fb")
	t.Log(out)
	if strings.Count(out, `"`+strips[len(strips)-1].answer+`m`) == 0 {
		t.Errorf("the last answer is not in the profile:\n%s", out)
	}
}

// A panel is an X server with nothing but a panel that can be put out: of all there is in
// X it knows what begins a connection, what asks for an extension and for the focus, and
// of DPMS (X Consortium, version 1.1) what sets and tells. No server that runs without a
// screen has DPMS: neither Xvfb nor Xorg with its dummy driver.
type panel struct {
	mu       sync.Mutex
	enabled  bool
	level    uint16
	timeouts [3]uint16
	capable  bool
}

func newPanel(t *testing.T) (p *panel, display string) {
	t.Helper()
	p = &panel{timeouts: [3]uint16{500, 600, 700}, capable: true}
	socket := filepath.Join(t.TempDir(), "x")
	l, err := net.Listen("unix", socket+":0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go p.serve(c)
		}
	}()
	return p, socket + ":0"
}

func (p *panel) serve(c net.Conn) {
	defer c.Close()
	pad := func(n int) int { return (n + 3) &^ 3 }
	head := make([]byte, 12)
	if _, err := io.ReadFull(c, head); err != nil {
		return
	}
	io.CopyN(io.Discard, c, int64(pad(int(xgb.Get16(head[6:])))+pad(int(xgb.Get16(head[8:])))))
	info := xproto.SetupInfo{Status: 1, ProtocolMajorVersion: 11, ResourceIdBase: 1 << 21, ResourceIdMask: 1<<21 - 1, MaximumRequestLength: 0xffff,
		RootsLen: 1, MinKeycode: 8, MaxKeycode: 255, Roots: []xproto.ScreenInfo{{Root: 1, WidthInPixels: 800, HeightInPixels: 600}}}
	b := info.Bytes()
	xgb.Put16(b[6:], uint16(len(b)/4-2))
	c.Write(b)
	const extension = 140 // the major opcode it gives to DPMS
	for seq := uint16(1); ; seq++ {
		if _, err := io.ReadFull(c, head[:4]); err != nil {
			return
		}
		body := make([]byte, 4*int(xgb.Get16(head[2:]))-4)
		if _, err := io.ReadFull(c, body); err != nil {
			return
		}
		reply := make([]byte, 32)
		reply[0] = 1
		xgb.Put16(reply[2:], seq)
		switch head[0] {
		case 98: // QueryExtension
			if n := xgb.Get16(body); string(body[4:4+n]) == "DPMS" {
				reply[8], reply[9] = 1, extension
			}
		case 43: // GetInputFocus
		case extension:
			if !p.does(head[1], body, reply) {
				continue // it has no reply
			}
		default:
			reply[0], reply[1], reply[10] = 0, 1, head[0] // BadRequest
		}
		c.Write(reply)
	}
}

// does is one request of DPMS; false: it is not replied to.
func (p *panel) does(minor byte, body, reply []byte) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch minor {
	case 1: // Capable
		if p.capable {
			reply[8] = 1
		}
	case 2: // GetTimeouts
		for i, x := range p.timeouts {
			xgb.Put16(reply[8+2*i:], x)
		}
	case 3: // SetTimeouts
		for i := range p.timeouts {
			p.timeouts[i] = xgb.Get16(body[2*i:])
		}
		return false
	case 4: // Enable
		p.enabled = true
		return false
	case 5: // Disable, which lights it
		p.enabled, p.level = false, dpms.DPMSModeOn
		return false
	case 6: // ForceLevel, which is BadMatch while it is not enabled
		if !p.enabled {
			reply[0], reply[1], reply[10] = 0, 8, 140
			return true
		}
		p.level = xgb.Get16(body)
		return false
	case 7: // Info
		xgb.Put16(reply[8:], p.level)
		if p.enabled {
			reply[10] = 1
		}
	}
	return true
}

// press is a press of whatever there is: it lights the panel.
func (p *panel) press() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.level = dpms.DPMSModeOn
}

func (p *panel) isOff() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.enabled && p.level == dpms.DPMSModeOff
}

func (p *panel) isAsItWas() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return !p.enabled && p.level == dpms.DPMSModeOn && p.timeouts == [3]uint16{500, 600, 700}
}

// On X the panel is put out at level dark while paper is out, again after each press, and
// is as it was when there is light again.
func TestThePanelIsPutOut(t *testing.T) {
	t.Parallel()
	x, display := newPanel(t)
	h := newHome(t, "DISPLAY="+display)
	const can = "at level dark, led or blind it is put out while paper is out"
	if text := h.wetside(t, "check", "--sound", "none"); !strings.Contains(text, can) {
		t.Errorf("the check:\n%s", text)
	}
	x.capable = false
	if text := h.wetside(t, "check", "--sound", "none"); strings.Contains(text, can) || !strings.Contains(text, "it cannot be put out from here: the laptop's own key") {
		t.Errorf("the check, of a panel that cannot be put out:\n%s", text)
	}
	x.capable = true
	p := newPane(t, h, 120, 40, "--sound", "none")
	p.paperOut()
	if !x.isAsItWas() {
		t.Error("touched at level ember, where one looks at it")
	}
	p.keys("g")
	until(t, "the panel is off", x.isOff)
	for range 3 {
		x.press()
		until(t, "it is off again", x.isOff)
	}
	p.wait("each press wakes it for a moment")
	p.keys("g")
	until(t, "it is as it was", x.isAsItWas)
	p.leave()
}

// What was changed to put the panel out is given back after a kill too: by the keeper,
// once paper is covered, or by the next start.
func TestThePanelIsGivenBackAfterAKill(t *testing.T) {
	for _, both := range []bool{false, true} {
		t.Run(map[bool]string{false: "of the program", true: "of both"}[both], func(t *testing.T) {
			t.Parallel()
			x, display := newPanel(t)
			h := newHome(t, "DISPLAY="+display)
			once := binary(t) + " --sound none"
			p := newPaneOf(t, h, 120, 40, []string{"sh", "-c", once + "; " + once})
			p.paperOut()
			p.keys("g")
			until(t, "the panel is off", x.isOff)
			shell, err := strconv.Atoi(strings.TrimSpace(p.do("list-panes", "-F", "#{pane_pid}")))
			if err != nil {
				t.Fatal(err)
			}
			keeper := childOf(t, childOf(t, shell))
			program := childOf(t, keeper)
			if both {
				syscall.Kill(keeper, syscall.SIGKILL)
			}
			syscall.Kill(program, syscall.SIGKILL)
			x.press()
			if !both {
				p.wait("Cover the paper")
				if x.isAsItWas() {
					t.Error("it is given back before paper is covered")
				}
				p.keys("y")
				until(t, "it is as it was", x.isAsItWas)
			}
			p.wait("PAPER IS OUT")
			if both && x.isAsItWas() {
				t.Error("it is given back while paper is out")
			}
			p.leave()
			until(t, "it is as it was", x.isAsItWas)
		})
	}
}
