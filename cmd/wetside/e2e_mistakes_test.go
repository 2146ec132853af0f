//go:build unix

package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/sessiontest"
	"wetside/sound/soundtest"
)

// theirBaths are long enough for mistakes to be made in them, and to be heard out.
var theirBaths = []string{
	`develop; at_least = "50s"; at_most = "1m"; drain = "5s"; agitate = "continuous"`,
	`stop; target = "30s"; drain = "4s"; agitate = "continuous"`,
	`fix; target = "50s"; drain = "5s"; agitate = "continuous"`,
	`hypo-clear; target = "30s"; drain = "5s"; agitate = "continuous"`,
	`wash; target = "50s"`,
}

// A sitter is a person who works by ear, and makes mistakes.
type sitter struct {
	room
	t    *testing.T
	to   time.Duration // up to here was listened to
	made []mistake

	presses []time.Duration
	log     []string
}

// A mistake is a press that was wrong, and what must be heard of it; want is empty
// where nothing may be.
type mistake struct {
	what, want string
	press      int // which it was
}

func (s *sitter) right(keys string, d time.Duration) {
	s.log = append(s.log, fmt.Sprintf("%7.2f press %q", s.now().Seconds(), keys))
	s.presses = append(s.presses, s.now())
	s.press(keys)
	time.Sleep(d) // what a person takes to listen
}

func (s *sitter) wrong(what, keys, want string, d time.Duration) {
	s.made = append(s.made, mistake{what, want, len(s.presses)})
	s.right(keys, d)
}

// number is the number that was spoken since it was listened to last.
func (s *sitter) number() int {
	x := s.since(s.to)
	ws := soundtest.Words(x, soundtest.Listen(x))
	for i, w := range ws {
		if w.Text == "the number is" && i+1 < len(ws) {
			return 1 + slices.Index(strings.Fields("one two three four five six seven eight nine"), ws[i+1].Text)
		}
	}
	s.t.Errorf("no number is heard: %v", ws)
	return 0
}

// await waits for a call, and then as long as a hand takes.
func (s *sitter) await(motif string) {
	s.t.Helper()
	from := s.now()
	for range 120 {
		time.Sleep(700 * time.Millisecond)
		for _, h := range soundtest.Listen(s.since(max(from, s.now()-2*time.Second))) {
			if h.Motif == motif {
				time.Sleep(500 * time.Millisecond)
				return
			}
		}
	}
	s.t.Errorf("%q is not heard", motif)
}

const (
	enter, tab, back    = "\r", "\t", "\x7f"
	upKey, downKey, fwd = "\x1b[A", "\x1b[B", "\x1b[C"
)

// again presses a key some times, as fast as a person who knows the way.
func (s *sitter) again(n int, key string) {
	for range n {
		s.right(key, 600*time.Millisecond)
	}
	time.Sleep(1500 * time.Millisecond)
}

