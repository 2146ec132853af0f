//go:build linux

package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/notebook"
	"wetside/session/sessiontest"
	"wetside/sound/soundtest"
	"wetside/tui"
	"wetside/tui/termtest"
)

// What the program does to a dark room, read off the pixels of a real terminal
// that is black on white by itself. Luminance is relative to the same window in
// white, after IEC 61966-2-1; the limits are the project's own.
const (
	emberLimit = 0.003
	torchLimit = 0.02
)

// breakable is the program with keys that make it break off.
var breakable = sync.OnceValues(func() (string, error) {
	bin, err := built()
	if err != nil {
		return "", err
	}
	bin = filepath.Join(filepath.Dir(bin), "wetside-breakable")
	cmd := exec.Command("go", "build", "-tags", "wetside_panic", "-o", bin, ".")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", errors.New("go build: " + string(out))
	}
	return bin, nil
})

// A past is a notebook with an afternoon in it: one sheet finished and judged,
// one in a camera with its pinhole covered, so that its clock stands still, and
// seven that wait. Wet puts those into the baths.
func past(t testing.TB, h home, wet bool) {
	t.Helper()
	if err := os.MkdirAll(h.data(), 0o755); err != nil {
		t.Fatal(err)
	}
	book, _, err := notebook.Open(notebook.Config{Path: filepath.Join(h.data(), "notebook.db"), LogDir: filepath.Join(h.data(), "logs"), NewID: uuid.NewString, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	set, err := profiles.Load(os.DirFS(h.dir))
	if err != nil {
		t.Fatal(err)
	}
	plan := &profiles.Planner{Set: set}
	papers, processes, cameras := set.Papers(), set.Processes(), set.Cameras()
	spec := func(name, light string) *session.SheetSpec {
		p, err := plan.Plan(profiles.Form{Paper: papers[0].Key, Process: processes[0].Key, Camera: cameras[0].Key, Name: name, Maker: "Mo", Light: light})
		if err != nil {
			t.Fatal(err)
		}
		return &p.Spec
	}

	now := systemClock().Now()
	at := now.Add(-2 * time.Hour)
	var m *session.Machine
	var sit notebook.Sitting
	open := func() {
		m = session.New()
		e := session.Event{Kind: session.Opened, At: at}
		if sit, err = book.Begin(e); err != nil {
			t.Fatal(err)
		}
		m.Apply(e)
	}
	do := func(e session.Event, after time.Duration) {
		at = at.Add(after)
		e.At = at
		if err := m.Apply(e); err != nil {
			t.Fatalf("%s: %v", e.Kind, err)
		}
		if _, err := book.Append(sit.ID, e); err != nil {
			t.Fatal(err)
		}
	}
	expose := func(id string) {
		do(session.Event{Kind: session.ExposureBegun, Sheet: id, Planned: 4 * time.Minute}, time.Second)
	}
	move := func(id string, after time.Duration) {
		from := 0
		if v := m.Sheet(id).Visit(); v != nil {
			from = v.Serial
		}
		do(session.Event{Kind: session.Moved, Sheet: id, From: from}, after)
	}

	open()
	id := uuid.NewString()
	do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: spec("signal levers", "4m")}, time.Second)
	expose(id)
	do(session.Event{Kind: session.ExposureEnded, Sheet: id}, 241*time.Second)
	for m.Sheet(id).Phase != session.Finished {
		stay := 3 * time.Minute
		if v := m.Sheet(id).Visit(); v != nil {
			stay = v.AtMost + 2*time.Second
		}
		move(id, stay)
	}
	do(session.Event{Kind: session.Noted, Sheet: id, Note: "sun behind cloud for the last minute"}, time.Second)
	if err := book.SaveSheet(sit, m.Sheet(id), m.T(at), notebook.Uses(m, m.Sheet(id))); err != nil {
		t.Fatal(err)
	}
	if err := book.Judge(id, at, 0.5, "shadows blocked"); err != nil {
		t.Fatal(err)
	}
	do(session.Event{Kind: session.Closed}, time.Second)

	at = now.Add(-15 * time.Minute)
	open()
	names := []string{"", "level frame", "brass bell", "the stairs", "hat box 3", "window", "Mo at the door", "workbench", "kettle"}
	ids := []string{""}
	for _, name := range names[1:] {
		id := uuid.NewString()
		ids = append(ids, id)
		do(session.Event{Kind: session.SheetAdded, Sheet: id, Spec: spec(name, "4m")}, time.Second)
	}
	expose(ids[1])
	do(session.Event{Kind: session.PinholeCovered, Sheet: ids[1]}, 83*time.Second)
	if !wet {
		// One needs no light of a camera, and waits for the trays with no clock running.
		print := spec("contact print", "")
		print.Camera = ""
		do(session.Event{Kind: session.SheetAdded, Sheet: uuid.NewString(), Spec: print}, time.Second)
		return
	}
	// One after the other into the developer and on, as hands can.
	at = now.Add(-6 * time.Minute)
	var in []string
	for _, id := range ids[2:] {
		in = append(in, id)
		for i, id := range slices.Backward(in) {
			if len(in)-i > len(m.Sheet(id).Spec.Process.Steps) {
				continue // the wash keeps it
			}
			move(id, 8*time.Second)
		}
	}
}

