package main

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"
	"unicode/utf8"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/term"
	"github.com/gofrs/flock"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/notebook"
	"wetside/session/say"
	"wetside/session/words"
	"wetside/sound"
	"wetside/sound/voice"
	"wetside/tui"
	"wetside/tui/ember"
	"wetside/tui/keeper"
)

// Flags are those of the program itself, in earnest and in rehearsal.
type Flags struct {
	Blind  bool    `help:"Draw nothing; work by sound alone. Every key works."`
	Level  string  `help:"Light of the screen: dark, ember or torch." placeholder:"LEVEL"`
	Sound  string  `help:"Where sound goes: pulse, oto, aplay, beep or none." placeholder:"DEVICE"`
	Talk   string  `help:"How much is spoken: few, normal or full." placeholder:"HOW"`
	Rock   string  `help:"Tick of the rocking rhythm: off, slow or on." placeholder:"HOW"`
	Volume *number `help:"Volume of the program's own stream, 0 to 1." placeholder:"V"`
	Border bool    `help:"Each cue also pulses a border, in red."`
}

// kept says to a child process that a keeper watches over its terminal.
const kept = "WETSIDE_KEPT"

// What a keeper that has asked the terminal says to the child: that it has 256
// colours, what was typed meanwhile, in hexadecimal, and what the terminal calls itself.
const (
	keptWide  = "256"
	keptTyped = "WETSIDE_TYPED"
	keptName  = "WETSIDE_TERMINAL"
)

// askFor is how long a terminal has to tell what it can, nameFor how long for its name,
// which nothing waits for, and lateFor how much longer it is listened to before a shell
// has the keyboard again.
const (
	askFor  = 2 * time.Second
	nameFor = 500 * time.Millisecond
	lateFor = 5 * time.Second
)

// codeCovered is the exit status of a child that has itself asked whether
// paper is covered.
const (
	codeCovered  = 0
	codeSignal   = 143
	codeNoScreen = 1
	// codeNotBegun is that of a child that draws nothing and could not begin:
	// why is read at once, for nobody has heard anything yet.
	codeNotBegun = 3
	// codeUnwritten is that of a child that the user left by the front door with
	// events that no disk took: it has asked, and says so.
	codeUnwritten = 4
)

// RunCmd is the program itself.
type RunCmd struct {
	Flags
}

// Help shows how it is used.
func (RunCmd) Help() string {
	return `Examples:

  wetside                 the program, in red
  wetside --blind         by sound alone
  wetside --level dark    nothing lit until you press g

Keys: space moves on, enter says where we are, backspace takes back, ? shows all.`
}

// Run runs it.
func (c *RunCmd) Run(h *host) error { return program{host: h, flags: c.Flags, pace: 1}.run() }

// A program is one run of wetside, in earnest or in rehearsal.
type program struct {
	*host
	flags     Flags
	rehearsal bool
	pace      float64
	lead      bool              // the program leads
	self      bool              // the program's own hands move the sheets
	forms     []profiles.Form   // sheets to begin with
	timer     string            // or one of which only the times are known
	wrong     profiles.Problems // of the settings
	typed     []byte            // before the program could read it
}

func (p program) run() error {
	set, wrong := loadSettings(p.host)
	p.wrong = wrong
	if err := p.flags.over(&set); err != nil {
		return err
	}
	level, err := ember.ParseLevel(set.Level)
	if err != nil {
		return usageError{err}
	}
	in, out, tty := p.terminal()
	profile, reason := ember.Detect(p.getenv, tty, ember.OnConsole(out))
	keyboard := in != nil && term.IsTerminal(in.Fd())
	if !keyboard {
		in = nil // keys may come through a pipe all the same
	}
	if keyboard && p.getenv(kept) == "" {
		p.awaitTerminal(in)
	}
	p.typed, _ = hex.DecodeString(p.getenv(keptTyped)) // the keeper wrote it
	if p.flags.Blind {
		return p.runBlind(set, level, profile, in, out)
	}
	return p.runSeen(set, level, profile, reason, in, out, tty)
}

