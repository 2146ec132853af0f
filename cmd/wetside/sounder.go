package main

import (
	"wetside/session"
	"wetside/sound"
	"wetside/tui"
)

// speaker is the sound engine as the desk knows it.
type speaker struct{ e *sound.Engine }

func (s speaker) Schedule(ds []tui.Due) {
	ps := make([]sound.Planned, len(ds))
	for i, d := range ds {
		ps[i] = sound.Planned{Cue: d.Cue, Due: d.At}
	}
	s.e.Schedule(ps)
}

func (s speaker) Play(c session.Cue) { s.e.Play(c) }

func (s speaker) State() tui.SoundState {
	st := s.e.Status()
	return tui.SoundState{Device: st.Device, OK: st.OK, Reason: st.Reason, Volume: int(st.Volume*100 + 0.5)}
}

func (s speaker) Volume(step int) {
	v := s.e.Status().Volume + 0.1*float64(step)
	s.e.SetVolume(max(0, min(1, v)))
}

func (s speaker) Confirm() {}

// silent is what a second program has: the first makes the sound for both.
type silent struct{ why string }

func (silent) Schedule([]tui.Due)      {}
func (silent) Play(session.Cue)        {}
func (silent) Volume(int)              {}
func (silent) Confirm()                {}
func (s silent) State() tui.SoundState { return tui.SoundState{Device: s.why, OK: true} }
