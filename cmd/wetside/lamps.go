package main

import (
	"cmp"
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
	"wetside/session/exposure"
	"wetside/tui"
	"wetside/tui/ember"
	"wetside/tui/lamps"
)

func (h *host) lamps() lamps.Lamps { return markedLamps{h.ownLamps(), h.darkFile()} }

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

	mu     sync.Mutex
	want   lampState
	look   bool // for what can be verified
	looked time.Time
	found  []tui.Finding
	told   []string
	black  float64 // what the panel's black gives on the paper, lx
	dimmed float64 // share of its most that the panel had last while it was dim; 0: not known
}

// lampState is how the lamps should be.
type lampState struct{ dim, awake bool }

// followRoom begins. back: what an earlier run dimmed comes back first.
func followRoom(lamps lamps.Lamps, panel exposure.Panel, report func() []tui.Finding, now func() time.Time, mayShine func() bool, back bool) *roomLamps {
	ctx, cancel := context.WithCancel(context.Background())
	r := &roomLamps{lamps: lamps, report: report, panel: panel, now: now, mayShine: mayShine, wake: make(chan struct{}, 1)}
	r.read(false)
	done := make(chan struct{})
	go func() {
		defer close(done)
		r.run(ctx, lampState{dim: back})
	}()
	r.stop = sync.OnceFunc(func() {
		cancel()
		<-done
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
	look := time.NewTicker(time.Second)
	defer look.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-look.C:
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
	switch {
	case want.dim && !is.dim:
		err = r.lamps.Dim()
		r.failed = err != nil
	case is.dim && !want.dim:
		err = r.lamps.Restore()
	case want.awake && !is.awake:
		err = r.lamps.Inhibit("a sheet of paper is being exposed or developed")
	case is.awake && !want.awake:
		err = r.lamps.Release()
	case look:
		found := r.report()
		r.mu.Lock()
		r.found, r.look = found, false
		r.mu.Unlock()
		return true
	default:
		return false
	}
	if want.dim != is.dim {
		is.dim = want.dim
	} else {
		is.awake = want.awake
	}
	r.tell(err)
	return true
}

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
	err := r.lamps.Dim()
	if err == nil && r.lamps.Raised() {
		err = errors.New("a light of the laptop came up, and does not go down again: turn it down by hand")
	}
	r.failed = err != nil
	r.tell(cmp.Or(err, errors.New("a light of the laptop came up by itself, and was dimmed again")))
}

// tell keeps what went wrong for whoever asks.
func (r *roomLamps) tell(err error) {
	if err == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.told = append(r.told, oneLine(err))
}

func (r *roomLamps) Dim()          { r.set(func() { r.want.dim = true }) }
func (r *roomLamps) Awake(on bool) { r.set(func() { r.want.awake = on }) }
func (r *roomLamps) Restore() {
	if r.mayShine() { // else whoever has the paper out does it
		r.set(func() { r.want.dim = false })
	}
}

func (r *roomLamps) Told() []string {
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