// runBlind goes by sound alone; what keeps the window black is there all the same.
func (p program) runBlind(set settings, level ember.Level, profile ember.Profile, in, out *os.File) error {
	if in != nil && p.getenv(kept) == "" {
		defer p.hidePointer()()
		guard, window := p.blackener(out, profile, set.keys.Mouse()), keeper.TTY(in, out)
		return p.keep(set, guard, window, p.meet(guard, window, in, 0))
	}
	begun := false
	err := p.sit(set, level, ember.None, nil, in, &begun)
	if errors.Is(err, errRehearse) {
		err = p.tried().sit(set, level, ember.None, nil, in, &begun)
	}
	if err != nil && !begun && p.getenv(kept) != "" {
		fmt.Fprintln(p.err, "wetside:", oneLine(err))
		return codeError(codeNotBegun)
	}
	return err
}

// runSeen draws, if the terminal can be trusted to.
func (p program) runSeen(set settings, level ember.Level, profile ember.Profile, reason string, in, out *os.File, tty bool) error {
	keyboard := in != nil
	var ask ember.Question
	if !profile.CanDraw() {
		if p.getenv(kept) != keptWide && (p.getenv(kept) != "" || !keyboard || !ember.Askable(p.getenv, tty)) {
			return errors.New(strings.TrimRight(reason, "."))
		}
		profile, ask = ember.ANSI256, ember.AskPalette
	}
	name, _ := ember.Window(p.getenv, p.getenv(keptName))
	defer p.hidePointer()() // and so does the child, which may outlive its keeper
	guard := ember.NewGuard(out, ember.Options{Profile: profile, Mux: ember.DetectMux(p.getenv), Level: level, Kept: p.getenv(kept) != "",
		Focus: set.keys.Mouse(), Told: p.levelTold(), Terminal: name, Again: p.killedHere()})
	if p.getenv(kept) == "" {
		window := keeper.TTY(in, out)
		met := meeting{}
		if keyboard {
			if ember.Nameless(p.getenv) {
				ask |= ember.AskName
			}
			met = p.meet(guard, window, in, ask)
		}
		if ask&ember.AskPalette == 0 || met.told.Wide() {
			return p.keep(set, guard, window, met)
		}
		_ = guard.Restore()
		_ = os.Remove(p.markFile())
		p.warn("%s", strings.TrimRight(reason, "."))
		_, _ = out.WriteString("\r") // it is raw still
		if !met.told.All {           // what it still says is not for the shell
			keeper.Drain(in, lateFor)
		}
		_ = window.Reset()
		return codeError(codeNoScreen)
	}
	w, hgt := keeper.TTY(in, out).Size()
	if err := guard.Begin(w, hgt); err != nil {
		return err
	}
	err := p.sit(set, level, profile, guard, in, new(bool))
	if errors.Is(err, errRehearse) {
		return p.tried().sit(set, level, profile, guard, in, new(bool))
	}
	return err
}

// A meeting is what a terminal told before the program began, and what was typed
// meanwhile.
type meeting struct {
	typed []byte
	told  keeper.Told
	wide  bool // it was asked what it can draw
	known bool // the colours that it has of its own
}

func (m meeting) env() []string {
	is := "1"
	if m.wide {
		is = keptWide
	}
	return []string{kept + "=" + is, keptTyped + "=" + hex.EncodeToString(m.typed), keptName + "=" + m.told.Version}
}

// meet makes the window black and asks the terminal what its name leaves open, if
// anything does.
func (p program) meet(guard *ember.Guard, window keeper.Terminal, in *os.File, ask ember.Question) meeting {
	if ember.Forgetful(p.getenv) {
		ask |= ember.AskOwn
	}
	if guard == nil || ask == 0 || window.Keys() != nil {
		if guard != nil {
			p.mark(nil)
		}
		return meeting{}
	}
	within := askFor
	if ask == ember.AskName {
		within = nameFor
	}
	met := meeting{wide: ask&ember.AskPalette != 0}
	met.typed, met.told = keeper.Ask(in, func() error { w, h := window.Size(); return guard.Interview(ask, w, h) }, within)
	if ask&ember.AskOwn != 0 {
		var own []string
		own, met.known = ember.OwnColours(p.getenv, p.mark(met.told.Colours))
		guard.PutBack(own)
	} else {
		p.mark(nil)
	}
	return met
}