// sit is a sitting of two sheets, from the first start to the end.
func (s *sitter) sit() {
	const sec = time.Second
	time.Sleep(9 * sec)
	s.wrong("space, where a number is asked for", " ", "type the number that you heard", 3*sec)
	s.to = s.now()
	s.right(enter, 9*sec) // say it again
	s.right(fmt.Sprint(s.number()), 12*sec)
	s.wrong("a number that is no choice", "7", "press a number up to four", 5*sec)
	s.right("2", 7*sec)
	s.wrong("a letter that does nothing on the bench", "x", "nothing here", 3*sec)
	s.wrong("back, with nothing done", back, "there is nothing to take back", 4*sec)
	s.right(tab, 2*sec)
	s.wrong("the large key in the field, with nothing there", " ", "no camera is out add a sheet on the bench", 4*sec)
	s.right("\x1b[Z", 2*sec)
	s.right(downKey, sec)
	s.again(3, fwd) // to the process
	s.again(2, downKey)
	s.right("q", 2*sec)
	s.again(5, downKey)
	s.wrong("a letter where a temperature belongs", enter, "that was not understood", 4*sec)
	s.again(5, upKey)
	s.right(back, 2*sec)
	s.again(5, downKey)
	s.right(enter, 2*sec)
	s.again(4, downKey)
	s.right(enter, 2*sec)
	s.right(tab, sec)
	s.right(tab, 2*sec)
	s.wrong("a glow that nobody sees", "g", "the screen is dark", 3*sec)
	s.wrong("a sheet that does not exist", "9", "there is no sheet nine", 3*sec)
	s.wrong("water changed, with nothing in the wash", "w", "nothing is in the wash", 3*sec)
	s.wrong("image seen, with nothing in the developer", "i", "no sheet is in the developer", 3*sec)
	s.wrong("hold a sheet that is dry", "h", "sheet one is not wet", 3*sec)
	s.wrong("more time, with nothing running", upKey, "no step runs whose time could be changed", 4*sec)
	s.wrong("x once", "x", "is sheet one spoiled", 4*sec)
	s.wrong("a fresh bath by mistake", "b", "are all trays filled freshly", 5*sec)
	s.wrong("space, to a question", " ", "yes or no", 2*sec)
	s.right("n", 2*sec)
	s.to = s.now()
	s.wrong("softer than was heard", "z", "softer than you have heard", 10*sec)
	s.wrong("a number that was not spoken", fmt.Sprint(s.number()%9+1), "this is the softest that you have heard", 4*sec)
	s.wrong("a paste", "\x1b[200~abc\x1b[201~", "what is pasted is no key", 3*sec)
	s.wrong("quit by mistake", "q", "is all paper covered", 4*sec)
	s.right("n", 2*sec)
	s.wrong("lead by mistake", "l", "the program leads now", 3*sec)
	s.right("l", 3*sec)
	s.wrong("a letter that does nothing in the trays", "k", "nothing here", 3*sec)
	s.wrong("a key with no name", "\x1b[2~", "nothing here", 3*sec)

	s.right(" ", 400*time.Millisecond)
	s.wrong("the same press twice", " ", "", 7*sec)
	s.wrong("moved on much too early", " ", "in the stop bath", 5*sec)
	s.right(back, 6*sec)
	s.wrong("take away a sheet that has had light", "\x1b[3~", "has had light", 6*sec)
	s.wrong("a moment marked by mistake", "m", "marked", 3*sec)
	s.wrong("a note by mistake", "o", "type a note for sheet one", 7*sec)
	s.wrong("a letter of it", "k", "kilo", 2*sec)
	s.right("\x1b", 3*sec)
	s.await("move now")
	s.right(" ", 5*sec)
	s.right("2", 2500*time.Millisecond)
	s.right(" ", 4*sec)
	s.await("move now")
	s.right(" ", 6*sec)
	s.wrong("a sheet of ten fingers", "5", "there is no sheet five", 3*sec)
	s.right("1", 3*sec)
	s.wrong("out of the fixer too early", " ", "is not fixed", 7*sec)
	s.await("move now") // the second into the stop bath
	s.right("2", 2500*time.Millisecond)
	s.right(" ", 5*sec)
	for range 7 { // each call is answered
		s.await("move now")
		s.right(" ", 2*sec)
	}
	time.Sleep(4 * sec)
	s.wrong("a press when all is done", " ", "there is no sheet add one on the bench", 5*sec)
	s.right("q", 5*sec)
	s.right("y", sec)
}

// Whoever hears the recording alone, water running beside it, knows which sheet made
// which move and when, and which press was refused or asked about: a listener that has
// the recording and nothing else is compared with the notebook, and with what a person
// pressed who made thirty mistakes.
func TestASittingWithMistakesByEar(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		sessiontest.Leave(t, "-short leaves out eight minutes of sound", "run without -short")
	}
	h := newHome(t)
	ownProcess(t, h, "workshop", theirBaths...)
	var s *sitter
	b := inBooth(t, h, []string{"--blind"}, -16, func(t *testing.T, b *booth) {
		s = &sitter{room: b, t: t}
		s.sit()
	})
	s.t = t
	s.recovered(h, b.since(0), b.start, 100*time.Millisecond)
}

// A deed is what a listener makes out of a motif and the words behind it.
type deed struct {
	at    time.Duration
	sheet int
	stage session.Stage // empty: it is finished
}

func (d deed) String() string {
	return fmt.Sprintf("%.2f s: sheet %d %s", d.at.Seconds(), d.sheet, cmp.Or(d.stage, "finished"))
}

