//go:build unix

package main

import (
	"cmp"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/sessiontest"
	"wetside/sound/soundtest"
)

// A workshop's eight sheets, of two makers, through two fixing baths: rehearsed
// at twenty times life in tmux by hands that only answer what the ear hears.
// They put a sheet in when they hear that it may go in, and move one when they
// hear a call; they make one move at a time. Then no two moves are closer than
// the hands allow, each sheet's record is right to 0.2 s, each bath's share to
// a square centimetre, and the wash was a wash for all of them.
//
// By default the baths are a quarter as long as in life; with WETSIDE_SOAK set
// the process is the embedded one.
func TestEightSheetsByEar(t *testing.T) {
	sessiontest.Need(t, "tmux")
	soundtest.Need(t)
	t.Parallel() // most of it is waiting
	byEar(t, func(t testing.TB) string { return eightSheets(t) })
}

// workshopBaths are those of two-bath-fix, a quarter as long.
var workshopBaths = []string{
	`develop; at_least = "30s"; at_most = "50s"; drain = "5s"; agitate = "continuous"`,
	`stop; target = "12s"; drain = "3s"`,
	`fix; target = "25s"; drain = "5s"`,
	`second fix; target = "25s"; drain = "5s"`,
	`rinse; target = "40s"; drain = "5s"`,
	`hypo-clear; target = "40s"; drain = "5s"`,
	`wash; target = "15m"; short_after = "5m"; batch = true`,
}

// whichSheet is the question to whom a press was meant.
var whichSheet = regexp.MustCompile(`(\d) or \d\? press the number`)