// mark keeps, for as long as the window is ours, that it is, and the colours that it
// told of its own: after a kill it can tell them no more. It gives those that are its own.
func (p program) mark(told map[string]string) map[string]string {
	before := map[string]string{}
	if b, err := os.ReadFile(p.markFile()); err == nil && ember.Reddened(told) {
		_ = json.Unmarshal(b, &before) // torn: they are not known
		return before
	}
	if ember.Reddened(told) {
		return nil // ours, and what was before is not known
	}
	if b, err := json.Marshal(told); err == nil {
		_ = os.MkdirAll(p.state, 0o700)
		_ = os.WriteFile(p.markFile(), b, 0o600) // without it a kill leaves them as they are
	}
	return told
}

// markFile is where that is kept, by window.
func (p program) markFile() string {
	name := p.getenv("WINDOWID")
	if name == "" {
		name, _ = os.Readlink("/proc/self/fd/0")
	}
	return filepath.Join(p.state, "window-"+filepath.Base(name)+".json")
}

// killedHere reports whether a program was killed in this window.
func (p program) killedHere() bool {
	_, err := os.Stat(p.markFile())
	return err == nil
}

// The marks of bracketed paste.
const pasteBegins, pasteEnds = "\x1b[200~", "\x1b[201~"

// typedKeys are the keys of what was typed before the program read them.
func typedKeys(typed []byte) (keys []tea.KeyMsg) {
	for len(typed) > 0 {
		var k tea.KeyMsg
		is := true
		if pasted, ok := bytes.CutPrefix(typed, []byte(pasteBegins)); ok {
			pasted, typed, _ = bytes.Cut(pasted, []byte(pasteEnds))
			k = tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(string(pasted)), Paste: true}
		} else if len(typed) >= 3 && typed[0] == 0x1b && (typed[1] == '[' || typed[1] == 'O') {
			k, is, typed = escaped(typed)
		} else {
			r, n := utf8.DecodeRune(typed)
			typed = typed[n:]
			k, is = keyOf(r)
		}
		if is {
			keys = append(keys, k)
		}
	}
	return keys
}

// escaped is the arrow that a sequence is, if it is one, and what comes behind it.
func escaped(typed []byte) (k tea.KeyMsg, is bool, rest []byte) {
	end := 2
	for end < len(typed)-1 && (typed[end] < '@' || typed[end] > '~') {
		end++
	}
	arrow, is := map[byte]tea.KeyType{'A': tea.KeyUp, 'B': tea.KeyDown, 'C': tea.KeyRight, 'D': tea.KeyLeft}[typed[end]]
	return tea.KeyMsg{Type: arrow}, is && end == 2, typed[end+1:]
}

// keyOf is the key of a sign; other control signs are none.
func keyOf(r rune) (k tea.KeyMsg, is bool) {
	named := map[rune]tea.KeyType{'\r': tea.KeyEnter, '\t': tea.KeyTab, 0x7f: tea.KeyBackspace, 0x03: tea.KeyCtrlC, 0x1b: tea.KeyEscape}
	if name, ok := named[r]; ok {
		return tea.KeyMsg{Type: name}, true
	}
	if r == ' ' {
		return tea.KeyMsg{Type: tea.KeySpace, Runes: []rune{r}}, true
	}
	return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}}, r > ' '
}

// tried is the program as wetside rehearse --pace 10 would begin it, in the same window.
func (p program) tried() program {
	return program{host: p.host, flags: p.flags, rehearsal: true, pace: 10,
		forms: []profiles.Form{{Paper: "direct-positive-fb", Process: "three-trays", Name: "blank"}}}
}

// blackener is a guard that draws nothing and blackens the window for a program
// that is only heard; nil where there is none. What a terminal cannot do of it, it
// leaves out: no picture depends on it.
func (p program) blackener(out *os.File, profile ember.Profile, focus bool) *ember.Guard {
	if out == nil || !term.IsTerminal(out.Fd()) {
		return nil // what goes into a file stays text
	}
	if !profile.CanDraw() {
		if name := p.getenv("TERM"); name == "" || name == "dumb" || name == "unknown" {
			return nil
		}
		profile = ember.ANSI256
	}
	name, _ := ember.Window(p.getenv, "")
	return ember.NewGuard(out, ember.Options{Profile: profile, Mux: ember.DetectMux(p.getenv), Level: ember.Dark, Focus: focus, Terminal: name, Again: p.killedHere()})
}