// account is what was done, by ear: a sheet whose number is not said is the only one
// under way. What was taken back is among undone.
func account(heard []soundtest.Heard, words []soundtest.Word) (done, undone []deed) {
	numbers := strings.Fields("zero one two three four five six seven eight nine")
	under := map[int]bool{1: true}
	for _, h := range heard {
		if h.Kind != session.CueBegin && h.Kind != session.CueBack && h.Kind != session.CueDone {
			continue
		}
		sheet := 0
		for i, w := range words {
			follows := strings.HasPrefix(w.Text, "in the ") || w.Text == "the last move is taken back" || w.Text == "finished"
			if w.At < h.At || w.At > h.At+6*time.Second || !follows {
				continue
			}
			if i > 0 && words[i-1].At > h.At {
				sheet = max(0, slices.Index(numbers, words[i-1].Text))
			}
			break
		}
		if sheet == 0 && len(under) == 1 {
			for n := range under {
				sheet = n
			}
		}
		switch h.Kind {
		case session.CueBack:
			k := len(done) - 1
			for k > 0 && done[k].sheet != sheet {
				k--
			}
			undone = append(undone, done[k])
			done = slices.Delete(done, k, k+1)
		case session.CueDone:
			done = append(done, deed{h.At, sheet, ""})
			delete(under, sheet)
		default:
			done = append(done, deed{h.At, sheet, h.Stage})
			if sheet > 0 {
				under[sheet] = true
			}
		}
	}
	return done, undone
}

// recovered compares what is heard in a recording that began at start with the notebook
// and with the mistakes that were made.
func (s *sitter) recovered(h home, x []float32, start time.Time, within time.Duration) {
	t := s.t
	heard := soundtest.Listen(x)
	words := soundtest.Words(x, heard)
	done, undone := account(heard, words)
	m, real, _ := lived(t, h, false)
	var book []deed
	for _, sh := range m.Sheets() {
		for _, v := range sh.Visits {
			book = append(book, deed{real(v.In).Sub(start.Round(0)), sh.Num, v.Stage})
		}
		if sh.Phase != session.Finished {
			t.Errorf("sheet %d is %s in the notebook", sh.Num, sh.Phase)
			continue
		}
		book = append(book, deed{real(sh.Visits[len(sh.Visits)-1].Out).Sub(start.Round(0)), sh.Num, ""})
	}
	slices.SortFunc(book, func(a, b deed) int { return cmp.Compare(a.at, b.at) })
	var off []time.Duration
	for i := range max(len(book), len(done)) {
		if i >= len(book) || i >= len(done) || book[i].sheet != done[i].sheet || book[i].stage != done[i].stage || (book[i].at-done[i].at).Abs() > within {
			t.Errorf("by ear %v\nin the notebook %v", done, book)
			break
		}
		off = append(off, done[i].at-book[i].at)
	}
	if len(undone) != 1 || undone[0].sheet != 1 || undone[0].stage != session.Stop {
		t.Errorf("taken back by ear: %v", undone)
	}

	after := func(from, to time.Duration) string {
		var out []string
		for _, w := range words {
			if w.At >= from && w.At < to {
				out = append(out, w.Text)
			}
		}
		return strings.Join(out, " ")
	}
	found, all := 0, after(0, 1<<62)
	for i, k := range s.made {
		from, to := s.presses[k.press], s.presses[k.press+1]
		got := after(from-50*time.Millisecond, to+300*time.Millisecond)
		switch {
		case k.want == "":
			moved := slices.ContainsFunc(heard, func(h soundtest.Heard) bool {
				return h.Kind == session.CueBegin && h.At > from && h.At < to-100*time.Millisecond
			})
			if moved {
				t.Errorf("%s: it moved a sheet", k.what)
				continue
			}
		case !strings.Contains(got, k.want):
			t.Errorf("%s: heard is %q, not %q", k.what, got, k.want)
			continue
		}
		found++
		// What is said to a mistake alone is said as often as it was made.
		n := 0
		for _, o := range s.made {
			if o.want == k.want {
				n++
			}
		}
		if strings.Contains(k.want, "not") || strings.Contains(k.want, " no ") || strings.HasPrefix(k.want, "no") {
			if got := strings.Count(all, k.want); got != n {
				t.Errorf("%d: %q is heard %d times, and was to be %d times", i, k.want, got, n)
			}
		}
	}
	t.Logf("%d of %d mistakes recovered; %d deeds by ear, against the notebook: %s", found, len(s.made), len(done), spread(off))
	if len(s.made) < 30 {
		t.Errorf("%d mistakes", len(s.made))
	}
	if t.Failed() {
		t.Log(strings.Join(s.log, "\n"))
		for _, w := range words {
			t.Logf("%8.2f %.2f %s", w.At.Seconds(), w.Score, w.Text)
		}
		for _, w := range heard {
			t.Logf("%8.2f %.2f * %s %s %.2f", w.At.Seconds(), w.Score, w.Motif, w.Stage, w.Gain)
		}
	}
}
