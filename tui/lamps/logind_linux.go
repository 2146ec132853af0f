package lamps

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/godbus/dbus/v5"

	"wetside/session/words"
)

// New gives the lamps of this machine, by way of logind
// (org.freedesktop.login1(5)): an active session may set the brightness of its
// seat's devices without being root.
func New(opts Options) Lamps { return &logind{opts: opts} }

type logind struct {
	opts Options
	mu   sync.Mutex
	conn *dbus.Conn
	hold *os.File
	lid  bool // the hold is on the lid too

	asked  bool  // whether the lamps can be set
	unable error // why they cannot
	lids   lidAnswer
}

// lidAnswer is whether a user may hold off what closing the lid does.
type lidAnswer int

const (
	lidUnknown lidAnswer = iota
	lidGranted
	lidRefused
)

// patience is how long the session service has for all that one call of a
// method of [Lamps] asks of it.
const patience = 2 * time.Second

// errSilent is a service that took the question and gave no answer.
var errSilent = fmt.Errorf("the session service gave no answer within %v", patience)

func patient() (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.Background(), patience)
}

// silence is err, said plainly where it is that the time is up.
func silence(ctx context.Context, err error) error {
	if err != nil && ctx.Err() != nil {
		return errSilent
	}
	return err
}

const (
	loginName = "org.freedesktop.login1"
	loginPath = dbus.ObjectPath("/org/freedesktop/login1")
)

// lamp is a device of sysfs with a brightness.
type lamp struct {
	Subsystem string `json:"subsystem"`
	Name      string `json:"name"`
	Value     uint32 `json:"value"`
	max       uint32
}

func (l lamp) String() string { return l.Subsystem + " " + l.Name }

// saved is what the state file holds.
type saved struct {
	Lamps []lamp `json:"lamps"`
}

func (l *logind) bus(ctx context.Context) (*dbus.Conn, error) {
	if l.conn != nil && l.conn.Connected() {
		return l.conn, nil
	}
	if l.opts.Bus == nil {
		return nil, errors.New("there is no system bus")
	}
	// A bus may take the connection and never greet: that ends with ctx, and the
	// connection that was made in time does not.
	life, end := context.WithCancel(context.Background())
	made := context.AfterFunc(ctx, end)
	conn, err := l.opts.Bus(dbus.WithContext(life))
	if !made() && err == nil {
		err = errors.Join(ctx.Err(), conn.Close())
	}
	if err != nil {
		end()
		return nil, silence(ctx, err)
	}
	l.conn = conn
	return conn, nil
}

func (l *logind) session(ctx context.Context) (dbus.BusObject, error) {
	conn, err := l.bus(ctx)
	if err != nil {
		return nil, err
	}
	id := l.opts.Session
	id = cmp.Or(id, "auto")
	var p dbus.ObjectPath
	if err := conn.Object(loginName, loginPath).CallWithContext(ctx, loginName+".Manager.GetSession", 0, id).Store(&p); err != nil {
		if ctx.Err() != nil {
			return nil, errSilent
		}
		return nil, fmt.Errorf("logind does not know this session: %w", err)
	}
	return conn.Object(loginName, p), nil
}

func setBrightness(ctx context.Context, session dbus.BusObject, l lamp) error {
	if err := session.CallWithContext(ctx, loginName+".Session.SetBrightness", 0, l.Subsystem, l.Name, l.Value).Err; err != nil {
		return fmt.Errorf("%v could not be set to %d: %w", l, l.Value, silence(ctx, err))
	}
	return nil
}

// devices lists the panel's and the keyboard's lamps with their values.
func (l *logind) devices() ([]lamp, error) {
	if l.opts.Sys == nil {
		return nil, errors.New("sysfs is not there")
	}
	var out []lamp
	for _, sub := range []string{"backlight", "leds"} {
		entries, err := fs.ReadDir(l.opts.Sys, path.Join("class", sub))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if sub == "leds" && !strings.Contains(e.Name(), "kbd_backlight") {
				continue
			}
			dir := path.Join("class", sub, e.Name())
			value, err := readNumber(l.opts.Sys, path.Join(dir, "brightness"))
			if err != nil {
				return nil, err
			}
			most, err := readNumber(l.opts.Sys, path.Join(dir, "max_brightness"))
			if err != nil {
				return nil, err
			}
			out = append(out, lamp{Subsystem: sub, Name: e.Name(), Value: value, max: most})
		}
	}
	return out, nil
}

