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
	of, ok := lineOf[c.Kind]
	if !ok {
		return say.Line{}
	}
	full := talk >= Full
	return of(heeded{Cue: c, in: say.In(c.Stage), left: say.Left(c.Left), full: full,
		normal: talk >= Normal || c.Named, talks: talk >= Normal, times: full || talk >= Normal && !c.Among})
}

// A heeded cue is one with what the level lets be said of it.
type heeded struct {
	session.Cue
	in     say.In
	left   say.Left
	full   bool
	normal bool // also at the lowest level, where a name must be told
	talks  bool // not at the lowest level, whatever the sheets
	times  bool // how long a step takes
}

// lineOf is what is said for each kind of cue; nothing for those that have no row.
var lineOf = map[session.CueKind]func(heeded) say.Line{
	session.CueBegin:   heeded.begin,
	session.CueRockOn:  func(c heeded) say.Line { return when(c.full || c.Named, say.Agitate.Of()) },
	session.CueRockOff: func(c heeded) say.Line { return when(c.full || c.Named, say.Rest.Of()) },
	session.CuePip:     func(c heeded) say.Line { return when(c.Led, say.Count.Of(say.Number(c.N))) },
	session.CueSoon:    func(c heeded) say.Line { return say.MoveSoon.Of(say.Soon(c.Next)) },
	session.CueTen: func(c heeded) say.Line {
		return when(c.normal, either(c.Named, say.Ten.Of(), say.LeftNow.Of(c.left)))
	},
	session.CueMinutes: heeded.still,
	session.CueThirty:  heeded.still,
	session.CueAtLeast: func(heeded) say.Line { return say.Judge.Of() },
	session.CueDrain: func(c heeded) say.Line {
		return either(c.full, say.DrainFor.Of(say.Left(c.For)), say.Drain.Of())
	},
	session.CueMove: func(c heeded) say.Line {
		return either(c.Stage == session.Exposure, say.LightOff.Of(), say.MoveNow.Of(say.Into(c.Next)))
	},
	session.CueCall: heeded.again,
	session.CueOver: func(c heeded) say.Line { return say.Overdue.Of(say.Left(c.Over)) },
	session.CueSeen: func(c heeded) say.Line {
		return when(c.normal, either(c.Left > 0, say.SeenLeft.Of(c.left), say.Seen.Of()))
	},
	session.CueBack: func(c heeded) say.Line {
		return either(c.Stage != "", say.Back.Of(c.in), say.BackOut.Of())
	},
	session.CueDone:    func(heeded) say.Line { return say.Done.Of() },
	session.CueSpoiled: func(heeded) say.Line { return say.Spoiled.Of() },
	session.CueWashAnew: func(c heeded) say.Line {
		return either(c.times && c.For > 0, say.WashAnewFor.Of(say.Left(c.For)), say.WashAnew.Of())
	},
	session.CueChange: func(c heeded) say.Line {
		return either(c.full && c.N > 0, say.ChangeOf.Of(say.Number(c.N)), say.Change.Of())
	},
	session.CueLightOn: func(c heeded) say.Line {
		return either(c.times && c.For > 0, say.LightOnFor.Of(say.Left(c.For)), say.LightOn.Of())
	},
	session.CueHalf: func(c heeded) say.Line { return when(c.normal, say.Half.Of(c.left)) },
	session.CueLightOff: func(c heeded) say.Line {
		return either(c.N > 0, say.StripOff.Of(), say.LightOff.Of())
	},
	session.CueCovered: func(c heeded) say.Line { return when(c.normal, say.Covered.Of()) },
	session.CueUncovered: func(c heeded) say.Line {
		return when(c.normal, either(c.Left > 0, say.Uncovered.Of(c.left), say.UncoveredOf.Of()))
	},
	session.CueRelight: func(c heeded) say.Line {
		changed := either(c.For > 0, say.Retimed.Of(c.left), say.Relight.Of(c.left))
		return when(c.normal, either(c.Left > 0, changed, say.RelightOf.Of()))
	},
	session.CueSafeHalf: func(c heeded) say.Line {
		lamp := either(c.Left > 0, say.SafeHalf.Of(c.left), say.SafeHalfOf.Of())
		return when(c.normal, either(c.Screen, say.ScreenHalf.Of(c.left), lamp))
	},
	session.CueSafeAll: func(c heeded) say.Line {
		return either(c.Screen, say.ScreenAll.Of(), say.SafeAll.Of())
	},
	session.CueMayGoIn: func(c heeded) say.Line {
		return either(c.Left < time.Second, say.MayGoIn.Of(), say.MayGoInFor.Of(c.left))
	},
	session.CueConflict: func(c heeded) say.Line {
		return either(c.talks && c.Left > 0, say.Conflict.Of(c.left), say.ConflictOf.Of())
	},
	session.CueBathHigh: func(c heeded) say.Line {
		return when(c.normal, say.BathHigh.Of(say.BathName(c.Label, string(c.Stage))))
	},
	session.CueBathSpent: func(c heeded) say.Line {
		return say.BathSpent.Of(say.BathName(c.Label, string(c.Stage)))
	},
}

func either(is bool, with, without say.Line) say.Line {
	if is {
		return with
	}
	return without
}

func when(is bool, l say.Line) say.Line { return either(is, l, say.Line{}) }

// begin tells the bath by the name that the user gave it.
func (c heeded) begin() say.Line {
	timed := c.times && c.For > 0
	if c.Label == "" || c.Label == string(c.Stage) {
		return either(timed, say.BeginFor.Of(c.in, say.Left(c.For)), say.Begin.Of(c.in))
	}
	name := say.Name{Text: c.Label, Bath: say.Bath(c.Stage)}
	return either(timed, say.NameFor.Of(name, say.Left(c.For)), say.BeginName.Of(name))
}

func (c heeded) still() say.Line {
	return when(c.normal, either(c.Named, say.LeftStill.Of(c.left), say.LeftNow.Of(c.left)))
}

// again calls once more for a move, and says for how long it has been due.
func (c heeded) again() say.Line {
	over := c.Over
	if !c.full {
		over = over.Truncate(time.Minute)
	}
	late := c.talks && over >= time.Second
	if c.Stage == session.Exposure {
		return either(late, say.CallOff.Of(say.Left(over)), say.LightOff.Of())
	}
	return either(late, say.CallAgain.Of(say.Into(c.Next), say.Left(over)), say.MoveNow.Of(say.Into(c.Next)))
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
