//go:build unix

package main

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/sessiontest"
	"wetside/sound"
	"wetside/sound/soundtest"
)

// briefBaths leave somebody who listens, at twice life, time to answer, and no more.
var briefBaths = []string{`develop; target = "30s"`, `fix; target = "30s"`, `wash; target = "45s"`}

// Three cameras in the open and then three trays, in a real terminal, by somebody who
// never looks: a call is known by its sound, its sheet by the number that is spoken after
// it, and answered with that number and the large key, now and then twice. The record
// is what was called for, in its order. Its ear takes one number for another now and
// then, as words crowd, and it lasts some minutes: so it is run by hand.
//
//	WETSIDE_SOAK=1 go test ./cmd/wetside -run AnAfternoonByEarAlone -v
func TestAnAfternoonByEarAlone(t *testing.T) {
	if os.Getenv("WETSIDE_SOAK") == "" {
		sessiontest.Leave(t, "an afternoon in a real terminal takes minutes, and two hundred are gone through at the model in tui", "set WETSIDE_SOAK=1")
	}
	byProcess(t)
	byEar(t, afternoon)
}

func afternoon(t testing.TB) (stood string) {
	rig := soundtest.NewRig(t)
	h := newHome(t, "PULSE_SERVER="+rig.Server)
	ownProcess(t, h, "brief-baths", briefBaths...)
	soundtest.Words(make([]float32, sound.Rate), nil) // the first takes seconds
	l := listen(t, rig, 0, true)
	s := newStrain(t)
	p := newPane(t, h, 250, 24, "rehearse", "--pace", "2", "--blind", "--light", "45s", "--process", "brief-baths",
		"--sheets", "3", "--sound", "pulse", "--volume", fmt.Sprint(volume))
	var said string
	ended := make(chan error, 1)
	go func() { ended <- p.ended(&said) }()
	rnd := rand.New(rand.NewPCG(1, 1))
	var log, meant []string
	begun := time.Now()
	note := func(format string, args ...any) {
		log = append(log, fmt.Sprintf("%6.2f ", time.Since(begun).Seconds())+fmt.Sprintf(format, args...))
	}
	press := func(k string, after time.Duration) {
		<-time.After(after + time.Duration(rnd.IntN(400))*time.Millisecond)
		if k == " " && rnd.IntN(4) == 0 {
			k = "  " // a hand that trembles
		}
		note("pressed %q", k)
		fmt.Fprint(p, k)
	}
	answered := map[int]time.Duration{}
	answer := func(call time.Duration, deed session.Kind) bool {
		n := l.number(call)
		note("number %d", n)
		if at, ok := answered[n]; n == 0 || ok && call-at < 3*time.Second {
			return false // it is called again
		}
		answered[n] = call
		meant = append(meant, fmt.Sprint(deed, " ", n))
		press(fmt.Sprint(n), 0)
		press(" ", 400*time.Millisecond)
		return true
	}
	opened, covered, done := 0, 0, 0
	patience := time.After(4 * time.Minute)
	next := time.After(time.Second) // a key waits for the program
	for done < 3 {
		select {
		case <-next:
			opened++
			press(fmt.Sprint(opened), 500*time.Millisecond)
			press(" ", 500*time.Millisecond)
		case x := <-l.Heard:
			note("heard %s %s at %.2f", x.Motif, x.Stage, x.At.Seconds())
			switch x.Kind {
			case session.CueLightOn:
				if opened < 3 {
					next = time.After(time.Second)
				}
			case session.CueLightOff, session.CueMove, session.CueMayGoIn, session.CueCall, session.CueOver:
				switch {
				case covered == 3:
					answer(x.At, session.Moved)
				case answer(x.At, session.ExposureEnded):
					covered++
				}
				if covered == 3 && len(meant) == 3 {
					press(" ", 1500*time.Millisecond) // to the trays
					press(" ", 1500*time.Millisecond) // and the first goes in
					meant = append(meant, fmt.Sprint(session.Moved, " 1"))
				}
			case session.CueDone:
				done++
			}
		case err := <-ended:
			t.Fatalf("the program ended: %v\n%s", err, strings.Join(log, "\n"))
		case <-patience:
			t.Errorf("%d of 3 sheets are done\n%s", done, strings.Join(log, "\n"))
			done = 3
		}
	}
	fmt.Fprint(p, "q")
	fmt.Fprint(p, "y")
	if err := <-ended; err != nil {
		t.Error(err)
	}
	_, _, hole := l.stop()
	stood = s.stood(said, hole)
	t.Logf("%d calls were answered", len(meant)-1)
	if got := movesOf(t, h); !slices.Equal(got, meant) {
		t.Errorf("recorded %q\nmeant    %q\n%s", got, meant, strings.Join(log, "\n"))
	}
	return stood
}

// number is the first that is spoken after a call, of one to three; 0: none is heard.
func (l *listener) number(call time.Duration) int {
	from, to := int(call*sound.Rate/time.Second), int((call+1800*time.Millisecond)*sound.Rate/time.Second)
	l.mu.Lock()
	for len(l.pcm) < to && !l.over {
		l.grown.Wait()
	}
	x := slices.Clone(l.pcm[from:min(to, len(l.pcm))])
	l.mu.Unlock()
	for _, w := range soundtest.Words(x, soundtest.Listen(x)) {
		if n := slices.Index(strings.Fields("one two three"), w.Text); n >= 0 {
			return n + 1
		}
	}
	return 0
}

// movesOf is what the notebook has of covered pinholes and of moves.
func movesOf(t testing.TB, h home) (got []string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(h.data(), "notebook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	m := session.New()
	for _, e := range stored(t, db) {
		m.Replay(e)
		if e.Kind == session.Moved || e.Kind == session.ExposureEnded {
			got = append(got, fmt.Sprint(e.Kind, " ", m.Sheet(e.Sheet).Num))
		}
	}
	return got
}