// over lays flags over settings.
func (f Flags) over(s *settings) error {
	for i, flag := range []string{f.Level, f.Talk, f.Rock, f.Sound} {
		if flag == "" {
			continue
		}
		x := texts[i]
		if err := x.fault(flag); err != nil {
			return usageError{err}
		}
		*x.in(s) = flag
	}
	if f.Volume != nil {
		if !(*f.Volume >= 0 && *f.Volume <= 1) {
			return usage("--volume is from 0 to 1, not %g", *f.Volume)
		}
		s.Volume = float64(*f.Volume)
	}
	s.Border = s.Border || f.Border
	return nil
}

var talks = map[string]sound.Talk{"few": sound.Few, "normal": sound.Normal, "full": sound.Full}
var rocks = map[string]sound.Rock{"off": sound.Off, "slow": sound.Slow, "on": sound.On}

// keep runs the program as a child and keeps the room dark whatever becomes of
// it: a panic's trace goes through the guard, and the terminal gets its own
// colours back only when paper is covered. Blind, nothing is drawn but black:
// neither what is typed, nor a trace before paper is covered.
func (p program) keep(set settings, guard *ember.Guard, window keeper.Terminal, met meeting) error {
	cmd := exec.Command(p.host.self, p.args...)
	cmd.Env = append(os.Environ(), met.env()...)
	held, err := leash(cmd)
	if err != nil {
		return err
	}
	defer held.Close()
	sigs := make(chan os.Signal, 8)
	signal.Notify(sigs, syscall.SIGTERM, syscall.SIGHUP, os.Interrupt)
	defer signal.Stop(sigs)
	continued := make(chan os.Signal, 1)
	changed := make(chan os.Signal, 1)
	notifyStops(continued, changed)
	defer signal.Stop(continued)
	defer signal.Stop(changed)
	defer p.darkenTmux()()
	code := keeper.Keeper{Guard: guard, Terminal: window, Blind: p.flags.Blind, Signals: sigs, Continued: continued, Changed: changed, Level: held.level,
		Asked: func(code int) bool {
			return code == codeCovered || code == codeUnwritten || p.flags.Blind && code == codeNotBegun
		},
		Ended:   func(string) { go p.sayEnded(set) },
		Covered: p.lampsBack, Stderr: p.err}.Run(keeper.Command(cmd))
	if guard != nil {
		_ = os.Remove(p.markFile()) // all is back
		if ember.Forgetful(p.getenv) && !met.known {
			p.warn("this terminal does not tell what its own colours are, so it stays black: a new window has them")
		}
	}
	if code != 0 {
		return codeError(code)
	}
	return nil
}

// lost says what a closing notebook could not write; empty when it has all.
func (p program) lost(err error) string {
	var u *notebook.Unsaved
	if !errors.As(err, &u) {
		return ""
	}
	what := fmt.Sprintf("The last %d events are lost: they", u.N)
	if u.N == 1 {
		what = "The last event is lost: it"
	}
	return fmt.Sprintf("%s could not be written to %s.", what, p.data)
}

// lampsBack puts the laptop's lamps back after the user said that paper is
// covered, unless another program still works on it.
func (p program) lampsBack() {
	here := flock.New(filepath.Join(p.state, "here.lock"))
	if alone, err := here.TryLock(); err == nil && !alone {
		return
	}
	defer here.Unlock()
	if err := p.lamps().Restore(); err != nil {
		p.warn("%s", oneLine(err))
	}
}

// sayEnded says aloud that the program is gone, whose own voice went with it.
func (p program) sayEnded(set settings) {
	engine, err := p.openSound(p.ctx, set)
	if err != nil {
		return // what the screen says has to do
	}
	playEnded(engine, 20*time.Second) // the question waits, so a slow sound server may answer
	engine.Close()
}

func playEnded(engine *sound.Engine, within time.Duration) {
	engine.Play(session.Cue{Key: "ended", Kind: session.CueError, Lines: &[]say.Line{say.Ended.Of()}})
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	engine.Drain(ctx)
}

