package lamps

import (
	"bufio"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/godbus/dbus/v5"

	"wetside/session/sessiontest"
)

// bench is a laptop that is not there: logind as python-dbusmock's template
// plays it, on a bus of its own, and a directory for sysfs.
type bench struct {
	t     *testing.T
	addr  string
	sys   string
	state string
	conn  *dbus.Conn
}

const mockSession = "c7"

func newBench(t *testing.T) *bench {
	t.Helper()
	sessiontest.Need(t, "dbus-daemon=dbus")
	python := mockPython(t)
	b := &bench{t: t, sys: t.TempDir(), state: filepath.Join(t.TempDir(), "lamps.json")}
	b.device("backlight", "panel0", 700, 1000)
	b.device("leds", "maker::kbd_backlight", 2, 3)
	b.device("leds", "input3::capslock", 1, 1)

	conf := filepath.Join(t.TempDir(), "bus.conf")
	err := os.WriteFile(conf, []byte(`<busconfig><type>custom</type><listen>unix:tmpdir=/tmp</listen><auth>EXTERNAL</auth>
<policy context="default"><allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/><allow own="*"/></policy></busconfig>`), 0o600)
	if err != nil {
		t.Fatal(err)
	}
	daemon := exec.Command("dbus-daemon", "--config-file="+conf, "--print-address", "--nofork")
	out, err := daemon.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	b.start(daemon)
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatalf("the bus gave no address: %v", err)
	}
	b.addr = strings.TrimSpace(line)
	b.conn, err = dbus.Connect(b.addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.conn.Close() })

	mock := exec.Command(python, "-m", "dbusmock", "--template", "logind")
	mock.Env = append(os.Environ(), "DBUS_SYSTEM_BUS_ADDRESS="+b.addr)
	b.start(mock)
	b.await("logind", func() bool {
		var has bool
		return b.conn.BusObject().Call("org.freedesktop.DBus.NameHasOwner", 0, loginName).Store(&has) == nil && has
	})
	const mocked = "org.freedesktop.DBus.Mock."
	manager := b.conn.Object(loginName, loginPath)
	var p string
	b.await("the session", func() bool {
		return manager.Call(mocked+"AddSession", 0, mockSession, "seat0", uint32(1000), "printer", true).Store(&p) == nil
	})
	// The template does not play SetBrightness (org.freedesktop.login1(5):
	// subsystem, name, brightness). Here it writes where the kernel would.
	code := fmt.Sprintf("open(%q + '/class/' + args[0] + '/' + args[1] + '/brightness', 'w').write(str(int(args[2])))", b.sys)
	if err := b.conn.Object(loginName, dbus.ObjectPath(p)).Call(mocked+"AddMethod", 0,
		loginName+".Session", "SetBrightness", "ssu", "", code).Err; err != nil {
		t.Fatal(err)
	}
	return b
}

// mockPython finds a Python that has the mock.
func mockPython(t *testing.T) string {
	t.Helper()
	for _, p := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(p, "-c", "import dbusmock").Run() == nil {
			return p
		}
	}
	sessiontest.Skip(t, "python3 has no dbusmock", "apt install python3-dbusmock")
	return ""
}

func (b *bench) start(cmd *exec.Cmd) {
	b.t.Helper()
	if err := cmd.Start(); err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
}

func (b *bench) await(what string, cond func() bool) {
	b.t.Helper()
	for end := time.Now().Add(20 * time.Second); !cond(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			b.t.Fatalf("waited in vain for %s", what)
		}
	}
}

func (b *bench) device(sub, name string, value, most int) {
	b.t.Helper()
	dir := filepath.Join(b.sys, "class", sub, name)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		b.t.Fatal(err)
	}
	for file, v := range map[string]int{"brightness": value, "max_brightness": most} {
		if err := os.WriteFile(filepath.Join(dir, file), fmt.Appendf(nil, "%d\n", v), 0o600); err != nil {
			b.t.Fatal(err)
		}
	}
}

