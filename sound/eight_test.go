package sound_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"wetside/session"
	"wetside/session/say"
	"wetside/session/sessiontest"
	"wetside/sound"
	"wetside/sound/soundtest"
	"wetside/sound/voice"
)

// heardIn writes down a recording by ear, half of it on each of two processors.
func heardIn(x []float32) []soundtest.Word {
	// The halves are parted in the longest silence near the middle.
	cut, from := len(x)/2, 0
	for i, best := len(x)*2/5, 0; i < len(x)*3/5; i++ {
		if x[i] != 0 {
			from = i + 1
		} else if i-from > best {
			cut, best = (from+i)/2, i-from
		}
	}
	var out [2][]soundtest.Word
	var g errgroup.Group
	for i, part := range [][]float32{x[:cut], x[cut:]} {
		g.Go(func() error {
			out[i] = soundtest.Words(part, soundtest.Listen(part))
			return nil
		})
	}
	_ = g.Wait()
	for i := range out[1] {
		out[1][i].At += time.Duration(cut) * time.Second / sound.Rate
		out[1][i].End += time.Duration(cut) * time.Second / sound.Rate
	}
	return append(out[0], out[1]...)
}

// Of eight sheets, each two minutes and a half in the trays before it washes and a
// new one each half minute, the recording alone tells every call, whole and with its
// number; and nothing is heard in it that has none.
func TestEightSheetsAreEachCalledByNumber(t *testing.T) {
	if testing.Short() {
		sessiontest.Leave(t, "-short leaves out a minute of listening", "run without -short")
	}
	cues := sound.Crowd(t, 8, 30*time.Second, 2*time.Second)
	var x []float32
	sound.Perform(t, cues, nil, func(_ *sound.Mixer, block []float32) { x = append(x, block...) })
	words := heardIn(x)
	of := make([]int, len(words)) // which announcement each was found to be of; 0: none
	number := func(text string) bool {
		return slices.ContainsFunc(cues, func(c session.Cue) bool {
			return slices.Contains(say.Numeral(c.Num), text)
		})
	}
	said, answered := 0, 0
	// cutShort reports whether the press that a call asked for came before its words had
	// ended; its number was heard at least.
	cutShort := func(c session.Cue, first string) bool {
		at := slices.IndexFunc(cues, func(o session.Cue) bool {
			return (o.Kind == session.CueBegin || o.Kind == session.CueDone) && o.Numbers()&c.Numbers() != 0 && o.T > c.T && o.T < c.T+3*time.Second
		})
		i := slices.IndexFunc(words, func(w soundtest.Word) bool { return w.At > c.T && w.Text == first })
		if at < 0 || i < 0 || words[i].At > cues[at].T {
			return false
		}
		for ; i < len(words) && words[i].At < cues[at].T; i++ {
			of[i] = -1
		}
		return true
	}
	var worst time.Duration
	for _, c := range cues {
		if c.Ticks() {
			continue
		}
		var line []string
		for _, l := range voice.Lines(c, sound.Normal) {
			line = append(line, l.Clips(func(string) bool { return false })...)
		}
		line = slices.DeleteFunc(line, func(c string) bool { return strings.Trim(c, ",;.") == "" })
		if c.Numbers().Len() == 0 || len(line) < 2 || !number(line[0]) {
			t.Errorf("%v: %q has no number", c.T, line)
			continue
		}
		i := 0
		for i < len(words) && (words[i].At < c.T || of[i] != 0 || i+len(line) > len(words) || !slices.EqualFunc(words[i:i+len(line)], line, func(w soundtest.Word, c string) bool { return w.Text == c })) {
			i++
		}
		if i == len(words) || words[i].At > c.T+12*time.Second {
			if c.Urgent() && cutShort(c, line[0]) {
				answered++
				continue
			}
			t.Errorf("%v: %q is not heard", c.T, line)
			continue
		}
		said++
		worst = max(worst, words[i].At-c.T)
		for k := range line {
			of[i+k] = said
		}
	}
	for i, w := range words {
		if of[i] == 0 {
			t.Errorf("%v: %q belongs to no call", w.At, w.Text)
		}
	}
	t.Logf("%v of sound; %d calls heard with their number, the words at worst %v after the call; %d more were answered before their end", (time.Duration(len(x)) * time.Second / sound.Rate).Round(time.Second), said, worst, answered)
}