// show runs the picture until the user leaves.
func (p program) show(ctx context.Context, model *tui.Model, guard *ember.Guard, in *os.File, loud func() *sound.Engine) error {
	opts := []tea.ProgramOption{tea.WithContext(ctx), tea.WithoutSignalHandler(), tea.WithoutCatchPanics()}
	// Only a terminal can be waited on like one; anything else is just read.
	var input io.Reader = struct{ io.Reader }{p.in}
	if in != nil {
		input = keeper.NewKeyboard(in)
	}
	opts = append(opts, tea.WithInput(input))
	if guard != nil {
		changes := ember.NewChanges(guard)
		model.DrawOn(changes)
		opts = append(opts, tea.WithOutput(changes), tea.WithAltScreen(), tea.WithFPS(1)) // it has nothing to draw itself
	} else {
		opts = append(opts, tea.WithOutput(io.Discard), tea.WithoutRenderer())
	}
	prog := tea.NewProgram(model, opts...)

	if len(p.typed) > 0 {
		go func() { // ends with the program
			for _, k := range typedKeys(p.typed) {
				prog.Send(k)
			}
		}()
	}

	sigs := make(chan os.Signal, 1)
	signal.Notify(sigs, syscall.SIGTERM, syscall.SIGHUP)
	defer signal.Stop(sigs)
	ended := make(chan string, 1)
	done := make(chan struct{})
	go func() {
		select {
		case s := <-sigs:
			ended <- s.String()
			prog.Kill()
		case <-done:
		}
	}()
	mind := func() {}
	if in != nil && p.getenv(kept) != "" {
		mind = p.mind(prog, guard, in)
	}
	_, err := prog.Run()
	mind()
	close(done)
	return p.shown(model, guard, loud(), ended, err)
}

// shown is what remains to be done when the picture is gone.
func (p program) shown(model *tui.Model, guard *ember.Guard, engine *sound.Engine, ended <-chan string, err error) error {
	select {
	case why := <-ended:
		return p.endedBy(why, guard, engine)
	default:
	}
	if err != nil && !errors.Is(err, tea.ErrProgramKilled) {
		return err
	}
	if engine != nil && p.self {
		dctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		engine.Drain(dctx)
		cancel()
	}
	if engine != nil && p.rehearsal && guard == nil {
		if text := missed(engine); text != "" {
			p.warn("%s", text)
		}
	}
	if model.Quit() {
		return nil // the keeper gives the terminal back
	}
	return codeError(codeSignal)
}

// endedBy tells that a signal has ended the program. The record is safe: every event was
// written as it happened.
func (p program) endedBy(why string, guard *ember.Guard, engine *sound.Engine) error {
	if guard != nil {
		guard.Blacken()
	}
	if p.getenv(kept) != "" {
		fmt.Fprintf(p.err, "It was ended from outside (%s). Start it again and the clocks go on.\n", why) // to the keeper, who shows it
	} else if engine != nil { // else the keeper says it
		playEnded(engine, 4*time.Second)
	}
	return codeError(codeSignal)
}

// missed says what of a rehearsal's sound nobody can have heard as it was meant;
// empty when all was.
func missed(e *sound.Engine) string {
	st := e.Status()
	if st.Dry == 0 && st.Late == 0 {
		return ""
	}
	return fmt.Sprintf("the machine was too busy to sound everything in time: the stream ran dry %s, %s came too late", words.Count(st.Dry, "time"), words.Count(st.Late, "cue"))
}

func (p program) openSound(ctx context.Context, set settings) (*sound.Engine, error) {
	v, err := p.newVoice()
	if v == nil {
		return nil, err
	}
	rock := rocks[set.Rock]
	if p.pace > 1 {
		rock = sound.Off // a rhythm at twenty times life is a noise
	}
	alive := p.pace == 1 && (set.Alive == nil || *set.Alive)
	return sound.Open(ctx, sound.Config{Talk: talks[set.Talk], Rock: rock, Alive: alive, Volume: set.Volume, Prefer: set.Sound, Voice: v, Pace: p.pace, Into: p.into})
}

func (h *host) newVoice() (*voice.Voice, error) {
	find := h.find
	if find == nil {
		find = exec.LookPath
	}
	return voice.New(voice.Config{User: filesIn(filepath.Join(h.config, "voices")),
		Say: voice.SystemVoice(voice.Host{Find: find, Temp: os.TempDir()})})
}
