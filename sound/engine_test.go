package sound

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"wetside/session"
)

// teller is a voice that keeps count.
type teller struct {
	mu    sync.Mutex
	asked []string
	slow  time.Duration
}

func (s *teller) Phrase(c session.Cue, talk Talk) []float32 {
	time.Sleep(s.slow)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.asked = append(s.asked, fmt.Sprint(c.Key, " ", int(talk)))
	if talk == Few {
		return nil
	}
	return words(time.Second)
}

func begun(e *Engine) string {
	var out []string
	for _, p := range e.Begun() {
		out = append(out, fmt.Sprintf("%s@%d", p.Key, p.At.Sub(e.epoch).Round(time.Millisecond).Milliseconds()))
	}
	return strings.Join(out, " ")
}

// bubble runs an engine with nobody to hear it, in time of its own.
func bubble(t *testing.T, cfg Config, do func(e *Engine)) {
	synctest.Test(t, func(t *testing.T) {
		cfg.Prefer, cfg.Volume = "none", 1
		e, err := Open(context.Background(), cfg)
		if err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		do(e)
		if err := e.Close(); err != nil {
			t.Error(err)
		}
	})
}

func planned(e *Engine, k session.CueKind, key, sheet string, ms int) session.Due {
	return session.Due{Cue: session.Cue{Key: key, Kind: k, Sheet: sheet, Stage: session.Stop}, At: e.epoch.Add(time.Duration(ms) * time.Millisecond)}
}

func TestScheduleReplacesWhatHasNotBegun(t *testing.T) {
	bubble(t, Config{Rock: On}, func(e *Engine) {
		ten := planned(e, session.CueTen, "ten", "1", 500)
		e.Schedule([]session.Due{ten, planned(e, session.CueMove, "move", "1", 3000)})
		time.Sleep(time.Second)
		// The same again, and another in the move's place, twice.
		next := planned(e, session.CueBegin, "begin", "1", 2000)
		e.Schedule([]session.Due{ten, next, next})
		if err := e.Drain(context.Background()); err != nil {
			t.Error(err)
		}
		if got := begun(e); got != "ten@500 begin@2000" {
			t.Errorf("begun: %s", got)
		}
		e.Play(session.Cue{Key: "ten", Kind: session.CueTen}) // asked for, so heard again
		time.Sleep(time.Second)
		if got := len(e.Begun()); got != 3 {
			t.Errorf("%d begun, want 3", got)
		}
	})
}

// A cue asked for at its own instant is not lost when the next span of cues,
// which no longer holds it, comes before the device has asked for samples.
func TestACueOfThisInstantIsNotLost(t *testing.T) {
	bubble(t, Config{}, func(e *Engine) {
		time.Sleep(1010 * time.Millisecond)
		e.Schedule([]session.Due{planned(e, session.CueBegin, "begin", "1", 1010)})
		time.Sleep(time.Millisecond)
		e.Schedule([]session.Due{planned(e, session.CueTen, "ten", "1", 2000)})
		time.Sleep(2 * time.Second)
		if got := begun(e); !strings.HasPrefix(got, "begin@") || !strings.HasSuffix(got, " ten@2000") {
			t.Errorf("begun: %s", got)
		}
	})
}

// The call that is due just when the user has moved the sheet is withdrawn.
func TestACallIsWithdrawnByTheMove(t *testing.T) {
	bubble(t, Config{}, func(e *Engine) {
		time.Sleep(1010 * time.Millisecond)
		e.Schedule([]session.Due{planned(e, session.CueMove, "move", "1", 1005), planned(e, session.CueMove, "other", "2", 1005)})
		e.Schedule([]session.Due{planned(e, session.CueBegin, "begin", "1", 1010)})
		time.Sleep(2 * time.Second)
		var ks []string
		for _, p := range e.Begun() {
			ks = append(ks, p.Key)
		}
		if !slices.Equal(ks, []string{"other", "begin"}) {
			t.Errorf("begun: %v", ks)
		}
	})
}

func TestWordsAreMadeAhead(t *testing.T) {
	v := &teller{slow: 100 * time.Millisecond}
	bubble(t, Config{Voice: v, Talk: Full, Rock: On}, func(e *Engine) {
		e.Schedule([]session.Due{
			planned(e, session.CueMinutes, "minute", "1", 5000),
			planned(e, session.CueRock, "tick", "1", 6000),
			planned(e, session.CueOver, "far", "1", 200_000),
		})
		time.Sleep(time.Second)
		// Named again: the words are there already. The far one is not made yet.
		e.Schedule([]session.Due{
			planned(e, session.CueMinutes, "minute", "1", 5000),
			planned(e, session.CueOver, "far", "1", 200_000),
		})
		time.Sleep(2 * time.Second)
		v.mu.Lock()
		if got := strings.Join(v.asked, ", "); got != "minute 2" {
			t.Errorf("made ahead: %s", got)
		}
		v.mu.Unlock()
		e.mu.Lock()
		if e.mixer.speaking.on || len(e.mixer.pending) != 2 {
			t.Error("it speaks before its time")
		}
		e.mu.Unlock()
		time.Sleep(2700 * time.Millisecond)
		e.mu.Lock()
		if !e.mixer.speaking.on {
			t.Error("nothing is spoken behind the motif")
		}
		e.mu.Unlock()
		time.Sleep(180 * time.Second)
		v.mu.Lock()
		if got := strings.Join(v.asked, ", "); got != "minute 2, far 2" {
			t.Errorf("made: %s", got)
		}
		v.mu.Unlock()
	})
}