// A figure is what one photograph showed.
type figure struct {
	terminal, level, screen string
	shot                    termtest.Shot
}

var figures struct {
	sync.Mutex
	all []figure
}

// scene is a terminal with the program in it.
type scene struct {
	*termtest.Term
	t     *testing.T
	name  string
	reads bool          // its text can be read back
	first termtest.Shot // the terminal's own white, before the program begins
	gate  string
	typed time.Time
}

func newScene(t *testing.T, name string, o termtest.Options, h home, bin string, args ...string) *scene {
	t.Helper()
	gate := filepath.Join(h.dir, "gate")
	o.White = true
	o.Patience = time.Minute
	o.Env = append(o.Env, h.env...)
	o.TmuxConf = "set -g status on\n" + o.TmuxConf // green, as it is by default
	// The shell waits until the white terminal has been photographed.
	o.Command = append([]string{"sh", "-c", `while [ ! -e "$0" ]; do sleep 0.05; done; exec "$@"`, gate, bin}, args...)
	s := &scene{Term: termtest.Start(t, o), t: t, name: name, reads: o.Tmux || o.Screen, gate: gate}
	s.first = s.WaitShot("the white terminal", func(x termtest.Shot) bool { return x.MeanLuminance > 0.9 })
	return s
}

// begin lets the program start, and goes with it to its first frame.
func (s *scene) begin(limit float64) termtest.Shot {
	s.t.Helper()
	s.open()
	return s.arrive(limit)
}

// arrive photographs the window from white to the first frame. One photograph may catch
// the change from white to black half-way; no other may show anything but red.
func (s *scene) arrive(limit float64) termtest.Shot {
	s.t.Helper()
	torn := 0
	var firstDark *termtest.Shot
	first := s.WaitShot("the first frame", func(x termtest.Shot) bool {
		switch {
		case x.MaxGreen|x.MaxBlue > 0 && firstDark == nil && x.MeanLuminance > 0.9*s.first.MeanLuminance:
			return false // still the terminal's own
		case x.MaxGreen|x.MaxBlue > 0 && torn == 0 && firstDark == nil:
			torn++
			return false
		}
		if firstDark == nil {
			s.t.Logf("%s: first photograph of the start: %v", s.name, x)
			firstDark = &x
		}
		if x.MaxGreen|x.MaxBlue > 0 || x.MeanLuminance > limit {
			s.t.Errorf("%s: at the start: %v", s.name, x)
		}
		return limit == 0 || x.MaxRed > 0
	})
	s.meddle()
	return first
}

// open lets the program start.
func (s *scene) open() {
	s.t.Helper()
	if err := os.WriteFile(s.gate, nil, 0o600); err != nil {
		s.t.Fatal(err)
	}
}

// meddle drags and clicks over what is shown: nothing of it may light up.
func (s *scene) meddle() {
	s.t.Helper()
	s.Meddle()
	if x := s.Shot(); x.MaxGreen|x.MaxBlue > 0 {
		s.t.Errorf("%s: after a drag and clicks: %v, first at %v", s.name, x, x.At)
	}
}

// judge keeps a figure and holds it against the limit of its level.
func (s *scene) judge(level, screen string, x termtest.Shot) {
	s.t.Helper()
	limit := map[string]float64{"dark": 0, "ember": emberLimit, "torch": torchLimit}[level]
	if x.MaxGreen|x.MaxBlue > 0 {
		s.t.Errorf("%s, %s, %s: green up to %d, blue up to %d, first at %v", s.name, level, screen, x.MaxGreen, x.MaxBlue, x.At)
	}
	if x.MeanLuminance > limit || level == "dark" && x.Lit > 0 {
		s.t.Errorf("%s, %s, %s: %v, and at most %.2f%% may be", s.name, level, screen, x, 100*limit)
	}
	figures.Lock()
	defer figures.Unlock()
	figures.all = append(figures.all, figure{s.name, level, screen, x})
	if dir := os.Getenv("WETSIDE_PICTURES"); dir != "" {
		s.Save(filepath.Join(dir, strings.ReplaceAll(fmt.Sprintf("%s-%s-%s.png", s.name, level, screen), " ", "-")))
	}
}

// dim judges every photograph while something is done.
func (s *scene) dim(what string, do func()) {
	s.t.Helper()
	stop := s.Watch()
	defer func() {
		worst, taken := stop()
		s.judge("ember", "worst: "+what, worst)
		s.t.Logf("%s: %d photographs, the worst: %v", what, taken, worst)
	}()
	do()
}

// rest waits until the window stays as it is for longer than a clock that runs
// would let it, and shows something (or, at level dark, nothing).
func (s *scene) rest(lit bool) termtest.Shot {
	s.t.Helper()
	last, since := s.Shot(), time.Now()
	return s.WaitShot("the window to come to rest", func(x termtest.Shot) bool {
		if x != last {
			last, since = x, time.Now()
		}
		return time.Since(since) > 1300*time.Millisecond && (x.Lit > 0) == lit
	})
}

