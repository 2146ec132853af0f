package main

import (
	"bufio"
	"cmp"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/signal"
	"slices"
	"strconv"
	"strings"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/sound"
	"wetside/sound/voice"
)

// SoundsCmd plays and names every sound.
type SoundsCmd struct {
	Which  []string `arg:"" optional:"" name:"sound-name" help:"Only these, by number or name, in this order."`
	List   bool     `help:"Only print them." xor:"how"`
	Learn  bool     `help:"A quiz: a sound is played, you answer with its number." xor:"how"`
	Rounds int      `help:"How many sounds the quiz plays." default:"12" placeholder:"N"`
	Motifs bool     `help:"Leave out the phrases."`
	Sound  string   `help:"Where sound goes: pulse, oto, aplay, beep or none." placeholder:"DEVICE"`
	Volume *number  `help:"Volume of the program's own stream, 0 to 1." placeholder:"V"`
}

// Help shows how it is used.
func (SoundsCmd) Help() string {
	return `Examples:

  wetside sounds            play each motif and phrase, and name it
  wetside sounds "move now" "call again"
  wetside sounds --list     only print them
  wetside sounds --learn    a quiz, in the light, before it matters`
}

// phrases are announcements of each kind that is spoken.
func phrases() (out []session.Cue) {
	for i, f := range session.CueFacts {
		if f.Ticks {
			continue
		}
		q := f.Example
		q.Key, q.Num, q.Sheet = fmt.Sprintf("phrase/%d", i), 4, "4"
		out = append(out, q)
	}
	return out
}

// Run plays.
func (c *SoundsCmd) Run(h *host) error {
	names := sound.Names()
	said := phrases()
	if c.Motifs || len(c.Which) > 0 {
		said = nil
	}
	which, err := chosen(names, c.Which)
	if err != nil {
		return err
	}
	if c.List {
		for _, i := range which {
			h.motif(i, names[i])
		}
		h.phrases(said)
		return nil
	}
	if c.Learn && len(c.Which) > 0 {
		return usage("the quiz chooses the sounds by itself: --learn stands alone")
	}
	if c.Rounds < 1 || c.Rounds > 1000 {
		return usage("--rounds is from 1 to 1000, not %d", c.Rounds)
	}
	set, wrong := loadSettings(h)
	for _, w := range wrong {
		h.warn("%s", w.Error())
	}
	if err := (Flags{Sound: c.Sound, Volume: c.Volume}).over(&set); err != nil {
		return err
	}
	return c.play(h, set, names, which, said)
}

// motif names a sound, phrase what is said.
func (h *host) motif(i int, n sound.Named) { h.say("%2d  %-20s  %s", i+1, n.Name, n.Says) }
func (h *host) phrases(said []session.Cue) {
	for _, q := range said {
		h.say("    \"%s\"", voice.Words(q, voice.Full))
	}
}

// play plays them, or asks about them, as far as anything can be heard.
func (c *SoundsCmd) play(h *host, set settings, names []sound.Named, which []int, said []session.Cue) error {
	ctx, stop := signal.NotifyContext(h.ctx, os.Interrupt)
	defer stop()
	device := sound.Config{Talk: sound.Full, Volume: set.Volume, Prefer: set.Sound, Rock: sound.On, Alive: true}
	bare, err := sound.Open(ctx, device)
	if err != nil {
		return err
	}
	defer bare.Close()
	st := audible(ctx, bare)
	mute := !st.OK || st.Reach == sound.Silence
	wordless := mute || st.Reach == sound.Tones
	why := cmp.Or(st.Reason, st.Device)
	switch {
	case c.Learn && wordless:
		return fmt.Errorf("the sounds cannot be told apart here (%s), and a quiz by ear needs a loudspeaker; wetside sounds --list names the sounds", why)
	case c.Learn:
		for i, n := range names {
			h.motif(i, n)
		}
		return quiz{in: bufio.NewScanner(h.in), say: h.say, names: names, rounds: c.Rounds, pick: rand.IntN,
			play: func(n sound.Named) error { return playOut(ctx, bare, n.Cue) }}.run()
	case mute:
		h.say("nothing can be heard (%s); the sounds are:", why)
	default:
		h.say("sound: %s", st.Device)
		if wordless {
			h.say("%s", st.Reason)
		}
	}
	for _, i := range which {
		h.motif(i, names[i])
		if mute {
			continue
		}
		if err := playOut(ctx, bare, names[i].Cue); err != nil {
			return err
		}
	}
	bare.Close()
	if wordless {
		h.phrases(said)
		return nil
	}
	return h.speak(ctx, device, said)
}

