package session

import (
	"slices"
	"time"

	"wetside/session/say"
)

// InCamera reports whether the sheet lies in its camera, as far as anybody has said.
// What is in the trays, or done, is in no camera any more.
func (s *Sheet) InCamera() bool {
	return !s.LoadedAt.IsZero() && s.UnloadedAt.IsZero() && (s.Phase == Fresh || s.Phase == Exposing || s.Phase == Exposed)
}

// Holds returns the sheet that lies in a camera, or nil.
func (m *Machine) Holds(camera string) *Sheet {
	return m.sheet(func(s *Sheet) bool { return camera != "" && s.Spec.Camera == camera && s.InCamera() })
}

// Loading reports whether it is written down in this session what is loaded: only then
// does a sheet that was not loaded mean an empty camera.
func (m *Machine) Loading() bool {
	return slices.ContainsFunc(m.sheets, func(s *Sheet) bool { return !s.LoadedAt.IsZero() })
}

func holds(camera string, s *Sheet) error {
	return refuse("%s holds sheet %d already", camera, s.Num).saying(say.CameraHolds.Of(say.Sheet(s.Num)))
}

func (m *Machine) load(s *Sheet, e Event, t time.Duration) error {
	switch h := m.Holds(s.Spec.Camera); {
	case s.Spec.Camera == "":
		return refuse("sheet %d has no camera", s.Num).saying(say.NoCameraOf.Of(say.Sheet(s.Num)))
	case s.Phase != Fresh:
		return s.stands()
	case h != nil:
		return holds(s.Spec.Camera, h)
	}
	s.LoadedAt, s.UnloadedAt = e.At, Instant{}
	m.put(s, false, t) // the lid is on
	return nil
}

func (m *Machine) unload(s *Sheet, e Event, _ time.Duration) error {
	switch {
	case s.Phase == Exposing:
		return refuse("sheet %d is still being exposed: end the exposure first", s.Num).saying(say.StillExposing.Of(say.Sheet(s.Num)))
	case !s.InCamera():
		return refuse("sheet %d is in no camera", s.Num).saying(say.CameraEmpty.Of(say.Sheet(s.Num)))
	}
	s.UnloadedAt = e.At
	return nil
}

func (m *Machine) loadBack(s *Sheet, d *Deed, t time.Duration) {
	s.LoadedAt, s.UnloadedAt = d.was.LoadedAt, d.was.UnloadedAt
	m.outAwayBack(s, d, t)
}
