package lamps

import (
	"errors"
	"io"
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
	conn    *xgb.Conn
	root    xproto.Window
	enabled *dpms.GetTimeoutsReply // what there was before DPMS was turned on; nil: it was on
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
		return &Display{conn: o.conn, root: xproto.Setup(o.conn).DefaultScreen(o.conn).Root}, nil
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
		if d.enabled, err = dpms.GetTimeouts(d.conn).Reply(); err != nil {
			return err
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

// Lit puts it on again.
func (d *Display) Lit() error {
	err := dpms.ForceLevelChecked(d.conn, dpms.DPMSModeOn).Check()
	if was := d.enabled; was != nil {
		d.enabled = nil
		err = errors.Join(err, dpms.SetTimeoutsChecked(d.conn, was.StandbyTimeout, was.SuspendTimeout, was.OffTimeout).Check(), dpms.DisableChecked(d.conn).Check())
	}
	return err
}