// says waits for words on the screen, where they can be read back.
func (s *scene) says(words string) {
	s.t.Helper()
	if s.reads && words != "" {
		s.WaitText(words, func(text string) bool { return strings.Contains(text, words) })
	}
}

// press types at a person's pace: the same key twice within the blink of an eye
// is a key that is held, and counts once.
func (s *scene) press(keys string) {
	s.t.Helper()
	time.Sleep(time.Until(s.typed.Add(500 * time.Millisecond)))
	s.Type(keys)
	s.typed = time.Now()
}

// goOn says of each of the eight sheets that run in a past with wet ones that it is
// where it was.
func (s *scene) goOn() {
	s.t.Helper()
	for range 8 {
		// Enter, which answers nothing, keeps one y apart from the next: late ones
		// would be a key that is held.
		s.press("y<Return>")
	}
}

// goTo presses keys, waits for the window to change and to show the words, and
// judges it.
func (s *scene) goTo(keys, level, screen, words string, before termtest.Shot) termtest.Shot {
	s.t.Helper()
	s.press(keys)
	s.says(words)
	x := s.WaitShot(screen+" at "+level, func(x termtest.Shot) bool { return x != before })
	// Half a frame may have been caught.
	for y := s.Shot(); y != x; y = s.Shot() {
		x = y
	}
	s.judge(level, screen, x)
	return x
}

// back presses keys and waits until the window looks as it did.
func (s *scene) back(keys string, to termtest.Shot) {
	s.t.Helper()
	s.press(keys)
	s.WaitShot(fmt.Sprintf("the window as it was: %v", to), to.Alike)
}

// on presses keys and waits until the window shows something else: a line of time
// moves on, and what was selected goes, so no later picture is the former one.
func (s *scene) on(keys string) {
	s.t.Helper()
	before := s.Shot()
	s.press(keys)
	s.WaitShot("another picture after "+keys, func(x termtest.Shot) bool { return !before.Alike(x) })
}

// says has the words by which each screen is known.
var says = map[tui.Screen]string{
	tui.Room: "before paper is opened", tui.Bench: "New sheet", tui.Field: "ready, ",
	tui.Trays: "sheet", tui.Notebook: "the last sheets",
}

// opens has the keys that open something on a screen, and what that is.
var opens = map[tui.Screen][][2]string{
	tui.Room:     {{"l", "loading"}, {"f", "fog test"}, {"fy", "fog test, under way"}, {"d", "quick look"}, {"t", "ten-minute look"}},
	tui.Bench:    {{"n", "new camera"}, {"t", "by a watch"}},
	tui.Field:    {{"e", "light"}, {"s", "sum"}, {"a", "about the camera"}, {"l", "what was learned"}, {"f", "pre-flash strip"}, {"k", "reckoning"}, {"t", "by a watch"}, {"o", "note"}, {"x", "spoiled?"}},
	tui.Notebook: {{"j", "judgement"}, {"c", "correction"}, {"v", "two side by side"}, {"/", "words"}},
}

// open opens all that opens on a screen, and closes it.
func (s *scene) opens(level string, screen tui.Screen) {
	s.t.Helper()
	for _, o := range opens[screen] {
		before := s.rest(level != "dark")
		s.goTo(o[0], level, o[1], "", before)
		s.judge(level, o[1], s.rest(o[1] != "quick look" && o[1] != "ten-minute look"))
		s.press("<Escape>")
	}
}

// round goes through the screens of a level, from the field and back to it: all
// that the program has; deep, with all that opens on each.
func (s *scene) round(level string, field termtest.Shot, deep bool) {
	s.t.Helper()
	if deep {
		s.opens(level, tui.Field)
		field = s.rest(level != "dark")
	}
	all := tui.New(tui.Config{Desk: &desk.Desk{M: session.New()}}).Screens()
	at := slices.Index(all, tui.Field)
	before := field
	for i := range len(all) - 2 { // to the trays, which have a clock, goes who looks at that
		screen := all[(at-1-i+len(all))%len(all)]
		words, known := says[screen]
		if !known {
			s.t.Fatalf("the tour of the light does not know the %s", screen)
		}
		s.goTo("<shift+Tab>", level, string(screen), words, before)
		before = s.rest(level != "dark") // what is come back to must have been whole
		s.goTo("?", level, "help", "keys of the "+string(screen), before)
		s.back("?", before)
		if screen == tui.Notebook {
			s.goTo("<Return>", level, "sheet", "sun behind cloud", before)
			s.back("<Escape>", before)
			s.goTo("q", level, "question", "overed?", before)
			s.press("n")
		}
		if deep {
			s.opens(level, screen)
			before = s.rest(level != "dark")
		}
	}
	s.on("<shift+Tab>") // the trays
	s.on("<shift+Tab>") // the field
}

