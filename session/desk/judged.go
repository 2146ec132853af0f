package desk

import (
	"fmt"
	"math"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/notebook"
)

// Today says how an exposure of a camera and a paper is reckoned now: its ask
// without the light, and which hole and which box of paper that is. It is not ok
// where the profiles are gone.
type Today func(camera, paper string) (a exposure.Ask, hole, box int, ok bool)

// JudgedIn reads the judged sheets of a notebook, newest first, rehearsals and
// spoiled ones left out.
func JudgedIn(b *notebook.Book, today Today) func() []exposure.Judged {
	return func() []exposure.Judged {
		// More than the newest 200 that count, for some teach nothing.
		rows, err := b.Sheets(notebook.Filter{Judged: notebook.Only, Rehearsals: notebook.None, Limit: 600})
		if err != nil {
			return nil
		}
		var out []exposure.Judged
		for _, r := range rows {
			if r.Exposure == nil || r.Stops == nil || r.State == string(session.Ruined) || r.Camera == "" {
				continue
			}
			rec, err := b.Sheet(r.ID)
			if err != nil {
				continue
			}
			if j, ok := Evidence(&rec, today); ok {
				out = append(out, j)
			}
		}
		return out
	}
}

// Evidence is what a judged sheet says, as today's profiles read it. It is not ok
// where the sheet says nothing of another: no light is known, or no time.
func Evidence(r *notebook.Record, today Today) (j exposure.Judged, ok bool) {
	said, judged := r.Judged()
	e := r.Exposure
	if !judged || e == nil || e.Unseen || e.Share <= 0 || r.Camera == "" {
		return j, false
	}
	j = exposure.Judged{ID: fmt.Sprintf("sheet %d of %s", r.Num, r.Day()), Camera: r.Camera, Hole: 1, Paper: r.Paper.Key, Box: 1,
		At: e.Begun, Stops: said.Stops, Left: said.LeftOut()}
	var was session.Reckoned
	if r.Reckoned != nil {
		was = *r.Reckoned
		j.Hole, j.Box, j.FNumber = max(1, was.Hole), max(1, was.Box), was.FNumber
		if law, err := exposure.ParseReciprocity(was.Law); err == nil && was.ISO > 0 {
			j.Speed = exposure.Speed(was.ISO, law)
		}
	}
	light, read := lightOf(r)
	spells, known := spellsOf(e, light, read)
	if t := was.Test; t != nil && len(t.Shares) == t.Strips {
		// A test sheet says of one of its strips what a sheet says of itself.
		n := t.Nearest(said.Stops)
		j.Stops -= t.Stops(n)
		for i := range spells {
			spells[i].Seconds *= t.Shares[n-1]
		}
	}
	if !read && known { // no light at the opening, but one that was read since
		light = exposure.Light{EV: spells[0].EV, PlusMinus: lateDoubt, As: r.Light}
	}
	a, ok := asItWas(&j, was, today)
	if known && ok {
		a.Light, a.Filter, a.Warm, a.Preflash = light, was.Filter, was.Warm, was.Preflash
		var err error
		if j.Seconds, j.Wanted, err = a.Wanted(spells, j.Stops); err == nil {
			j.Doubt, j.Reading = light.PlusMinus, exposure.Reading(e.Begun, light.As)
			return j, true
		}
	}
	return reckonedThen(j, r, a)
}

// lightOf is the light that a sheet's exposure was reckoned for; a notebook of an
// earlier program has it in the user's words alone.
func lightOf(r *notebook.Record) (light exposure.Light, read bool) {
	if r.Reckoned == nil {
		l, err := exposure.ParseLight(r.Light)
		return l, err == nil
	}
	l := r.Reckoned.Lit
	if l == nil {
		return light, false
	}
	return exposure.Light{EV: l.EV, PlusMinus: l.Doubt, As: l.As}, true
}

// reckonedThen is what a sheet says where its light cannot be read back: what was
// reckoned on its day is kept.
func reckonedThen(j exposure.Judged, r *notebook.Record, a exposure.Ask) (exposure.Judged, bool) {
	e, base := r.Exposure, r.Base.D().Seconds()
	if base <= 0 || e.ByHand() {
		return j, false
	}
	j.Seconds = e.Share * e.Planned.D().Seconds()
	given := a.Reciprocity.Metered(j.Seconds)
	reckoned := a.Reciprocity.Metered(base)
	j.Wanted = math.Log2(given/reckoned) + j.Stops
	j.Doubt, j.Reading = 0.5, exposure.Reading(e.Begun, r.Light)
	return j, j.Seconds > 0
}

// lateDoubt is of a light that was read only while the exposure ran, stops.
const lateDoubt = 1

// asItWas is how the sheet would be reckoned: by today's profiles, or by those of
// the day where the hole or the box is another by now, or the profile is gone.
func asItWas(j *exposure.Judged, was session.Reckoned, today Today) (a exposure.Ask, ok bool) {
	a, hole, box, _ := today(j.Camera, j.Paper)
	if hole != j.Hole {
		a.FNumber = was.FNumber
	}
	if box != j.Box {
		a.ISO = was.ISO
		a.Reciprocity, _ = exposure.ParseReciprocity(was.Law)
	}
	return a, a.FNumber > 0 && a.ISO > 0
}

// spellsOf are the times the pinhole was open, each in its light. They are not
// known where the light changed by what cannot be told any more.
func spellsOf(e *notebook.ExposureRecord, light exposure.Light, read bool) (out []exposure.Spell, known bool) {
	for _, s := range e.Spells {
		x := exposure.Spell{EV: light.EV, Seconds: s.For.D().Seconds()}
		switch {
		case s.EV != nil:
			x.EV = *s.EV
		case !read:
			return nil, false
		}
		if x.Seconds > 0 {
			out = append(out, x)
		}
	}
	if len(e.Spells) > 0 {
		return out, len(out) > 0
	}
	// Earlier programs kept the time, and of changing light the share.
	t := e.Actual
	if len(e.Readings) > 0 {
		if e.ByHand() {
			return nil, false
		}
		t = notebook.Secs(e.Share * float64(e.Planned))
	}
	return []exposure.Spell{{EV: light.EV, Seconds: t.D().Seconds()}}, read && t > 0
}