// speak says the announcements, and prints each.
func (h *host) speak(ctx context.Context, device sound.Config, said []session.Cue) error {
	if len(said) == 0 {
		return nil
	}
	v, err := h.newVoice()
	if v == nil {
		return err
	}
	if err != nil {
		h.warn("%s", oneLine(err))
	}
	device.Voice = v
	full, err := sound.Open(ctx, device)
	if err != nil {
		return err
	}
	defer full.Close()
	audible(ctx, full)
	for _, q := range said {
		h.phrases([]session.Cue{q})
		if err := playOut(ctx, full, q); err != nil {
			return err
		}
	}
	return nil
}

// audible waits until a device is open, or it is clear that there is none yet. On a
// busy machine one may be long in answering.
func audible(ctx context.Context, e *sound.Engine) sound.Status {
	const usual, most = 3 * time.Second, 20 * time.Second
	begun := time.Now()
	for {
		st, left := e.Status(), usual
		if st.Starts {
			left = most
		}
		if left -= time.Since(begun); st.OK || left <= 0 {
			return st
		}
		limit := time.NewTimer(left)
		select {
		case <-e.Changes():
		case <-limit.C:
		case <-ctx.Done():
			return st
		}
		limit.Stop()
	}
}

// longestSound is more than any motif with its words takes.
const longestSound = 15 * time.Second

// playOut plays a cue and returns when it has been heard. A device that stands
// still does not hold it up for ever.
func playOut(ctx context.Context, e *sound.Engine, c session.Cue) error {
	e.Play(c)
	d, cancel := context.WithTimeout(ctx, longestSound)
	defer cancel()
	e.Drain(d)
	rest := time.NewTimer(between)
	defer rest.Stop()
	select {
	case <-rest.C:
	case <-ctx.Done():
	}
	return ctx.Err()
}

// between is the silence from one sound to the next: the ear takes each by
// itself.
const between = 400 * time.Millisecond

// chosen finds sounds by number or name; all of them when none is named.
func chosen(names []sound.Named, which []string) ([]int, error) {
	var out []int
	var known []string
	for i, n := range names {
		known = append(known, n.Name)
		if len(which) == 0 {
			out = append(out, i)
		}
	}
	for _, w := range which {
		i := slices.Index(known, strings.ToLower(w))
		if n, err := strconv.Atoi(w); err == nil && n >= 1 && n <= len(names) {
			i = n - 1
		}
		if i < 0 {
			if near := profiles.Near(w, known); len(near) > 0 {
				return nil, advise("there is no sound %q; did you mean %q?", w, near[0])
			}
			return nil, advise("there is no sound %q; wetside sounds --list names them", w)
		}
		out = append(out, i)
	}
	return out, nil
}

// A quiz asks for sounds by number.
type quiz struct {
	in     *bufio.Scanner
	say    func(string, ...any)
	play   func(sound.Named) error
	pick   func(n int) int // a number from 0 to n-1
	names  []sound.Named
	rounds int
}

func (q quiz) run() error {
	right, asked := 0, 0
	var missed []string
	q.say("which is it? a number; r plays it again; q ends")
	for asked < q.rounds {
		i := q.pick(len(q.names))
		n, err := q.ask(i)
		if err != nil {
			return err
		}
		if n < 0 {
			break
		}
		asked++
		if n == i {
			right++
			q.say("right: %s", q.names[i].Name)
		} else {
			missed = append(missed, q.names[i].Name)
			q.say("no: it was %d, %s (%s)", i+1, q.names[i].Name, q.names[i].Says)
		}
	}
	if err := q.in.Err(); err != nil {
		return err
	}
	q.say("%d of %d right", right, asked)
	if len(missed) > 0 {
		q.say("listen once more to: %s", strings.Join(missed, ", "))
	}
	return nil
}

// ask plays a sound until it is answered with a number, and returns which sound that is;
// -1: no more.
func (q quiz) ask(i int) (int, error) {
	for again := true; ; {
		if again {
			if err := q.play(q.names[i]); err != nil {
				return 0, err
			}
		}
		if !q.in.Scan() {
			return -1, nil
		}
		answer := strings.TrimSpace(q.in.Text())
		n, err := strconv.Atoi(answer)
		switch {
		case answer == "q":
			return -1, nil
		case err == nil && n >= 1 && n <= len(q.names):
			return n - 1, nil
		}
		if again = answer == "r" || answer == ""; !again {
			q.say("a number from 1 to %d; r plays it again; q ends", len(q.names))
		}
	}
}
