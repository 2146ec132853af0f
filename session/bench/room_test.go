package bench_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"wetside/session"
)

var day = session.Instant{Wall: time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC), Boot: time.Hour, BootID: "boot-1"}

// A testRoom plays a darkroom session.
type testRoom struct {
	t testing.TB
	m *session.Machine
	n session.Instant
}

func newRoom(t testing.TB) *testRoom {
	r := &testRoom{t, session.New(), day}
	r.do(session.Event{Kind: session.Opened})
	return r
}

func (r *testRoom) do(e session.Event) {
	r.t.Helper()
	e.At = r.n
	if err := r.m.Apply(e); err != nil {
		r.t.Fatalf("%s %s: %v", e.Kind, e.Sheet, err)
	}
}

func (r *testRoom) wait(seconds float64) {
	r.n = r.n.Add(time.Duration(seconds * float64(time.Second)))
}
func (r *testRoom) now() time.Duration { return r.m.T(r.n) }

func (r *testRoom) mix(id, tray string, ml, perLitre float64, life time.Duration) {
	r.t.Helper()
	r.do(session.Event{Kind: session.BathMixed, Mix: &session.Mix{ID: id, Name: tray, What: tray, Dilution: "1+4", ML: ml,
		PerLitre: perLitre, Life: life, CarryML: 2, Silver: strings.HasPrefix(tray, "fixer")}})
}

func (r *testRoom) add(id string, area float64, p session.Process) {
	r.t.Helper()
	maker := "Ash"
	if id > "c" {
		maker = "Briar"
	}
	r.do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &session.SheetSpec{Name: id, Maker: maker, Process: p,
		Paper: session.Paper{Base: session.FB, AreaCM2: area, Safe: 6 * time.Minute, SafeExp: 4 * time.Minute}}})
}

// expose has the sheet exposed at once.
func (r *testRoom) expose(id string) {
	r.t.Helper()
	r.do(session.Event{Kind: session.ExposureBegun, Sheet: id, Planned: time.Minute})
	r.do(session.Event{Kind: session.ExposureEnded, Sheet: id})
}

func (r *testRoom) from(id string) int {
	if v := r.m.Sheet(id).Visit(); v != nil {
		return v.Serial
	}
	return 0
}

func (r *testRoom) move(id string) {
	r.t.Helper()
	r.do(session.Event{Kind: session.Moved, Sheet: id, From: r.from(id)})
}

func (r *testRoom) hold(id string) {
	r.t.Helper()
	r.do(session.Event{Kind: session.Held, Sheet: id, From: r.from(id)})
}

func (r *testRoom) undo(id string) {
	r.t.Helper()
	r.do(session.Event{Kind: session.Undone, Sheet: id})
}

// steps makes a process: each line is a stage, its seconds, its tray.
func steps(lines ...string) session.Process {
	p := session.Process{Key: "test", Name: "test"}
	for _, l := range lines {
		f := strings.SplitN(l, " ", 3)
		var sec int
		fmt.Sscan(f[1], &sec)
		d := time.Duration(sec) * time.Second
		st := session.Step{Stage: session.Stage(strings.ReplaceAll(f[0], "-", " ")), AtLeast: d, AtMost: d, Bath: f[2]}
		if f[0] == "hypo-clear" {
			st.Stage = session.Clear
		}
		if st.Stage == session.Wash {
			st.Batch = true
		}
		p.Steps = append(p.Steps, st)
	}
	return p
}