func readNumber(sys fs.FS, name string) (uint32, error) {
	b, err := fs.ReadFile(sys, name)
	if err != nil {
		return 0, err
	}
	n, err := strconv.ParseUint(strings.TrimSpace(string(b)), 10, 32)
	if err != nil {
		return 0, fmt.Errorf("%s does not hold a brightness: %w", name, err)
	}
	return uint32(n), nil
}

// dark is the value a lamp is dimmed to: never more than it had.
func (l *logind) dark(d lamp) uint32 {
	if d.Subsystem == "leds" {
		return 0
	}
	want := uint32(math.Round(float64(d.max) * max(0, min(1, l.opts.Backlight))))
	return min(d.Value, max(1, want))
}

func (l *logind) Dim(low bool) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	found, err := l.devices()
	if err != nil {
		return fmt.Errorf("the lamps cannot be read, dim the screen and the keyboard by hand: %w", err)
	}
	if len(found) == 0 {
		return nil
	}
	ctx, cancel := patient()
	defer cancel()
	session, err := l.session(ctx)
	l.asked, l.unable = true, err
	if err != nil {
		return fmt.Errorf("the lamps cannot be set, dim the screen and the keyboard by hand: %w", err)
	}
	// Values an earlier run left on disk are the true old ones: what sysfs
	// holds for these lamps now is what that run dimmed them to.
	old, err := l.load()
	if err != nil {
		return err
	}
	known := map[string]uint32{}
	for _, d := range old.Lamps {
		known[d.String()] = d.Value
	}
	for _, d := range found {
		if _, is := known[d.String()]; !is {
			old.Lamps = append(old.Lamps, d)
		}
	}
	if err := store(l.opts.State, old); err != nil {
		return fmt.Errorf("the lamps are left alone, because their old values could not be written down first: %w", err)
	}
	var errs []error
	for _, d := range found {
		is, before := known[d.String()]
		if before {
			d.Value = is
		}
		if d.Value = l.dark(d); low && d.Subsystem == "backlight" {
			d.Value = 0
		}
		if err := setBrightness(ctx, session, d); err != nil {
			errs = append(errs, err)
			if !before && !errors.Is(err, errSilent) { // it is as it was
				old.Lamps = slices.DeleteFunc(old.Lamps, func(o lamp) bool { return o.String() == d.String() })
			}
		}
	}
	if l.unable = errors.Join(errs...); l.unable == nil {
		return nil
	}
	return fmt.Errorf("not every lamp could be dimmed, turn down by hand what is lit: %w", errors.Join(l.unable, l.keep(old)))
}

// keep stores what is left of the old values.
func (l *logind) keep(s saved) error {
	if len(s.Lamps) > 0 {
		return store(l.opts.State, s)
	}
	if err := os.Remove(l.opts.State); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// able finds out whether a lamp can be set, by setting it to what it gives. What it
// found, unless nobody answered, it asks no more.
func (l *logind) able(ctx context.Context, d lamp) error {
	if l.asked {
		return l.unable
	}
	session, err := l.session(ctx)
	if err == nil {
		err = setBrightness(ctx, session, d)
	}
	l.asked, l.unable = ctx.Err() == nil, err
	return err
}

// off reports whether a panel's backlight says that it is off (bl_power of
// sysfs-class-backlight in the kernel's ABI: 0 is on).
func (l *logind) off(d lamp) bool {
	power, err := readNumber(l.opts.Sys, path.Join("class", d.Subsystem, d.Name, "bl_power"))
	return err == nil && power > 0
}

func (l *logind) Panel() (share float64, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	found, _ := l.devices()
	for _, d := range found {
		if d.Subsystem == "backlight" && d.max > 0 {
			share, ok = max(share, l.share(d)), true
		}
	}
	return share, ok
}

// share is what a lamp gives of its most. A panel at 0 may shine all the same: it is
// reckoned as one step.
func (l *logind) share(d lamp) float64 {
	if d.Subsystem == "backlight" && !l.off(d) {
		d.Value = max(1, d.Value)
	}
	return float64(d.Value) / float64(d.max)
}

func (l *logind) Raised() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	found, _ := l.devices() // what cannot be read was told when it was dimmed
	return slices.ContainsFunc(found, l.lit)
}

// lit reports whether a lamp gives more than it is dimmed to.
func (l *logind) lit(d lamp) bool {
	return d.Value > l.dark(lamp{Subsystem: d.Subsystem, max: d.max, Value: math.MaxUint32})
}