// Every screen at every level, in every size, with and without a multiplexer.
func TestLightOfEveryScreen(t *testing.T) {
	t.Parallel()
	sessiontest.Need(t, "Xvfb=xvfb", "xterm", "import=imagemagick", "xdotool", "tmux", "screen")
	binary(t)
	type place struct {
		cols, rows int
		mux        string
	}
	// The longest first, so that two at a time end together. What tmux shows at
	// 80x24 is photographed by the ways out and by the kills.
	places := []place{{200, 60, "tmux"}, {120, 40, ""}, {80, 24, "screen"}, {80, 24, ""}}
	if testing.Short() {
		places = []place{{80, 24, ""}, {80, 24, "tmux"}}
	}
	t.Run("places", func(t *testing.T) {
		for _, p := range places {
			name := strings.TrimSpace(fmt.Sprintf("%dx%d %s", p.cols, p.rows, p.mux))
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				h := newHome(t)
				past(t, h, false)
				s := newScene(t, name, termtest.Options{Cols: p.cols, Rows: p.rows, Tmux: p.mux == "tmux", Screen: p.mux == "screen"},
					h, binary(t), "--sound", "none", "--level", "torch")
				s.begin(torchLimit)
				s.says("Go on?")
				resume := s.rest(true)
				s.judge("torch", "resume", resume)
				field := s.goTo("y", "torch", "field", "going on", resume)
				// News goes with the first key after it could be read, which is
				// some seconds, the words at the foot with the next.
				asked := time.Now()
				s.WaitShot("the news to be old", func(termtest.Shot) bool { return time.Since(asked) > 6*time.Second })
				s.Type("n") // no key here
				s.Type("<Tab>")
				s.says("is next: space puts")
				s.WaitShot("the trays", func(x termtest.Shot) bool { return x != field })
				trays := s.rest(true)
				s.judge("torch", "trays", trays)
				s.goTo("<shift+Tab>", "torch", "field", "level frame", trays)
				field = s.rest(true)
				s.round("torch", field, false)
				s.on("<Tab>")

				// Paper comes out: the torch goes out with the same key. No clock runs
				// yet, which every screen would show.
				s.Type("p")
				s.says("PAPER IS OUT")
				s.WaitShot("the torch to go out", func(x termtest.Shot) bool { return x.MaxRed > 0 && x.MaxRed < trays.MaxRed })
				s.Type("<shift+Tab>")
				s.says("ready, ")
				field = s.rest(true)
				s.judge("ember", "field", field)
				s.round("ember", field, false)

				s.on("<Tab>")
				s.Type(" ")
				s.says("rock")
				for range 2 { // its clock runs: a photograph may be of half a frame
					s.judge("ember", "trays", s.Shot())
				}
				s.Type("<shift+Tab>")
				s.says("ready, ")
				s.judge("ember", "field, and a sheet in the developer", s.Shot())

				// Dark: nothing to be seen, and all there.
				s.Type("g")
				// A terminal that gets new colours clears its window and paints the old
				// picture in them, before the black one comes.
				s.judge("dark", "field", s.rest(false))
				stop := s.Watch()
				for _, k := range []struct{ keys, screen, words string }{
					{"<Tab>", "trays", "PAPER IS OUT"}, {"<Tab>", "notebook", "the last sheets"}, {"<Return>", "sheet", "sun behind cloud"},
					{"<Escape>", "notebook", "the last sheets"}, {"<Tab>", "room", "before paper is opened"}, {"?", "help", "keys of the room"}, {"?<Tab>", "bench", "New sheet"},
					{"q", "question", "overed?"}, {"n<Tab>", "field", "ready, "},
				} {
					s.press(k.keys)
					s.says(k.words)
					s.judge("dark", k.screen, s.Shot())
				}
				worst, taken := stop()
				if worst.Lit > 0 || taken == 0 {
					t.Errorf("at dark, in %d photographs on the way: %v", taken, worst)
				}
				// The keys came through: with light again it is the field.
				s.on("g")
				s.says("ready, ")
			})
		}
	})
	printFigures(t)
}

