package termtest

import (
	"github.com/jezek/xgb"
	"github.com/jezek/xgb/xproto"
)

// manage is the least window manager there can be: windows stay where they ask to be,
// have no frame, and are full screen when they want to (Extended Window Manager Hints,
// _NET_WM_STATE). It ends with its connection.
func (m *Term) manage() {
	m.t.Helper()
	x, err := xgb.NewConnDisplay(m.display)
	if err != nil {
		m.t.Fatal(err)
	}
	m.t.Cleanup(x.Close)
	screen := xproto.Setup(x).DefaultScreen(x)
	root := screen.Root
	atom := func(name string) xproto.Atom {
		a, err := xproto.InternAtom(x, false, uint16(len(name)), name).Reply()
		if err != nil {
			m.t.Fatal(err)
		}
		return a.Atom
	}
	state, full := atom("_NET_WM_STATE"), atom("_NET_WM_STATE_FULLSCREEN")
	set := func(w xproto.Window, name xproto.Atom, of xproto.Atom, values ...uint32) {
		data := make([]byte, 4*len(values))
		for i, v := range values {
			xgb.Put32(data[4*i:], v)
		}
		xproto.ChangeProperty(x, xproto.PropModeReplace, w, name, of, 32, uint32(len(values)), data)
	}
	self, err := xproto.NewWindowId(x)
	if err != nil {
		m.t.Fatal(err)
	}
	xproto.CreateWindow(x, 0, self, root, -9, -9, 1, 1, 0, xproto.WindowClassInputOnly, 0, 0, nil)
	for _, w := range []xproto.Window{self, root} {
		set(w, atom("_NET_SUPPORTING_WM_CHECK"), xproto.AtomWindow, uint32(self))
	}
	set(root, atom("_NET_SUPPORTED"), xproto.AtomAtom, uint32(state), uint32(full))
	if err := xproto.ChangeWindowAttributesChecked(x, root, xproto.CwEventMask, []uint32{xproto.EventMaskSubstructureRedirect | xproto.EventMaskSubstructureNotify}).Check(); err != nil {
		m.t.Fatal(err)
	}
	type place struct{ x, y, w, h uint32 }
	put := func(w xproto.Window, p place) {
		xproto.ConfigureWindow(x, w, xproto.ConfigWindowX|xproto.ConfigWindowY|xproto.ConfigWindowWidth|xproto.ConfigWindowHeight, []uint32{p.x, p.y, p.w, p.h})
	}
	// A client that asks for a place is told what it got, even if that is what it had
	// (Inter-Client Communication Conventions Manual, 4.1.5).
	tell := func(w xproto.Window, p place) {
		e := xproto.ConfigureNotifyEvent{Event: w, Window: w, X: int16(p.x), Y: int16(p.y), Width: uint16(p.w), Height: uint16(p.h)}
		xproto.SendEvent(x, false, w, xproto.EventMaskStructureNotify, string(e.Bytes()))
	}
	before := map[xproto.Window]place{}
	whole := place{0, 0, uint32(screen.WidthInPixels), uint32(screen.HeightInPixels)}
	fill := func(w xproto.Window, on bool) {
		was, is := before[w]
		switch {
		case on && !is:
			if g, err := xproto.GetGeometry(x, xproto.Drawable(w)).Reply(); err == nil {
				before[w] = place{uint32(g.X), uint32(g.Y), uint32(g.Width), uint32(g.Height)}
			}
			set(w, state, xproto.AtomAtom, uint32(full))
			put(w, whole)
			tell(w, whole)
		case !on && is:
			delete(before, w)
			put(w, was)
			set(w, state, xproto.AtomAtom)
		}
	}
	go func() {
		for {
			e, err := x.WaitForEvent()
			if e == nil && err == nil {
				return // the connection is closed
			}
			switch e := e.(type) {
			case xproto.MapRequestEvent:
				xproto.MapWindow(x, e.Window)
			case xproto.ConfigureRequestEvent:
				if _, is := before[e.Window]; is {
					tell(e.Window, whole)
				} else {
					g, err := xproto.GetGeometry(x, xproto.Drawable(e.Window)).Reply()
					if err != nil {
						continue
					}
					p := place{0, 0, uint32(g.Width), uint32(g.Height)}
					if e.ValueMask&xproto.ConfigWindowWidth != 0 {
						p.w = uint32(e.Width)
					}
					if e.ValueMask&xproto.ConfigWindowHeight != 0 {
						p.h = uint32(e.Height)
					}
					put(e.Window, p)
					tell(e.Window, p)
				}
			case xproto.ClientMessageEvent:
				if d := e.Data.Data32; e.Type == state && (d[1] == uint32(full) || d[2] == uint32(full)) {
					_, is := before[e.Window]
					fill(e.Window, d[0] == 1 || d[0] == 2 && !is) // add, toggle
				}
			}
		}
	}()
}