func eightSheets(t testing.TB) (stood string) {
	const (
		pace    = 20
		sheets  = 8
		handful = 8 * time.Second // a move of the hands, session time
	)
	rig := soundtest.NewRig(t)
	h := newHome(t, "PULSE_SERVER="+rig.Server)
	process := "workshop"
	ownProcess(t, h, process, workshopBaths...)
	if os.Getenv("WETSIDE_SOAK") != "" {
		process = "two-bath-fix"
	}
	// An answer to a motif comes some tenths of a second after it, which at
	// this pace are many seconds: the plan is told of slower hands than it gets.
	if err := os.WriteFile(filepath.Join(h.dir, ".config", "wetside", "settings.toml"), []byte("move = \"12s\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	l := listen(t, rig, 0, true)
	s := newStrain(t)
	p := newPane(t, h, 80, 24, "rehearse", "--pace", fmt.Sprint(pace), "--process", process, "--sheets", fmt.Sprint(sheets),
		"--makers", "Ash,Birch", "--talk", "few", "--sound", "pulse", "--volume", fmt.Sprint(volume))
	p.wait("is next")

	var pressed time.Time
	var sent []time.Time
	press := func(keys ...string) {
		if d := (handful+12*time.Second)/pace - time.Since(pressed); d > 0 {
			<-time.After(d) // one move at a time takes the hands so long, and a little
		}
		sent = append(sent, time.Now())
		p.keys(keys...)
		pressed = time.Now()
		// Two were called at once, and it is asked which: the finger is still there.
		for time.Since(pressed) < 150*time.Millisecond {
			if asked := whichSheet.FindStringSubmatch(p.text()); asked != nil {
				sent[len(sent)-1] = time.Now()
				p.keys(asked[1])
				pressed = time.Now()
				break
			}
		}
	}
	in, done, washing := 1, 0, 0
	entering := true // a sheet was put in, and is not heard to have begun
	refused := false // and an error was heard instead: it is put in again
	moving := 0      // moves made that are not heard to have happened
	press("Space")
	patience := time.After(5 * time.Minute)
	silence := time.NewTicker(250 * time.Millisecond)
	defer silence.Stop()
	var log []string
	heard := time.Now()
	for !strings.Contains(p.text(), "8 done") {
		select {
		case <-silence.C:
			// All eight end their wash at once, and their calls and ends sound
			// into each other: whoever empties the tray goes on till it is empty.
			if done > 0 && washing >= sheets && time.Since(pressed) > time.Second {
				press("Space")
			}
			// Nothing at all to be heard for so long: the trays are empty.
			if in < sheets && time.Since(heard) > 10*time.Second {
				in++
				heard = time.Now()
				press(fmt.Sprint(in), "Space")
			}
		case x, ok := <-l.Heard:
			if !ok {
				t.Fatal("the recording has ended")
			}
			log = append(log, fmt.Sprintf("%7.2f %s", x.At.Seconds(), x.Motif))
			heard = time.Now()
			// What was put in has begun by now, heard or not.
			entering = entering && time.Since(pressed) < 1500*time.Millisecond
			switch x.Kind {
			case session.CueMayGoIn:
				if (in < sheets || refused) && !entering {
					if !refused {
						in++
					}
					entering, refused = true, false
					press(fmt.Sprint(in), "Space")
					log = append(log, fmt.Sprintf("        put in %d", in))
				}
			case session.CueBegin:
				switch x.Stage {
				case session.Develop:
					entering, refused = false, false
				case session.Wash:
					washing++
					fallthrough
				default:
					moving = max(0, moving-1)
				}
			case session.CueError:
				refused = entering
			case session.CueMove:
				moving++
				press("Space")
				log = append(log, "        moved")
			case session.CueCall:
				// Asked back (a wash would be dirtied), or not heard.
				if moving > 0 && time.Since(pressed) > 600*time.Millisecond {
					press("Space")
					log = append(log, "        again")
				}
			case session.CueDone:
				moving = 0
				if done++; done < sheets && washing >= sheets {
					press("Space") // they have all been washed together
				}
			}
		case <-patience:
			t.Fatalf("%d of %d sheets are done\n%s\n%s", done, sheets, p.text(), strings.Join(log, "\n"))
		}
	}
	p.wait("8 done, in the notebook")
	p.keys("q")
	p.wait("covered?")
	p.keys("y")
	p.wait("status 0")
	_, _, hole := l.stop()
	stood = s.stood("", hole)

	db, err := sql.Open("sqlite", filepath.Join(h.data(), "notebook.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	m := replayAll(t, db)

	// No two moves closer than the hands allow.
	var moves []time.Duration
	var worst time.Duration
	for _, sh := range m.Sheets() {
		for _, v := range sh.Visits {
			moves = append(moves, v.In)
			if late := v.Out - v.In - v.AtMost; v.Stage != session.Wash && late > worst {
				worst = late
			}
		}
		moves = append(moves, sh.EndedT)
	}
	slices.Sort(moves)
	closest := time.Duration(math.MaxInt64)
	for i := 1; i < len(moves); i++ {
		closest = min(closest, moves[i]-moves[i-1])
	}
	// The hands kept their distance when they pressed. How long a press was on
	// its way is the rig's doing, and at this pace counts so many times as much.
	_, real, _ := lived(t, h, false)
	jitter := wander(sent, moves, real)
	if far := handful / 2; jitter*pace > far {
		stood = strings.Trim(stood+fmt.Sprintf("; some presses were on their way for %v longer than others", jitter.Round(time.Millisecond)), "; ")
	}
	if closest < handful-jitter*pace {
		t.Errorf("two moves are %v apart; the hands need %v, give or take %v of the rig's own", closest, handful, jitter*pace)
	}
	// One sheet in each small tray at a time.
	for i, a := range m.Sheets() {
		for _, b := range m.Sheets()[i+1:] {
			for _, v := range a.Visits {
				for _, w := range b.Visits {
					if both := min(v.Out, w.Out) - max(v.In, w.In); v.Bath == w.Bath && v.Stage != session.Wash && both > jitter*pace {
						t.Errorf("sheets %d and %d were in the %s together for %v", a.Num, b.Num, v.Bath, both)
					}
				}
			}
		}
	}

	// Each sheet's record, against the events.
	makers := map[string]int{}
	area := 0.0
	for _, sh := range m.Sheets() {
		area += sh.Spec.Paper.AreaCM2
		makers[sh.Spec.Maker]++
		var rec struct {
			Maker  string `json:"maker"`
			Washed bool   `json:"washed"`
			Stages []struct {
				Stage  string    `json:"stage"`
				In     time.Time `json:"in"`
				Actual float64   `json:"actual_s"`
			} `json:"stages"`
		}
		if err := json.Unmarshal([]byte(h.wetside(t, "sheet", sh.ID, "--json")), &rec); err != nil {
			t.Fatal(err)
		}
		if rec.Maker != sh.Spec.Maker || !rec.Washed || len(rec.Stages) != len(sh.Visits) {
			t.Errorf("sheet %d: maker %q, washed %v, %d stages", sh.Num, rec.Maker, rec.Washed, len(rec.Stages))
			continue
		}
		for i, v := range sh.Visits {
			r := rec.Stages[i]
			if d := math.Abs(r.Actual - (v.Out - v.In).Seconds()); r.Stage != string(v.Stage) || d > 0.2 || r.In.Sub(v.InAt.Wall).Abs() > 200*time.Millisecond {
				t.Errorf("sheet %d: the record has %s for %.3f s from %v, the events %s for %v from %v", sh.Num, r.Stage, r.Actual, r.In, v.Stage, v.Out-v.In, v.InAt.Wall)
			}
		}
	}
	if makers["Ash"] != 4 || makers["Birch"] != 4 {
		t.Errorf("makers %v", makers)
	}

	// Every bath has seen every sheet, to a square centimetre.
	for _, b := range bench.Account(m.Trays(), m.Sheets(), m.Now()) {
		if math.Abs(b.AreaCM2-area) > 1 {
			t.Errorf("the %s has seen %.1f cm2, the sheets are %.1f", b.Name, b.AreaCM2, area)
		}
		if b.CapacityCM2 > 0 && b.SecondCM2 == 0 && math.Abs(b.AreaShare*b.CapacityCM2-area) > 1 {
			t.Errorf("the share of the %s stands for %.1f cm2, not %.1f", b.Name, b.AreaShare*b.CapacityCM2, area)
		}
	}
	// The wash: nobody left before its full time after the last arrival.
	var last time.Duration
	for _, sh := range m.Sheets() {
		last = max(last, sh.Visits[len(sh.Visits)-1].In)
	}
	for _, sh := range m.Sheets() {
		v := sh.Visits[len(sh.Visits)-1]
		st := sh.Spec.Process.Steps[v.Step]
		need := st.AtLeast
		if v.Short {
			need = st.ShortAfter
		}
		if v.Out > last && v.Out-last < need-200*time.Millisecond {
			t.Errorf("sheet %d left the wash %v after the last arrival; it needs %v", sh.Num, v.Out-last, need)
		}
	}
	t.Logf("%d moves, the closest two %v apart; presses wandered by %v; left a bath at most %v after its time; %v in all",
		len(moves), closest, jitter.Round(time.Millisecond), worst, m.Now().Round(time.Second))
	if t, ok := t.(*withheld); ok && len(t.said) > 0 {
		t.Logf("%s", strings.Join(log, "\n"))
	}
	return stood
}

// wander is by how much longer one press was on its way to its move than
// another: each move is the doing of the last press before it.
func wander(sent []time.Time, moves []time.Duration, real func(time.Duration) time.Time) time.Duration {
	least, most := time.Duration(math.MaxInt64), time.Duration(0)
	for _, at := range moves {
		after, _ := slices.BinarySearchFunc(sent, real(at), func(s, r time.Time) int {
			return cmp.Or(s.Round(0).Compare(r), -1) // by the wall, as the notebook has it
		})
		if after == 0 {
			continue // no press of ours
		}
		d := real(at).Sub(sent[after-1].Round(0))
		least, most = min(least, d), max(most, d)
	}
	return max(0, most-least)
}

func TestWander(t *testing.T) {
	zero := time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC)
	at := func(ms ...int) (out []time.Time) {
		for _, m := range ms {
			out = append(out, zero.Add(time.Duration(m)*time.Millisecond))
		}
		return out
	}
	real := func(d time.Duration) time.Time { return zero.Add(d / 20) }
	moves := []time.Duration{20 * 10 * time.Millisecond, 20 * 1615 * time.Millisecond, 20 * 2010 * time.Millisecond}
	if d := wander(at(0, 1000, 2000), moves, real); d != 605*time.Millisecond {
		t.Errorf("one press that was on its way for 615 ms, and two for 10: %v", d)
	}
	if d := wander(at(0, 1605, 2000), moves, real); d != 0 {
		t.Errorf("three presses, each on its way for 10 ms: %v", d)
	}
}
