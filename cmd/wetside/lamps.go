package main

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/godbus/dbus/v5"

	"wetside/profiles"
	"wetside/session/desk"
	"wetside/session/exposure"
	"wetside/session/say"
	"wetside/sound"
	"wetside/tui"
	"wetside/tui/ember"
	"wetside/tui/lamps"
)

func (h *host) lamps() lamps.Lamps { return markedLamps{h.ownLamps(), h.darkFile(), h.panelBack} }

func (h *host) ownLamps() lamps.Lamps {
	if h.lights != nil {
		return h.lights()
	}
	set, _ := loadSettings(h) // a fault in it was told where it mattered
	return lamps.New(lamps.Options{
		Bus:   dbus.ConnectSystemBus,
		Sys:   os.DirFS("/sys"),
		State: filepath.Join(h.state, "lamps.json"), Backlight: set.Backlight,
		Session: h.getenv("XDG_SESSION_ID"), PID: os.Getpid(),
		Start: func(name string, args ...string) (func() error, error) {
			c := exec.Command(name, args...)
			if err := c.Start(); err != nil {
				return nil, err
			}
			return func() error { err := c.Process.Kill(); c.Wait(); return err }, nil
		},
	})
}

// roomLamps has the laptop's lamps follow the room: dim while paper is out, and
// sleep kept away while any clock runs. It works beside the program: a session
// service that hangs keeps neither picture nor key waiting.
type roomLamps struct {
	lamps    lamps.Lamps
	report   func() []tui.Finding
	panel    exposure.Panel // at the backlight it has where none can be read
	mayShine func() bool
	now      func() time.Time
	wake     chan struct{} // holds one
	stop     func()        // ends it, and the hold on sleep
	failed   bool          // they were to be dimmed, and could not

	open  func() panelSwitch // nil: there is none here
	off   panelSwitch        // nil while the panel is not to be off
	outAt time.Time          // it was put out; zero: that was told
	litAt time.Time          // it was found lit by a press; zero: it is off

	mu     sync.Mutex
	want   lampState
	look   bool // for what can be verified
	looked time.Time
	found  []tui.Finding
	told   []desk.LampNews
	black  float64 // what the panel's black gives on the paper, lx
	dimmed float64 // share of its most that the panel had last while it was dim; 0: not known
}

// lampState is how the lamps should be.
type lampState struct {
	dim   bool
	panel desk.PanelWant
	awake bool
}

// A panelSwitch puts the panel out, which whatever is pressed lights again.
type panelSwitch interface {
	Out() error
	IsOut() bool
	Lit() error
	Close()
}

// followRoom begins. back: what an earlier run dimmed comes back first.
// open gives the panel's switch, or nil.
func followRoom(lamps lamps.Lamps, open func() panelSwitch, panel exposure.Panel, report func() []tui.Finding, now func() time.Time, mayShine func() bool, back bool) *roomLamps {
	ctx, cancel := context.WithCancel(context.Background())
	r := &roomLamps{lamps: lamps, open: open, report: report, panel: panel, now: now, mayShine: mayShine, wake: make(chan struct{}, 1)}
	r.read(false)
	done := make(chan struct{})
	go func() {
		defer close(done)
		r.run(ctx, lampState{dim: back})
	}()
	r.stop = sync.OnceFunc(func() {
		cancel()
		<-done
		if r.off != nil {
			r.off.Close() // dark still: whatever is pressed lights it
		}
		lamps.Release()
	})
	r.set(func() {})
	return r
}

func (r *roomLamps) set(change func()) {
	r.mu.Lock()
	change()
	r.mu.Unlock()
	select {
	case r.wake <- struct{}{}:
	default: // it is on its way, and will find the change
	}
}

// run brings about what was wanted last. What fails is told, and not tried again
// before something else is wanted: the user does it by hand. A lamp that comes up
// by itself while it should be dim is dimmed again.
func (r *roomLamps) run(ctx context.Context, is lampState) {
	blink := time.NewTicker(blinkFor)
	defer blink.Stop()
	for {
		var pressed <-chan time.Time
		if r.off != nil {
			pressed = blink.C
		}
		select {
		case <-ctx.Done():
			return
		case <-pressed:
			r.outAgain(is.panel)
			continue
		case <-time.After(sound.Beat(time.Second)):
			if is.dim && !r.failed && r.lamps.Raised() {
				r.again()
			}
			r.read(is.dim && !r.failed)
			continue
		case <-r.wake:
		}
		for ctx.Err() == nil && r.step(&is) {
		}
		r.read(is.dim && !r.failed)
	}
}

// step does one thing that is wanted, the light first; false: nothing is.
func (r *roomLamps) step(is *lampState) bool {
	r.mu.Lock()
	want, look := r.want, r.look
	r.mu.Unlock()
	var err error
	var aloud say.Line
	switch {
	case want.dim && (!is.dim || want.panel != is.panel):
		r.put(want.panel)
		err = r.lamps.Dim(want.panel != desk.PanelDimmed)
		r.failed = err != nil
		is.dim, is.panel = true, want.panel
		aloud = say.LampStays.Of()
	case is.dim && !want.dim:
		r.put(desk.PanelDimmed)
		err = r.lamps.Restore()
		is.dim, is.panel = false, desk.PanelDimmed
	case want.awake && !is.awake:
		err = r.lamps.Inhibit("a sheet of paper is being exposed or developed")
		is.awake = true
	case is.awake && !want.awake:
		err = r.lamps.Release()
		is.awake = false
	case look:
		found := r.report()
		r.mu.Lock()
		r.found, r.look = found, false
		r.mu.Unlock()
		return true
	default:
		return false
	}
	r.tell(err, aloud)
	return true
}