func (b *bench) lamps() Lamps { return New(mockedOptions(b.addr, b.sys, b.state)) }

func mockedOptions(addr, sys, state string) Options {
	return Options{
		Bus:       func(opts ...dbus.ConnOption) (*dbus.Conn, error) { return dbus.Connect(addr, opts...) },
		Sys:       os.DirFS(sys),
		State:     state,
		Session:   mockSession,
		Backlight: 0.05,
	}
}

// shines fails the test unless panel and keyboard have these values.
func (b *bench) shines(when string, panel, keys uint32) {
	b.t.Helper()
	for name, want := range map[string]uint32{"class/backlight/panel0/brightness": panel, "class/leds/maker::kbd_backlight/brightness": keys} {
		if got, err := readNumber(os.DirFS(b.sys), name); err != nil || got != want {
			b.t.Errorf("%s: %s is %d (%v), want %d", when, name, got, err, want)
		}
	}
}

func (b *bench) inhibitors() (what []string) {
	b.t.Helper()
	var list []struct {
		What, Who, Why, Mode string
		UID, PID             uint32
	}
	if err := b.conn.Object(loginName, loginPath).Call(loginName+".Manager.ListInhibitors", 0).Store(&list); err != nil {
		b.t.Fatal(err)
	}
	for _, i := range list {
		what = append(what, i.Who+" "+i.What+" "+i.Mode+" "+i.Why)
	}
	return what
}

func (b *bench) stateFile() bool { _, err := os.Stat(b.state); return err == nil }

func TestLampsAreDimmedAndPutBack(t *testing.T) {
	b := newBench(t)
	l := b.lamps()
	if err := l.Restore(); err != nil {
		t.Errorf("nothing to recover: %v", err)
	}
	b.shines("before", 700, 2)
	for range 2 { // once more changes nothing, and forgets nothing
		if err := l.Dim(false); err != nil {
			t.Fatal(err)
		}
		b.shines("dimmed", 50, 0)
		if !b.stateFile() {
			t.Error("the old values are not on disk")
		}
	}
	report := fmt.Sprint(l.Report())
	for _, want := range []string{fmt.Sprintf("{%d backlight panel0 verified dimmed to 50 of 1000. 0.05 true}", AboutPanel), fmt.Sprintf("{%d leds maker::kbd_backlight verified", AboutKeyboard), "input3::capslock"} {
		if !strings.Contains(report, want) {
			t.Errorf("not reported: %q in %s", want, report)
		}
	}
	if l.Raised() {
		t.Error("dimmed, and said to be raised")
	}
	if share, ok := l.Panel(); !ok || share != 0.05 {
		t.Errorf("the panel dimmed gives %v of its most, read: %v", share, ok)
	}
	b.device("backlight", "panel0", 400, 1000)
	if share, ok := l.Panel(); !ok || share != 0.4 {
		t.Errorf("the panel turned up gives %v of its most, read: %v", share, ok)
	}
	if !l.Raised() || !strings.Contains(fmt.Sprint(l.Report()), "lit dimmed, and at 400 of 1000 again") {
		t.Errorf("turned up by a key of its own: raised %v, %v", l.Raised(), l.Report())
	}
	if err := l.Dim(false); err != nil || l.Raised() {
		t.Fatal(err)
	}
	if err := l.Restore(); err != nil {
		t.Fatal(err)
	}
	b.shines("put back", 700, 2)
	if b.stateFile() {
		t.Error("the old values are still on disk, and would be put back once more at the next start")
	}
}

