package main

import (
	"time"

	"wetside/session"
	"wetside/session/desk"
	"wetside/sound"
)

// speaker is the sound engine as the desk knows it.
type speaker struct{ e *sound.Engine }

func (s *speaker) Schedule(ds []session.Due) { s.e.Schedule(ds) }

func (s *speaker) Play(c session.Cue) { s.e.Play(c) }

func (s *speaker) State() desk.SoundState {
	st := s.e.Status()
	heard := map[sound.Reach]desk.Heard{sound.Everything: desk.HeardAll, sound.Tones: desk.HeardBeeps, sound.Silence: desk.HeardNot}
	return desk.SoundState{Heard: heard[st.Reach], Device: st.Device, OK: st.OK, Reason: st.Reason, Moved: st.Moved, Volume: int(st.Volume*100 + 0.5)}
}

func (s *speaker) Volume(step int) {
	v := s.e.Status().Volume + 0.1*float64(step)
	s.e.SetVolume(max(0, min(1, v)))
}

func (s *speaker) Confirm() {}

// second is the sound of a program that is not the only one: the first makes
// it for both. Once the first is gone, the second takes over.
type second struct {
	take  func() *speaker // nil while the other holds the loudspeaker
	now   func() time.Time
	tried time.Time
	mine  *speaker
}

func (s *second) engine() *speaker {
	if now := s.now(); s.mine == nil && now.Sub(s.tried) > time.Second {
		s.tried = now
		s.mine = s.take()
	}
	return s.mine
}

func (s *second) Schedule(ds []session.Due) {
	if e := s.engine(); e != nil {
		e.Schedule(ds)
	}
}

func (s *second) Play(c session.Cue) {
	if e := s.engine(); e != nil {
		e.Play(c)
	}
}

func (s *second) Volume(step int) {
	if e := s.engine(); e != nil {
		e.Volume(step)
	}
}

func (s *second) Confirm() {}

func (s *second) State() desk.SoundState {
	if e := s.engine(); e != nil {
		return e.State()
	}
	return desk.SoundState{Device: "the other wetside", OK: true, Elsewhere: true}
}