// How long a panel that is off is lit by what is pressed, at most: where there is
// nothing to see, and for a glance at what there is.
const (
	blinkFor  = 250 * time.Millisecond
	glanceFor = 2 * time.Second
)

// put puts the panel out, where that can be done from here, or on again.
func (r *roomLamps) put(want desk.PanelWant) {
	switch {
	case want != desk.PanelDimmed && r.off == nil && r.open != nil:
		if r.off = r.open(); r.off != nil {
			r.outAt = r.now()
			r.outAgain(desk.PanelDark)
		}
	case want == desk.PanelDimmed && r.off != nil:
		_ = r.off.Lit() // whatever is pressed does it too
		r.off.Close()
		r.off = nil
	}
}

// outAgain puts out what a press has lit. What is said of it waits until the answer to
// that has been heard.
func (r *roomLamps) outAgain(want desk.PanelWant) {
	now := r.now()
	switch {
	case r.off.IsOut():
		r.litAt = time.Time{}
	case want == desk.PanelGlance && r.litAt.IsZero():
		r.litAt = now
	case want == desk.PanelGlance && now.Sub(r.litAt) < glanceFor:
	case r.off.Out() != nil:
		r.off.Close()
		r.off = nil
		r.tell(errors.New("the panel cannot be put out any more: turn it down by hand"), say.LampStays.Of())
		return
	}
	if !r.outAt.IsZero() && now.Sub(r.outAt) > outTold {
		r.outAt = time.Time{}
		r.news(desk.LampNews{Text: "the panel is off, for you work by ear; each press wakes it for a moment", Aloud: say.PanelOff.Of()})
	}
}

const outTold = 6 * time.Second

// read reads how light the panel is.
func (r *roomLamps) read(dim bool) {
	p := r.panel
	share, ok := r.lamps.Panel()
	if ok {
		p.Share = share
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.black = p.Lux()
	if ok && dim {
		r.dimmed = share
	}
}

// paperLight is what share of its most the panel gives while paper is out, if it was.
func (r *roomLamps) paperLight() (share float64, known bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.dimmed, r.dimmed > 0
}

// lux is what the panel's black gives on the paper.
func (r *roomLamps) lux() float64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.black
}

// again dims what came up.
func (r *roomLamps) again() {
	r.mu.Lock()
	low := r.want.panel != desk.PanelDimmed
	r.mu.Unlock()
	err := r.lamps.Dim(low)
	if err == nil && r.lamps.Raised() {
		err = errors.New("a light of the laptop came up, and does not go down again: turn it down by hand")
	}
	if r.failed = err != nil; r.failed {
		r.tell(err, say.LampStays.Of())
		return
	}
	r.tell(errors.New("a light of the laptop came up by itself, and was dimmed again"), say.LampRose.Of())
}

// tell keeps what went wrong for whoever asks, with what is said aloud of it.
func (r *roomLamps) tell(err error, aloud say.Line) {
	if err != nil {
		r.news(desk.LampNews{Text: oneLine(err), Aloud: aloud, Wrong: true})
	}
}

func (r *roomLamps) news(n desk.LampNews) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.told = append(r.told, n)
}

func (r *roomLamps) Dim(p desk.PanelWant) { r.set(func() { r.want.dim, r.want.panel = true, p }) }
func (r *roomLamps) Awake(on bool)        { r.set(func() { r.want.awake = on }) }
func (r *roomLamps) Restore() {
	if r.mayShine() { // else whoever has the paper out does it
		r.set(func() { r.want.dim, r.want.panel = false, desk.PanelDimmed })
	}
}

func (r *roomLamps) Told() []desk.LampNews {
	r.mu.Lock()
	defer r.mu.Unlock()
	told := r.told
	r.told = nil
	return told
}

// verified is what is known by now; it is looked at anew once a second as long
// as somebody asks.
func (r *roomLamps) verified() []tui.Finding {
	r.mu.Lock()
	due := r.now().Sub(r.looked) > time.Second
	if due {
		r.looked = r.now()
	}
	found := slices.Clone(r.found)
	r.mu.Unlock()
	if due {
		r.set(func() { r.look = true })
	}
	return found
}

// verified is what the program could check of the room by itself, and what the
// panel's own black does to the fastest paper there is.
func verified(l lamps.Lamps, p panelSettings, iso float64) []tui.Finding {
	panel := p.panel()
	known := p.Kind != ""
	backlight := false
	var out []tui.Finding
	for _, f := range l.Report() {
		out = append(out, tui.Finding{Text: f.Lamp, Detail: strings.TrimRight(f.Detail, "."), Verified: f.Verdict == lamps.Safe, About: f.About})
		if f.About == lamps.AboutPanel && f.Read && !backlight {
			panel.Share, backlight = f.Share, true
		}
	}
	text := "the screen's own black"
	if !known {
		text += ", reckoned as a common laptop's ([panel] in settings.toml describes yours)"
	}
	return append(out, tui.Finding{Text: text, Detail: panel.Words(iso)})
}

// window is what to press in the terminal so that it lights nothing of its own; none
// where it does not name itself.
func (h *host) window(version string) []tui.Finding {
	name, press := ember.Window(h.getenv, version)
	if name == "" {
		return nil
	}
	return []tui.Finding{{About: lamps.AboutWindow, Text: "terminal", Detail: "this is " + name + ": " + press}}
}

// fastest is the speed of the fastest paper there is.
func fastest(set *profiles.Set) float64 {
	iso := 0.0
	for _, p := range set.Papers() {
		iso = max(iso, p.ISO)
	}
	return iso
}