func (l *logind) Restore() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	old, err := l.load()
	if err != nil || len(old.Lamps) == 0 {
		return err
	}
	ctx, cancel := patient()
	defer cancel()
	session, err := l.session(ctx)
	if err != nil {
		return fmt.Errorf("the lamps cannot be put back, their old values stay in %s: %w", l.opts.State, err)
	}
	// A lamp that is gone (a screen unplugged) has nothing to be put back to.
	here := map[string]bool{}
	found, err := l.devices()
	if err != nil {
		return fmt.Errorf("the lamps cannot be read, their old values stay in %s: %w", l.opts.State, err)
	}
	for _, d := range found {
		here[d.String()] = true
	}
	var left saved
	var errs []error
	for _, d := range old.Lamps {
		if !here[d.String()] {
			continue
		}
		if err := setBrightness(ctx, session, d); err != nil {
			errs, left.Lamps = append(errs, err), append(left.Lamps, d)
		}
	}
	return errors.Join(append(errs, l.keep(left))...)
}

func (l *logind) load() (saved, error) {
	var s saved
	b, err := os.ReadFile(l.opts.State)
	if errors.Is(err, fs.ErrNotExist) {
		return s, nil
	}
	if err != nil {
		return s, err
	}
	if err := json.Unmarshal(b, &s); err != nil {
		return s, fmt.Errorf("%s does not hold lamp values (%w): look at it, set the lamps by hand, and delete it", l.opts.State, err)
	}
	return s, nil
}

// store writes the values so that after a crash at any moment either the old
// file or the new one is there, whole.
func store(file string, values any) error {
	b, err := json.MarshalIndent(values, "", "  ")
	if err != nil {
		return err
	}
	dir := filepath.Dir(file)
	f, err := os.CreateTemp(dir, filepath.Base(file)+".*")
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(f.Name()) }() // nothing to remove once renamed
	_, err = f.Write(append(b, '\n'))
	err = errors.Join(err, f.Sync(), f.Close())
	if err != nil {
		return err
	}
	if err := os.Rename(f.Name(), file); err != nil {
		return err
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

func (l *logind) Inhibit(why string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.hold != nil {
		return nil
	}
	ctx, cancel := patient()
	defer cancel()
	const byHand = "the machine may sleep or lock its screen, turn that off by hand: %w"
	conn, err := l.bus(ctx)
	if err != nil {
		return fmt.Errorf(byHand, err)
	}
	// Some systems let a user hold off sleep but not the lid: rather that
	// than nothing.
	for i, what := range []string{"idle:sleep:handle-lid-switch", "idle:sleep", "idle"} {
		if l.hold, err = inhibitor(ctx, conn, what, why); err == nil {
			l.lid = i == 0
			return nil
		}
		if ctx.Err() != nil {
			break
		}
	}
	return fmt.Errorf(byHand, err)
}

// inhibitor is the file that holds what off for as long as it is open.
func inhibitor(ctx context.Context, conn *dbus.Conn, what, why string) (*os.File, error) {
	call := conn.Object(loginName, loginPath).Go(loginName+".Manager.Inhibit", 0, make(chan *dbus.Call, 1), what, "wetside", why, "block")
	file := func() (*os.File, error) {
		var fd dbus.UnixFD
		if err := call.Store(&fd); err != nil {
			return nil, err
		}
		return os.NewFile(uintptr(fd), "inhibitor"), nil
	}
	select {
	case <-call.Done:
		return file()
	case <-ctx.Done():
		go func() {
			// One that comes after the user was told that there is none is let go
			// of. The wait ends with the connection.
			<-call.Done
			if f, err := file(); err == nil {
				_ = f.Close()
			}
		}()
		return nil, errSilent
	}
}

// mayHoldLid finds out whether the lid can be held off, by doing so for an instant; once.
func (l *logind) mayHoldLid(ctx context.Context) lidAnswer {
	if l.lids != lidUnknown {
		return l.lids
	}
	conn, err := l.bus(ctx)
	if err != nil {
		return lidUnknown
	}
	hold, err := inhibitor(ctx, conn, "handle-lid-switch", "to see whether it may")
	switch {
	case err == nil:
		_ = hold.Close()
		l.lids = lidGranted
	case ctx.Err() == nil:
		l.lids = lidRefused
	}
	return l.lids
}

func (l *logind) Release() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.hold == nil {
		return nil
	}
	err := l.hold.Close()
	l.hold, l.lid = nil, false
	return err
}