func TestSleepIsHeldOffWhileAClockRuns(t *testing.T) {
	b := newBench(t)
	l := b.lamps()
	for range 2 {
		if err := l.Inhibit("sheet 3 is in the developer"); err != nil {
			t.Fatal(err)
		}
	}
	b.await("the inhibitor", func() bool {
		got := b.inhibitors()
		return len(got) == 1 && got[0] == "wetside idle:sleep:handle-lid-switch block sheet 3 is in the developer"
	})
	if r := fmt.Sprint(l.Report()); !strings.Contains(r, fmt.Sprintf("{%d sleep, lock screen, lid verified", AboutSleep)) {
		t.Errorf("not reported: %s", r)
	}
	for range 2 {
		if err := l.Release(); err != nil {
			t.Fatal(err)
		}
	}
	b.await("its end", func() bool { return len(b.inhibitors()) == 0 })
}

// The program is killed outright with the lamps down; the next start puts them
// back, and what it finds dimmed is not taken for what they were.
func TestLampsArePutBackAfterAKill(t *testing.T) {
	if os.Getenv("LAMPS_TEST_CHILD") == "lamps" {
		l := New(mockedOptions(os.Getenv("LAMPS_TEST_BUS"), os.Getenv("LAMPS_TEST_SYS"), os.Getenv("LAMPS_TEST_STATE")))
		if err := l.Inhibit("to be killed"); err != nil {
			t.Fatal(err)
		}
		if err := l.Dim(false); err != nil {
			t.Fatal(err)
		}
		fmt.Println("dimmed")
		select {}
	}
	b := newBench(t)
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	child := exec.Command(self, "-test.run=^TestLampsArePutBackAfterAKill$")
	child.Env = append(os.Environ(), "LAMPS_TEST_CHILD=lamps", "LAMPS_TEST_BUS="+b.addr, "LAMPS_TEST_SYS="+b.sys, "LAMPS_TEST_STATE="+b.state)
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	b.start(child)
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "dimmed\n" {
		t.Fatalf("the child said %q, %v", line, err)
	}
	b.shines("dimmed", 50, 0)
	if len(b.inhibitors()) != 1 {
		t.Errorf("inhibitors: %v", b.inhibitors())
	}
	if err := child.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = child.Wait() // it was killed
	b.await("the inhibitor's end with its process", func() bool { return len(b.inhibitors()) == 0 })
	b.shines("after the kill", 50, 0)

	next := b.lamps()
	if err := next.Dim(false); err != nil { // a start that goes straight on in the dark
		t.Fatal(err)
	}
	if err := next.Restore(); err != nil {
		t.Fatal(err)
	}
	b.shines("at the next start", 700, 2)
}

func TestLampsWithoutTheService(t *testing.T) {
	sys := t.TempDir()
	b := &bench{t: t, sys: sys, state: filepath.Join(t.TempDir(), "lamps.json")}
	b.device("backlight", "panel0", 700, 1000)
	b.device("leds", "maker::kbd_backlight", 2, 3)
	for name, opts := range map[string]Options{
		"no bus":    {Sys: os.DirFS(sys), State: b.state},
		"dead bus":  mockedOptions("unix:path=/nonexistent/bus", sys, b.state),
		"no sysfs":  {State: b.state},
		"no device": {Sys: os.DirFS(t.TempDir()), State: b.state},
	} {
		t.Run(name, func(t *testing.T) {
			l := New(opts)
			if err := l.Dim(false); err == nil != (name == "no device") {
				t.Errorf("Dim: %v", err)
			} else if err != nil && !strings.Contains(err.Error(), "by hand") {
				t.Errorf("Dim does not say what to do: %v", err)
			}
			if err := l.Inhibit("x"); err == nil || !strings.Contains(err.Error(), "by hand") {
				t.Errorf("Inhibit: %v", err)
			}
			if err := l.Release(); err != nil {
				t.Errorf("Release: %v", err)
			}
			if err := l.Restore(); err != nil {
				t.Errorf("nothing to restore: %v", err)
			}
			if r := fmt.Sprint(l.Report()); !strings.Contains(r, "lamps and sleep look yourself") {
				t.Errorf("not reported: %s", r)
			}
		})
	}
	if b.stateFile() {
		t.Error("nothing was changed, and still old values were written")
	}
	b.shines("untouched", 700, 2)
}