// A terminal that calls itself a Linux console and is none keeps its own green
// and yellow: nothing is drawn on it, and the reason is given. Behind a
// multiplexer the name says nothing, and what is drawn is red.
func TestLightOfATerminalThatSaysLinux(t *testing.T) {
	t.Parallel()
	sessiontest.Need(t, "Xvfb=xvfb", "xterm", "import=imagemagick", "xdotool", "tmux", "screen")
	t.Run("alone", func(t *testing.T) {
		h := newHome(t)
		s := newScene(t, "TERM=linux", termtest.Options{Term: "linux"}, h, binary(t), "--sound", "none")
		if err := os.WriteFile(s.gate, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if code := s.WaitEnd(); code != 1 {
			t.Errorf("status %d", code)
		}
		// What there is is black on white, as the terminal was.
		if x := s.rest(true); x.MeanLuminance < 0.9*s.first.MeanLuminance {
			t.Errorf("it was drawn on: %v", x)
		}
	})
	for _, mux := range []string{"tmux", "screen"} {
		t.Run(mux, func(t *testing.T) {
			h := newHome(t)
			s := newScene(t, "TERM=linux in "+mux, termtest.Options{Tmux: mux == "tmux", Screen: mux == "screen"}, h, "env", "TERM=linux", binary(t), "--sound", "none")
			s.begin(emberLimit)
			s.says("try it in the light")
			first := s.rest(true)
			s.judge("ember", "first start", first)
			s.goTo("1", "ember", "bench", "a add this sheet", first)
		})
	}
}

// At dark not even the first frame, with its question, gives light.
func TestLightOfADarkStart(t *testing.T) {
	t.Parallel()
	sessiontest.Need(t, "Xvfb=xvfb", "xterm", "import=imagemagick", "xdotool", "tmux")
	h := newHome(t)
	past(t, h, true)
	s := newScene(t, "80x24 tmux", termtest.Options{Tmux: true}, h, binary(t), "--sound", "none", "--level", "dark")
	s.begin(0)
	stop := s.Watch()
	s.says("Go on?")
	s.judge("dark", "resume", s.Shot())
	s.goOn()
	s.says("kettle")
	s.judge("dark", "trays", s.Shot())
	s.Type("q")
	s.says("overed?")
	s.judge("dark", "question", s.Shot())
	if worst, taken := stop(); worst.Lit > 0 || taken == 0 {
		t.Errorf("in %d photographs on the way: %v", taken, worst)
	}
	s.Type("y")
	if code := s.WaitEnd(); code != 0 {
		t.Errorf("status %d", code)
	}
	printFigures(t)
}

// printFigures prints what was judged since it was last called.
func printFigures(t *testing.T) {
	figures.Lock()
	defer figures.Unlock()
	defer func() { figures.all = nil }()
	type key struct{ level, screen, terminal string }
	worst := map[key]termtest.Shot{}
	var terminals, screens []string
	for _, f := range figures.all {
		if !slices.Contains(screens, f.screen) {
			screens = append(screens, f.screen)
		}
		k := key{f.level, f.screen, f.terminal}
		w := worst[k]
		w.MeanLuminance, w.Lit, w.MaxRed = max(w.MeanLuminance, f.shot.MeanLuminance), max(w.Lit, f.shot.Lit), max(w.MaxRed, f.shot.MaxRed)
		worst[k] = w
		if !slices.Contains(terminals, f.terminal) {
			terminals = append(terminals, f.terminal)
		}
	}
	slices.SortFunc(terminals, func(a, b string) int {
		if len(a) != len(b) && strings.Fields(a)[0] == strings.Fields(b)[0] {
			return len(a) - len(b)
		}
		return strings.Compare(fmt.Sprintf("%7s", strings.Fields(a)[0]), fmt.Sprintf("%7s", strings.Fields(b)[0]))
	})
	var b strings.Builder
	fmt.Fprintf(&b, "mean linear luminance, %% of the same window in white (limit: ember %.2f, dark 0); green and blue are 0 in all\n| level | screen |", 100*emberLimit)
	for _, n := range terminals {
		fmt.Fprintf(&b, " %s |", n)
	}
	fmt.Fprintf(&b, "\n|---|---|%s\n", strings.Repeat("---:|", len(terminals)))
	for _, level := range []string{"dark", "ember", "torch"} {
		for _, screen := range screens {
			row, n := fmt.Sprintf("| %s | %s |", level, screen), 0
			for _, term := range terminals {
				if w, ok := worst[key{level, screen, term}]; ok {
					n++
					row += fmt.Sprintf(" %.4f |", 100*w.MeanLuminance)
				} else {
					row += " |"
				}
			}
			if n > 0 {
				b.WriteString(row + "\n")
			}
		}
	}
	t.Log(b.String())
}

// childOf is the process that a keeper watches over.
func childOf(t testing.TB, pid int) int {
	t.Helper()
	child := 0
	until(t, "the keeper has a child", func() bool {
		if !alive(pid) {
			t.Fatal("the keeper is gone")
		}
		// Any of its threads may have started it.
		lists, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/children", pid))
		for _, l := range lists {
			b, _ := os.ReadFile(l) // a thread may end meanwhile
			if f := strings.Fields(string(b)); len(f) > 0 {
				child, _ = strconv.Atoi(f[0])
			}
		}
		return child > 0
	})
	return child
}

func alive(pid int) bool { return syscall.Kill(pid, 0) == nil }

// From a white terminal through start, resize and each way out: nothing but red
// and black until the user has said that paper is covered.
func TestLightOfEveryWayOut(t *testing.T) {
	sessiontest.Need(t, "Xvfb=xvfb", "xterm", "import=imagemagick", "xdotool", "tmux")
	binary(t)
	breaks, err := breakable()
	if err != nil {
		t.Fatal(err)
	}
	type end struct {
		name string
		end  func(s *scene)
		say  string // read back in tmux
		code int
		tmux bool
		term string // empty: one of 256 colours
	}
	kill := func(sig syscall.Signal) func(s *scene) {
		return func(s *scene) {
			if err := syscall.Kill(s.PID(), sig); err != nil {
				s.t.Fatal(err)
			}
		}
	}
	keys := func(k string) func(s *scene) { return func(s *scene) { s.Type(k) } }
	ends := []end{
		{"quit", keys("q"), "overed?", 0, false, ""},
		{"panic", keys("<ctrl+p>"), "tray on the floor", 2, false, ""},
		{"panic of a goroutine in tmux", keys("<ctrl+o>"), "tray on the floor", 2, true, ""},
	}
	if !testing.Short() {
		ends = append(ends,
			end{"kill -TERM", kill(syscall.SIGTERM), "", 143, false, "xterm"}, // which says that it has sixteen
			end{"kill -TERM in tmux", kill(syscall.SIGTERM), "press y", 143, true, ""},
			end{"quit in tmux", keys("q"), "overed?", 0, true, ""},
		)
	}
	defer printFigures(t)
	t.Run("ends", func(t *testing.T) {
		for _, c := range ends {
			t.Run(c.name, func(t *testing.T) {
				t.Parallel()
				h := newHome(t)
				past(t, h, true)
				s := newScene(t, c.name, termtest.Options{Cols: 80, Rows: 24, Tmux: c.tmux, Term: c.term, Env: []string{
					"WETSIDE_PANIC=\x1b[42;1;97mtray on the floor\x1b]11;#ffffff\a\x1b[?1049l\x1bc"}}, h, breaks, "--sound", "none")
				s.begin(emberLimit)
				s.says("Go on?")
				s.judge("ember", "resume", s.Shot())
				stop := s.Watch()
				s.goOn()
				s.says("kettle")
				small := s.Shot()
				if c.tmux { // elsewhere it may still be the question
					s.judge("ember", "eight sheets", small)
				}
				before, taken := stop()
				// The part by which a window grows or shrinks is the terminal's own
				// for an instant, before it has told anybody of its new size.
				red := func(x termtest.Shot) bool { return x.Lit > 0 && x.MaxGreen|x.MaxBlue == 0 }
				s.Resize(110, 32)
				s.judge("ember", "made larger", s.WaitShot("the larger window in red", func(x termtest.Shot) bool { return x.Width > small.Width && red(x) }))
				s.Resize(80, 24)
				s.judge("ember", "made smaller", s.WaitShot("the smaller window in red", func(x termtest.Shot) bool { return x.Width == small.Width && red(x) }))
				stop = s.Watch()
				c.end(s)
				s.says(c.say)
				// Once the program has come to its end no clock runs any more; the
				// question of quit stands still as well.
				asked := s.rest(true)
				s.judge("ember", "what happened, and the question", asked)
				s.meddle()
				s.Type("x <Return>") // elbows
				s.judge("ember", "last before the answer", s.rest(true))
				after, more := stop()
				s.judge("ember", "worst on the way", before)
				s.judge("ember", "worst on the way out", after)
				t.Logf("%d photographs on the way, %d on the way out", taken, more)
				s.Type("y")
				s.WaitShot("the terminal as it was", func(x termtest.Shot) bool { return x.MaxGreen == 255 && x.MeanLuminance > 0.5 })
				if code := s.WaitEnd(); code != c.code {
					t.Errorf("status %d, not %d", code, c.code)
				}
			})
		}
	})
}

// What tmux lights by itself, in the colours of its own defaults and of a user's
// settings, is red or out while the program runs, and as it was afterwards: also
// when the program was killed outright and was started once more.
func TestLightOfTmuxItself(t *testing.T) {
	sessiontest.Need(t, "Xvfb=xvfb", "xterm", "import=imagemagick", "xdotool", "tmux")
	t.Parallel()
	h := newHome(t)
	const conf = `set -g status-left '#[fg=cyan,bg=white]signal box'
set -g pane-border-status top
`
	s := newScene(t, "tmux itself", termtest.Options{Tmux: true, TmuxConf: conf}, h, "sh", "-c", `"$0" --sound none; "$0" --sound none`, binary(t))
	s.Mux("set-option", "status-right", `it's "noon"; #[fg=green]x`)
	s.Mux("set-option", "-w", "mode-style", "bg=blue")
	options := func() string {
		return s.Mux("show-options") + s.Mux("show-options", "-w") + s.Mux("show-options", "-p")
	}
	before := options()
	s.begin(emberLimit)
	s.Mux("set-option", "-g", "window-style", "bg=colour23") // behind the program's own
	s.says("What do you want to do?")
	keeper := childOf(t, s.PID())
	program := childOf(t, keeper)
	for _, pid := range []int{keeper, program} {
		if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
	}
	until(t, "it was started again", func() bool { c := childOf(t, s.PID()); return c != keeper && childOf(t, c) != program })
	s.says("What do you want to do?")
	for _, c := range []struct {
		name        string
		show, leave []string
	}{
		{"a message", []string{"display-message", "-d", "60000", "the kettle boils"}, []string{"display-message", "-d", "1", " "}},
		{"copy mode", []string{"copy-mode"}, []string{"send-keys", "-X", "cancel"}},
		{"the clock", []string{"clock-mode"}, []string{"send-keys", "q"}},
	} {
		// News of the start may come meanwhile, so that the picture after it is not
		// the one before.
		rest := s.rest(true)
		s.Mux(c.show...)
		shown := s.WaitShot(c.name, func(x termtest.Shot) bool { return !rest.Alike(x) })
		s.judge("ember", c.name, shown)
		s.Mux(c.leave...)
		s.judge("ember", "after "+c.name, s.WaitShot("no "+c.name, func(x termtest.Shot) bool { return !shown.Alike(x) }))
	}
	s.Type("q")
	s.says("overed?")
	s.Type("y")
	s.WaitShot("the terminal as it was", func(x termtest.Shot) bool { return x.MaxGreen > 0 })
	if s.WaitEnd(); options() != before {
		t.Errorf("tmux's options were\n%s\nand are\n%s", before, options())
	}
}

// What screen lights by itself, in the colours of a user's settings and of its own
// defaults, is red and dim while the program runs, and as it was afterwards: also when the
// program was killed outright and was started once more.
func TestLightOfScreenItself(t *testing.T) {
	sessiontest.Need(t, "Xvfb=xvfb", "xterm", "import=imagemagick", "xdotool", "screen")
	t.Parallel()
	h := newHome(t)
	const conf = `altscreen on
hardstatus alwayslastline "%{= wk}%H %{= wb}%-w%{+b kG}%n %t%{-}%+w%= %{= cr}noon"
caption always "%{= yb}signal box %{+r}%t"
msgwait 60
`
	s := newScene(t, "screen itself", termtest.Options{Screen: true, ScreenConf: conf}, h, "sh", "-c", `"$0" --sound none; "$0" --sound none`, binary(t))
	s.begin(emberLimit)
	s.says("What do you want to do?")
	s.judge("ember", "status line and caption", s.rest(true))
	stop := s.Watch()
	keeper := childOf(t, s.PID())
	program := childOf(t, keeper)
	for _, pid := range []int{keeper, program} {
		if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
	}
	until(t, "it was started again", func() bool { c := childOf(t, s.PID()); return c != keeper && childOf(t, c) != program })
	s.says("What do you want to do?")
	for _, c := range []struct {
		name  string
		show  []string
		leave func()
	}{
		{"a message", []string{"echo", "the kettle boils"}, func() { s.Mux("redisplay") }},
		{"copy mode", []string{"copy"}, func() { s.Type("<Escape>") }},
		{"the list of windows", []string{"windowlist"}, func() { s.Type("<Escape>") }},
		{"two regions", []string{"split"}, func() { s.Mux("only") }},
	} {
		rest := s.rest(true)
		s.Mux(c.show...)
		shown := s.WaitShot(c.name, func(x termtest.Shot) bool { return x != rest }) // one row is as bright as another
		s.judge("ember", c.name, shown)
		c.leave()
		s.judge("ember", "after "+c.name, s.WaitShot("no "+c.name, func(x termtest.Shot) bool { return x != shown }))
	}
	s.Type("g")
	s.WaitShot("dark", func(x termtest.Shot) bool { return x.Lit == 0 })
	s.Type("g")
	worst, taken := stop()
	s.judge("torch", "worst on the way", worst)
	t.Logf("%d photographs", taken)
	s.Type("q")
	s.says("overed?")
	s.Type("y")
	s.WaitShot("the terminal as it was", s.first.Alike)
}

// Asked by a shell of the terminal that it runs in: each colour and mode that the program
// changes, the colour of the pointer among them.
const askTerminal = `ask() {
	was=$(stty -g); stty raw -echo min 0 time 10
	i=0; while [ $i -lt 256 ]; do printf '\033]4;%d;?\033\\' $i; i=$((i+1)); done
	for c in 10 11 12 13 14 17 19; do printf '\033]%d;?\033\\' $c; done
	for m in 5 6 7 12 25 30 1000 1004 1006 1049 2004; do printf '\033[?%d$p' $m; done
	printf '\033[c'
	cat >"$1.part"; stty "$was"; mv "$1.part" "$1"
}
`

// A window in which keeper and program were both killed has no green and no blue, by its
// own word and by its pixels, whatever is pointed at; the next start makes it right, and at
// its end the terminal is what it was, to the last colour and mode.
func TestAKilledWindowComesBack(t *testing.T) {
	sessiontest.Need(t, "Xvfb=xvfb", "xterm", "import=imagemagick", "xdotool")
	t.Parallel()
	h := newHome(t)
	told := func(name string) (all string) {
		until(t, "the terminal has told "+name, func() bool {
			b, err := os.ReadFile(filepath.Join(h.dir, name))
			all = string(b)
			return err == nil
		})
		return all
	}
	const shell = askTerminal + `cd "$HOME"; ask before
"$0" --sound none; ask killed
printf 'signal box \033[32m$ \033[44mtea caddy\033[0m \033[?25h'
while [ ! -e again ]; do sleep 0.05; done
"$0" --sound none; ask after
while :; do sleep 3600; done`
	s := newScene(t, "xterm", termtest.Options{Dir: h.dir}, h, "sh", "-c", shell, binary(t))
	s.open()
	before := told("before")
	if n := strings.Count(before, ";rgb:"); n != 263 || !strings.Contains(before, "\x1b[?64;") && !strings.Contains(before, "\x1b[?41;") {
		t.Fatalf("the terminal told %d colours: %q", n, before)
	}
	first := s.WaitShot("the first frame", func(x termtest.Shot) bool { return x.MaxRed > 0 && x.MaxGreen|x.MaxBlue == 0 })
	keeper := childOf(t, s.PID())
	program := childOf(t, keeper)
	stop := s.Watch()
	for _, pid := range []int{keeper, program} {
		if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
	}
	for _, m := range regexp.MustCompile(`\x1b\]([0-9;]+);rgb:[0-9a-f]{4}/([0-9a-f]{4})/([0-9a-f]{4})`).FindAllStringSubmatch(told("killed"), -1) {
		if m[2] != "0000" || m[3] != "0000" {
			t.Errorf("after the kill colour %s has green %s and blue %s", m[1], m[2], m[3])
		}
	}
	s.WaitShot("the prompt", func(x termtest.Shot) bool { return !first.Alike(x) })
	for range 20 { // the pointer is in another place on each
		if x := s.Shot(); x.MaxGreen|x.MaxBlue > 0 {
			t.Errorf("pointed at: %v, first at %v", x, x.At)
		}
	}
	s.meddle()
	if err := os.WriteFile(filepath.Join(h.dir, "again"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	until(t, "it was started again", func() bool {
		n := 0
		for _, line := range left(t, "HOME="+h.dir) {
			if strings.HasPrefix(line, binary(t)) {
				n++
			}
		}
		return n == 2 // keeper and program
	})
	s.judge("ember", "started again", s.rest(true))
	if worst, taken := stop(); worst.MaxGreen|worst.MaxBlue > 0 || taken == 0 {
		t.Errorf("the worst of %d photographs: %v, first at %v", taken, worst, worst.At)
	}
	s.on("q")
	s.press("y")
	if after := told("after"); after != before {
		t.Errorf("the terminal told\n%q\nand tells\n%q", before, after)
	}
}

// With --blind the window is black from its start to the word that paper is
// covered, whatever becomes of the program, on terminals too that cannot be drawn on.
func TestLightOfABlindStart(t *testing.T) {
	sessiontest.Need(t, "Xvfb=xvfb", "xterm", "import=imagemagick", "xdotool", "tmux")
	for name, o := range map[string]termtest.Options{"sixteen colours": {Term: "xterm"}, "says linux": {Term: "linux"}, "tmux": {Tmux: true}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHome(t)
			s := newScene(t, name, o, h, binary(t), "rehearse", "--blind", "--sound", "none")
			s.begin(0)
			stop := s.Watch()
			program := childOf(t, s.PID())
			s.Type("j x")
			s.Resize(100, 30)
			s.meddle()
			if err := syscall.Kill(program, syscall.SIGKILL); err != nil {
				t.Fatal(err)
			}
			until(t, "the program is gone", func() bool { return !alive(program) })
			s.Type("n <Return>") // elbows
			if worst, taken := stop(); worst.Lit > 0 || taken == 0 {
				t.Errorf("in %d photographs: %v, first at %v", taken, worst, worst.At)
			}
			s.Type("y")
			if code := s.WaitEnd(); code != 137 {
				t.Errorf("status %d", code)
			}
			if x := s.rest(true); x.MeanLuminance < 0.5 {
				t.Errorf("the terminal is not as it was: %v", x)
			}
		})
	}
}

func either(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// What kills the program outright takes its voice with it: the keeper says that
// it is gone, for who does not look.
func TestAKillIsHeard(t *testing.T) {
	t.Parallel()
	sessiontest.Need(t, "tmux")
	server := soundtest.NewRig(t)
	h := newHome(t, "PULSE_SERVER="+server.Server)
	p := newPane(t, h, 80, 24, "--sound", "pulse", "--volume", "0.7")
	p.wait("Which number was spoken?")
	p.keys("n")
	p.wait("try it in the light")
	shell, err := strconv.Atoi(strings.TrimSpace(p.do("list-panes", "-F", "#{pane_pid}")))
	if err != nil {
		t.Fatal(err)
	}
	child := childOf(t, childOf(t, shell))
	rec := server.Record()
	if err := syscall.Kill(child, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	p.wait("Cover the paper")
	var heardTo time.Duration
	until(t, "the error is heard", func() bool {
		if rec.Len() < heardTo+time.Second {
			return false
		}
		heardTo = rec.Len()
		return slices.ContainsFunc(soundtest.Listen(rec.Samples()), func(x soundtest.Heard) bool { return x.Kind == session.CueError })
	})
	p.keys("y")
	p.wait("status 137")
}
