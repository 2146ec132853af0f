package lamps

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"github.com/jezek/xgb"
	"github.com/jezek/xgb/dpms"
	"github.com/jezek/xgb/xfixes"
	"github.com/jezek/xgb/xproto"
)

// A Display is one of X: its panel, whose light it can put out (DPMS), and its pointer
// (XFIXES). It is for one goroutine. What it has hidden shows again when it is closed, or
// its process is gone.
type Display struct {
	// State is the file for what Out changes, so that a later run can put it back after
	// this one was killed; its directory exists.
	State string

	name string
	conn *xgb.Conn
	root xproto.Window
}

// wasDisabled is what that file holds: the timeouts, in seconds, that there were before
// DPMS was turned on.
type wasDisabled struct {
	Display  string    `json:"display"`
	Timeouts [3]uint16 `json:"timeouts"` // standby, suspend, off
}

// OpenDisplay opens the display of that name (DISPLAY), and does not wait longer than
// within for a server that does not answer.
func OpenDisplay(name string, within time.Duration) (*Display, error) {
	if name == "" {
		return nil, errors.New("there is no X display")
	}
	xgb.Logger.SetOutput(io.Discard) // it would write into the picture
	type opened struct {
		conn *xgb.Conn
		err  error
	}
	done := make(chan opened, 1)
	go func() {
		conn, err := xgb.NewConnDisplay(name)
		done <- opened{conn, err}
	}()
	select {
	case o := <-done:
		if o.err != nil {
			return nil, o.err
		}
		return &Display{name: name, conn: o.conn, root: xproto.Setup(o.conn).DefaultScreen(o.conn).Root}, nil
	case <-time.After(within):
		go func() {
			if o := <-done; o.err == nil {
				o.conn.Close()
			}
		}()
		return nil, errors.New("the X display gave no answer")
	}
}

// Close ends it.
func (d *Display) Close() { d.conn.Close() }

// HidePointer hides the pointer over a window; 0 is the one that has the keyboard, with
// all that its program draws round it.
func (d *Display) HidePointer(window uint32) error {
	if err := xfixes.Init(d.conn); err != nil {
		return err
	}
	if _, err := xfixes.QueryVersion(d.conn, 4, 0).Reply(); err != nil {
		return err
	}
	win := xproto.Window(window)
	if window == 0 {
		focus, err := xproto.GetInputFocus(d.conn).Reply()
		if err != nil {
			return err
		}
		if win = focus.Focus; win <= xproto.InputFocusPointerRoot { // nobody's
			return errors.New("no window has the keyboard")
		}
	}
	for { // the pointer is over the frame as well, and GTK has the keyboard in a window of one pixel
		tree, err := xproto.QueryTree(d.conn, win).Reply()
		if err != nil {
			return err
		}
		if tree.Parent == d.root || tree.Parent == 0 {
			break
		}
		win = tree.Parent
	}
	return xfixes.HideCursorChecked(d.conn, win).Check()
}

// CanSleep reports whether the panel can be put out.
func (d *Display) CanSleep() bool {
	if dpms.Init(d.conn) != nil {
		return false
	}
	is, err := dpms.Capable(d.conn).Reply()
	return err == nil && is.Capable
}

// Out puts the panel out until something is pressed or moved.
func (d *Display) Out() error {
	is, err := dpms.Info(d.conn).Reply()
	if err != nil {
		return err
	}
	if !is.State {
		was, err := dpms.GetTimeouts(d.conn).Reply()
		if err != nil {
			return err
		}
		if err := store(d.State, wasDisabled{d.name, [3]uint16{was.StandbyTimeout, was.SuspendTimeout, was.OffTimeout}}); err != nil {
			return fmt.Errorf("what was set before could not be written down first: %w", err)
		}
		// On, and never by itself.
		if err := errors.Join(dpms.SetTimeoutsChecked(d.conn, 0, 0, 0).Check(), dpms.EnableChecked(d.conn).Check()); err != nil {
			return err
		}
	}
	return dpms.ForceLevelChecked(d.conn, dpms.DPMSModeOff).Check()
}

// IsOut reports whether it is, by what the server says.
func (d *Display) IsOut() bool {
	is, err := dpms.Info(d.conn).Reply()
	return err == nil && is.State && is.PowerLevel == dpms.DPMSModeOff
}

// Lit puts it on again, and what Out changed back.
func (d *Display) Lit() error {
	return errors.Join(dpms.ForceLevelChecked(d.conn, dpms.DPMSModeOn).Check(), d.Restore())
}

// Restore puts back what Out changed, in this run or in an earlier one that was killed.
// It does nothing if nothing is changed, or somebody has changed it since.
func (d *Display) Restore() error {
	b, err := os.ReadFile(d.State)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	var was wasDisabled
	if json.Unmarshal(b, &was) == nil && was.Display != d.name {
		return nil // another's
	}
	is, err := dpms.Info(d.conn).Reply()
	if err != nil {
		return err
	}
	now, err := dpms.GetTimeouts(d.conn).Reply()
	if err != nil {
		return err
	}
	if is.State && now.StandbyTimeout|now.SuspendTimeout|now.OffTimeout == 0 {
		t := was.Timeouts
		err = errors.Join(dpms.SetTimeoutsChecked(d.conn, t[0], t[1], t[2]).Check(), dpms.DisableChecked(d.conn).Check())
	}
	if err != nil {
		return err
	}
	return os.Remove(d.State)
}