// A service that dies between dimming and putting back: the values stay on disk.
func TestLampValuesOutliveTheService(t *testing.T) {
	b := newBench(t)
	if err := b.lamps().Dim(false); err != nil {
		t.Fatal(err)
	}
	l := New(mockedOptions("unix:path=/nonexistent/bus", b.sys, b.state))
	if err := l.Restore(); err == nil || !strings.Contains(err.Error(), b.state) {
		t.Errorf("Restore without the service: %v", err)
	}
	if !b.stateFile() {
		t.Fatal("the old values are lost")
	}
	if err := b.lamps().Restore(); err != nil {
		t.Fatal(err)
	}
	b.shines("put back later", 700, 2)

	if err := os.WriteFile(b.state, []byte("{half"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := b.lamps().Dim(false); err == nil || !strings.Contains(err.Error(), b.state) {
		t.Errorf("a state file cut short: %v", err)
	}
	b.shines("left alone", 700, 2)
}

// Old values are kept while the lamps cannot be read, and put back when they can.
func TestOldValuesOutliveLampsThatCannotBeRead(t *testing.T) {
	b := newBench(t)
	l := b.lamps()
	if err := l.Dim(false); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(b.sys, "class", "leds", "maker::kbd_backlight", "brightness")
	if err := os.WriteFile(file, []byte("?\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := l.Restore(); err == nil {
		t.Error("nothing is said of lamps that cannot be read")
	}
	if err := os.WriteFile(file, []byte("0\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := l.Restore(); err != nil {
		t.Fatal(err)
	}
	b.shines("put back at the second try", 700, 2)
}

// A session service that takes what it is asked and never answers is given up,
// each time, and the user is told what to do by hand: whether nobody is behind
// the bus's socket, or the bus lives and logind does not.
func TestLampsOfAServiceThatHangs(t *testing.T) {
	sys := t.TempDir()
	b := &bench{t: t, sys: sys, state: filepath.Join(t.TempDir(), "lamps.json")}
	b.device("backlight", "panel0", 700, 1000)
	socket := filepath.Join(t.TempDir(), "bus")
	deaf, err := net.Listen("unix", socket)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = deaf.Close() })
	t.Run("bus", func(t *testing.T) { hangs(t, mockedOptions("unix:path="+socket, sys, b.state)) })
	if b.stateFile() {
		t.Error("nothing was changed, and still old values were written")
	}
	t.Run("logind", func(t *testing.T) {
		b := newBench(t)
		stop := b.conn.Object(loginName, loginPath)
		for _, m := range [][3]string{{"GetSession", "s", "o"}, {"Inhibit", "ssss", "h"}} {
			if err := stop.Call("org.freedesktop.DBus.Mock.AddMethod", 0, loginName+".Manager", m[0], m[1], m[2], "import time\nwhile True: time.sleep(1)").Err; err != nil {
				t.Fatal(err)
			}
		}
		hangs(t, mockedOptions(b.addr, b.sys, b.state))
	})
}

func hangs(t *testing.T, opts Options) {
	l := New(opts)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for what, err := range map[string]error{"Inhibit": l.Inhibit("a sheet"), "Dim": l.Dim(false)} {
			if err == nil || !strings.Contains(err.Error(), "no answer") || !strings.Contains(err.Error(), "by hand") {
				t.Errorf("%s: %v", what, err)
			}
		}
		if r := fmt.Sprint(l.Report()); !strings.Contains(r, "lamps and sleep look yourself") || !strings.Contains(r, "no answer") {
			t.Errorf("not reported: %s", r)
		}
		if err := errors.Join(l.Restore(), l.Release()); err != nil {
			t.Errorf("nothing was changed, and to put it back: %v", err)
		}
	}()
	select {
	case <-done:
	case <-time.After(time.Minute):
		t.Fatal("waited a minute for a service that hangs")
	}
}