// A rehearsal's pace puts a day of cues into the next minute. Of their words
// there are never more than what is spoken soon, and all are spoken that can be.
func TestWordsAreNotHoarded(t *testing.T) {
	words := speakerFunc(func(session.Cue, Talk) []float32 { return make([]float32, Rate) })
	bubble(t, Config{Voice: words, Talk: Full, Pace: 1000}, func(e *Engine) {
		var ps []session.Due
		for i := range 500 {
			p := planned(e, session.CueMove, fmt.Sprint(i), fmt.Sprint(i), 100+40*i)
			p.Cue.Num = i // each has words of its own
			ps = append(ps, p)
		}
		most, spoken := 0, 0
		for range 150 { // the screen's ticks
			e.Schedule(ps)
			time.Sleep(100 * time.Millisecond)
			e.mu.Lock()
			held := len(e.mixer.speaking.voice)
			for _, list := range [][]item{e.mixer.tail, e.mixer.pending} {
				for _, it := range list {
					held += len(it.voice)
				}
			}
			most = max(most, held)
			if e.mixer.speaking.on {
				spoken++
			}
			e.mu.Unlock()
		}
		if limit := samples(ahead) + 3*Rate; most > limit || most < Rate {
			t.Errorf("%d s of words are held; at most %d", most/Rate, limit/Rate)
		}
		if spoken < 100 {
			t.Errorf("words are spoken at %d of 150 instants", spoken)
		}
	})
}

type speakerFunc func(session.Cue, Talk) []float32

func (f speakerFunc) Phrase(c session.Cue, talk Talk) []float32 { return f(c, talk) }

// A voice that is slow to be made delays no motif, and is spoken when it is
// there.
func TestAMotifDoesNotWaitForItsWords(t *testing.T) {
	v := &teller{slow: 3 * time.Second}
	bubble(t, Config{Voice: v, Talk: Full}, func(e *Engine) {
		e.Schedule([]session.Due{planned(e, session.CueMove, "move", "1", 1000)})
		time.Sleep(2 * time.Second)
		if got := begun(e); got != "move@1000" {
			t.Errorf("begun: %s", got)
		}
		time.Sleep(1750 * time.Millisecond) // between two blocks of the device
		e.mu.Lock()
		defer e.mu.Unlock()
		if !e.mixer.speaking.on {
			t.Error("its words are not spoken")
		}
	})
}

type striker struct{ device }

func (striker) strike(Motif) {}

// A device says by what it is how much of a cue is heard.
func TestWhatADeviceReaches(t *testing.T) {
	bubble(t, Config{}, func(e *Engine) { // switched off
		if s := e.Status(); !s.OK || s.Reach != Silence {
			t.Errorf("%+v", s)
		}
	})
	if r := reach(striker{}); r != Tones {
		t.Errorf("what is struck reaches %d", r)
	}
	if r := reach(&pulse{}); r != Everything {
		t.Errorf("a server reaches %d", r)
	}
}

func TestVolumeIsNews(t *testing.T) {
	bubble(t, Config{}, func(e *Engine) {
		for len(e.Changes()) > 0 {
			<-e.Changes()
		}
		e.SetVolume(0.25)
		if s := <-e.Changes(); s.Volume != 0.25 || e.Status().Volume != 0.25 {
			t.Errorf("%+v", s)
		}
		e.SetVolume(7)
		if s := e.Status(); s.Volume != 1 {
			t.Errorf("%+v", s)
		}
	})
}

// What was mixed but not heard when the device went is heard when it is back,
// if it still means something.
func TestWhatWasLostInTheDeviceIsPutBack(t *testing.T) {
	bubble(t, Config{}, func(e *Engine) {
		e.Schedule([]session.Due{planned(e, session.CueMove, "move", "1", 1000), planned(e, session.CueTen, "heard", "1", 500)})
		time.Sleep(960 * time.Millisecond)
		for !strings.Contains(begun(e), "move") {
			time.Sleep(time.Millisecond)
		}
		e.lost(e.epoch.Add(990 * time.Millisecond))
		if got := begun(e); got != "heard@500" {
			t.Errorf("the record still says %s", got)
		}
		time.Sleep(time.Second)
		if got := begun(e); !strings.HasPrefix(got, "heard@500 move@1") {
			t.Errorf("begun: %s", got)
		}
	})
}

// Only a cue whose place in the stream is mixed already makes the device throw
// away what it holds: plans made ahead, however often, leave it in peace.
func TestOnlyWhatIsDueAtOnceHastens(t *testing.T) {
	bubble(t, Config{}, func(e *Engine) {
		time.Sleep(1010 * time.Millisecond) // between two of its blocks
		synctest.Wait()
		ahead := planned(e, session.CueMove, "move", "1", 1600)
		for range 5 {
			e.Schedule([]session.Due{ahead})
		}
		if len(e.soon) != 0 {
			t.Error("a plan made ahead hastens")
		}
		e.Schedule([]session.Due{ahead, planned(e, session.CueBack, "back", "1", 1010)})
		if len(e.soon) != 1 {
			t.Error("an answer does not hasten")
		}
	})
}
