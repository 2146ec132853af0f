package voice

import (
	"strings"
	"time"
	"unicode"

	"wetside/session"
	"wetside/session/say"
)

// Lines is what is said for a cue, in the closed language of package say: the
// most urgent first.
func Lines(c session.Cue, talk Talk) []say.Line {
	if c.Lines != nil {
		return *c.Lines // the desk's own: it names the sheet itself
	}
	l := line(c, talk)
	if l.IsZero() {
		return nil
	}
	// A count has its beat to keep, and whose move it is was said before it.
	if c.Kind != session.CuePip && (c.Named || c.Numbers().Len() > 1 || talk >= Full) {
		l = l.To(c.Numbers())
	}
	return []say.Line{l}
}

// line is a cue's line at a level, without its sheet. With several sheets every
// call carries its number, and so is spoken whatever the level.
func line(c session.Cue, talk Talk) say.Line {
	normal, full := talk >= Normal || c.Named, talk >= Full
	times := full || talk >= Normal && !c.Among
	in, left := say.In(c.Stage), say.Left(c.Left)
	of := func(is bool, with, without say.Line) say.Line {
		if is {
			return with
		}
		return without
	}
	whole := func(is bool, l say.Line) say.Line { return of(is, l, say.Line{}) }
	switch c.Kind {
	case session.CueBegin:
		if c.Label != "" && c.Label != string(c.Stage) {
			name := say.Name{Text: c.Label, Bath: say.Bath(c.Stage)}
			return of(times && c.For > 0, say.NameFor.Of(name, say.Left(c.For)), say.BeginName.Of(name))
		}
		return of(times && c.For > 0, say.BeginFor.Of(in, say.Left(c.For)), say.Begin.Of(in))
	case session.CueRockOn:
		return whole(full || c.Named, say.Agitate.Of())
	case session.CueRockOff:
		return whole(full || c.Named, say.Rest.Of())
	case session.CuePip:
		return whole(c.Led, say.Count.Of(say.Number(c.N)))
	case session.CueSoon:
		return say.MoveSoon.Of(say.Soon(c.Next))
	case session.CueTen:
		return whole(normal, of(c.Named, say.Ten.Of(), say.LeftNow.Of(left)))
	case session.CueMinutes, session.CueThirty:
		return whole(normal, of(c.Named, say.LeftStill.Of(left), say.LeftNow.Of(left)))
	case session.CueAtLeast:
		return say.Judge.Of()
	case session.CueDrain:
		return of(full, say.DrainFor.Of(say.Left(c.For)), say.Drain.Of())
	case session.CueMove, session.CueCall:
		over := c.Over
		if !full {
			over = over.Truncate(time.Minute)
		}
		late := c.Kind == session.CueCall && talk >= Normal && over >= time.Second
		if c.Stage == session.Exposure {
			return of(late, say.CallOff.Of(say.Left(over)), say.LightOff.Of())
		}
		return of(late, say.CallAgain.Of(say.Into(c.Next), say.Left(over)), say.MoveNow.Of(say.Into(c.Next)))
	case session.CueOver:
		return say.Overdue.Of(say.Left(c.Over))
	case session.CueSeen:
		return whole(normal, of(c.Left > 0, say.SeenLeft.Of(left), say.Seen.Of()))
	case session.CueBack:
		return of(c.Stage != "", say.Back.Of(in), say.BackOut.Of())
	case session.CueDone:
		return say.Done.Of()
	case session.CueSpoiled:
		return say.Spoiled.Of()
	case session.CueWashAnew:
		return of(times && c.For > 0, say.WashAnewFor.Of(say.Left(c.For)), say.WashAnew.Of())
	case session.CueChange:
		return of(full && c.N > 0, say.ChangeOf.Of(say.Number(c.N)), say.Change.Of())
	case session.CueLightOn:
		return of(times && c.For > 0, say.LightOnFor.Of(say.Left(c.For)), say.LightOn.Of())
	case session.CueHalf:
		return whole(normal, say.Half.Of(left))
	case session.CueLightOff:
		if c.N > 0 {
			return say.StripOff.Of()
		}
		return say.LightOff.Of()
	case session.CueCovered:
		return whole(normal, say.Covered.Of())
	case session.CueUncovered:
		return whole(normal, of(c.Left > 0, say.Uncovered.Of(left), say.UncoveredOf.Of()))
	case session.CueRelight:
		switch {
		case !normal:
			return say.Line{}
		case c.Left <= 0:
			return say.RelightOf.Of()
		case c.For > 0:
			return say.Retimed.Of(left)
		}
		return say.Relight.Of(left)
	case session.CueSafeHalf:
		if c.Screen {
			return whole(normal, say.ScreenHalf.Of(left))
		}
		return whole(normal, of(c.Left > 0, say.SafeHalf.Of(left), say.SafeHalfOf.Of()))
	case session.CueSafeAll:
		if c.Screen {
			return say.ScreenAll.Of()
		}
		return say.SafeAll.Of()
	case session.CueMayGoIn:
		return of(c.Left < time.Second, say.MayGoIn.Of(), say.MayGoInFor.Of(left))
	case session.CueConflict:
		return of(talk >= Normal && c.Left > 0, say.Conflict.Of(left), say.ConflictOf.Of())
	case session.CueBathHigh:
		return whole(normal, say.BathHigh.Of(say.BathName(c.Label, string(c.Stage))))
	case session.CueBathSpent:
		return say.BathSpent.Of(say.BathName(c.Label, string(c.Stage)))
	}
	return say.Line{}
}

// script is the announcement of a cue with its pauses: names of clips. can says
// whether a name given by the user can be spoken.
func script(c session.Cue, talk Talk, can func(string) bool) []string {
	var out []string
	for _, l := range Lines(c, talk) {
		if len(out) > 0 {
			out = append(out, ";")
		}
		out = append(out, l.Clips(can)...)
	}
	return out
}

// Words is what Phrase says for a cue, as text.
func Words(c session.Cue, talk Talk) string {
	var out []string
	for _, l := range Lines(c, talk) {
		out = append(out, l.String())
	}
	return strings.Join(out, ". ")
}

// speakable keeps what is not a word away from the system's voice.
func speakable(s string) bool {
	return len(s) <= 200 && strings.ContainsFunc(s, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) })
}