func (l *logind) Report() []Finding {
	l.mu.Lock()
	defer l.mu.Unlock()
	var out []Finding
	ctx, cancel := patient()
	defer cancel()
	found, err := l.devices()
	old, _ := l.load()
	panel, keys := false, false
	if err != nil {
		out = append(out, Finding{About: AboutOther, Lamp: "screen and keyboard light", Verdict: Unknown, Detail: "their values cannot be read: " + err.Error() + ". Dim them by hand."})
	}
	for _, d := range found {
		about := AboutPanel
		if d.Subsystem == "leds" {
			about = AboutKeyboard
		}
		f := Finding{About: about, Lamp: d.String(), Verdict: Lit, Detail: fmt.Sprintf("set to %d of %d", d.Value, d.max)}
		if d.max > 0 {
			f.Share, f.Read = l.share(d), true
		}
		dimmed := slices.ContainsFunc(old.Lamps, func(o lamp) bool { return o.String() == d.String() })
		switch {
		case !l.lit(d):
			f.Verdict = Safe
			if dimmed {
				f.Detail = fmt.Sprintf("dimmed to %d of %d", d.Value, d.max)
			}
			switch {
			case d.Subsystem != "backlight" || d.Value > 0:
			case l.off(d):
				f.Detail += ", and says that it is off"
			default:
				f.Detail += ", its lowest, which may not be off"
			}
		case l.able(ctx, d) != nil:
			f.Detail += ", and cannot be dimmed from here: turn it down with the laptop's own keys"
		case dimmed:
			f.Detail = fmt.Sprintf("dimmed, and at %d of %d again: turn it down", d.Value, d.max)
		default:
			f.Detail += ", and dimmed when paper comes out"
		}
		f.Detail += "."
		out = append(out, f)
		panel = panel || about == AboutPanel
		keys = keys || about == AboutKeyboard
	}
	if !panel && err == nil {
		out = append(out, Finding{About: AboutPanel, Lamp: "backlight", Verdict: Unknown, Detail: "no backlight that can be set was found: dim the screen by hand."})
	}
	if !keys && err == nil {
		out = append(out, Finding{About: AboutKeyboard, Lamp: "keyboard light", Verdict: Unknown, Detail: "no keyboard light that can be set was found: if there is one, turn it off."})
	}
	out = append(out, l.otherLEDs()...)
	if _, err := l.session(ctx); err != nil {
		out = append(out, Finding{About: AboutOther, Lamp: "lamps and sleep", Verdict: Unknown, Detail: "in your hands, for the session service (logind) cannot be reached: " + err.Error() + "."})
	}
	return append(out, l.sleepHeld(ctx))
}

// sleepHeld is what of sleep, lock screen and lid is held off.
func (l *logind) sleepHeld(ctx context.Context) Finding {
	const saver = "A desktop's own screen saver may have to be turned off by hand."
	switch {
	case l.hold == nil && l.mayHoldLid(ctx) == lidGranted:
		return Finding{About: AboutSleep, Lamp: "sleep, lock screen, lid", Verdict: Unknown, Detail: "not held off until a clock runs. Then the lid is too, and with a clicker or pedal it may be closed. " + saver}
	case l.hold == nil && l.lids == lidRefused:
		return Finding{About: AboutSleep, Lamp: "sleep and lock screen", Verdict: Unknown, Detail: "not held off until a clock runs. What closing the lid does never is: leave it open. " + saver}
	case l.hold == nil:
		return Finding{About: AboutSleep, Lamp: "sleep and lock screen", Verdict: Unknown, Detail: "not held off until a clock runs. " + saver}
	case l.lid:
		return Finding{About: AboutSleep, Lamp: "sleep, lock screen, lid", Verdict: Safe, Detail: "held off while a clock runs: with a clicker or pedal the lid may be closed. " + saver}
	}
	return Finding{About: AboutSleep, Lamp: "lid", Verdict: Unknown, Detail: "sleep is held off, but closing the lid is not: leave it open."}
}

// otherLEDs are those nobody may set without being root, such as the one for
// caps lock: reported if they are lit.
func (l *logind) otherLEDs() []Finding {
	if l.opts.Sys == nil {
		return nil
	}
	entries, err := fs.ReadDir(l.opts.Sys, "class/leds")
	if err != nil {
		return nil
	}
	var lit []string
	for _, e := range entries {
		if strings.Contains(e.Name(), "kbd_backlight") {
			continue
		}
		if v, err := readNumber(l.opts.Sys, path.Join("class/leds", e.Name(), "brightness")); err == nil && v > 0 {
			lit = append(lit, e.Name())
		}
	}
	if len(lit) == 0 {
		return nil
	}
	sort.Strings(lit)
	return []Finding{{Lamp: "indicator lights", Verdict: Lit, Detail: "lit, and not ours to turn off: " + words.Clean(strings.Join(lit, ", ")) + ". Press the key or cover the light."}}
}
