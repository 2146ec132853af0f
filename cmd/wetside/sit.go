package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/bench"
	"wetside/session/desk"
	"wetside/session/exposure"
	"wetside/session/notebook"
	"wetside/session/words"
	"wetside/sound"
	"wetside/tui"
	"wetside/tui/ember"
)

// A sitting is one run of the program from the notebook's opening to its close:
// what stands between the desk and this machine.
type sitting struct {
	program
	set     settings
	level   ember.Level
	profile ember.Profile
	guard   *ember.Guard // nil: nothing is drawn

	ctx     context.Context
	ends    []func() // what was started, the last first to end
	notices []string
	*desk.Sitting
	close  func() error // the notebook
	clock  *clock
	engine *sound.Engine
	plan   *profiles.Planner
	desk   *desk.Desk
	lamps  *roomLamps
}

// sit is one sitting: notebook, sound, lamps, and the picture unless blind. It
// sets begun when the user can work.
func (p program) sit(set settings, level ember.Level, profile ember.Profile, guard *ember.Guard, in *os.File, begun *bool) error {
	ctx, cancel := context.WithCancel(p.ctx)
	s := &sitting{program: p, set: set, level: level, profile: profile, guard: guard, ctx: ctx, ends: []func(){cancel}}
	defer func() {
		for _, end := range s.ends {
			defer end()
		}
	}()
	for _, step := range []func() error{s.open, s.takeUp, s.speak, s.lay} {
		if err := step(); err != nil {
			return err
		}
	}
	cfg := s.config()
	if len(p.forms) > 0 {
		cfg.Start = tui.Trays
		if p.forms[0].Light != "" {
			cfg.Start = tui.Field
		}
		if err := s.rehearse(); err != nil {
			return err
		}
	}
	if s.timer != "" {
		cfg.Start = tui.Trays
		if err := s.time(); err != nil {
			return err
		}
	}
	if p.lead {
		cfg.Start, cfg.Lead = tui.Trays, true
	}
	model := tui.New(cfg)
	*begun = true
	err := p.show(ctx, model, guard, in, func() *sound.Engine { return s.engine })
	if err = s.leave(err, cfg.Notices); err == nil && model.Rehearse() {
		return errRehearse
	}
	return err
}

// errRehearse: the user has left to try the program in the light.
var errRehearse = errors.New("a rehearsal is wanted")

// after keeps what must end when the sitting ends.
func (s *sitting) after(end func()) { s.ends = append(s.ends, end) }

// open opens the notebook, and reads it whole beside the first frame.
func (s *sitting) open() error {
	_ = os.MkdirAll(s.state, 0o700) // its locks can be done without; the notebook makes its own
	s.notices = words.Each(s.wrong, profiles.Problem.Error)
	s.takeOver()
	conf := s.notebookConfig()
	conf.Served = true
	book, told, err := notebook.Open(conf)
	if err != nil {
		return err
	}
	s.notices = append(s.notices, words.Each(told, noticeText)...)
	s.Sitting = &desk.Sitting{Book: book}
	ctx, cancel := context.WithCancel(s.ctx)
	served := make(chan struct{})
	go func() {
		defer close(served)
		serve(ctx, book)
	}()
	s.close = func() error {
		cancel()
		<-served
		return book.Close()
	}
	s.after(func() { s.close() })
	return nil
}

// serve reads the notebook for damage, and then sees every two seconds to what
// it lacks or holds elsewhere. What it cannot do now, the next time does;
// notices tell.
func serve(ctx context.Context, book *notebook.Book) {
	if err := book.Check(ctx); err != nil && ctx.Err() == nil {
		book.Flush()
	}
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(sound.Beat(2 * time.Second)):
			book.Flush()
		}
	}
}

// takeUp goes on with the session that is open, or begins one.
func (s *sitting) takeUp() error {
	up, err := desk.Open(s.Book, s.state, s.rehearsal, s.host.clock(1, session.Instant{}).Now())
	if err != nil {
		return err
	}
	s.Sitting = up
	s.after(up.Release)
	var from session.Instant
	if up.Resumed {
		from = up.M.Last()
	}
	s.clock = s.host.clock(s.pace, from)
	if up.Resumed {
		return nil
	}
	return up.Begin(s.clock.Now(), s.pace)
}

// speak opens the loudspeaker, unless another program makes the sound.
func (s *sitting) speak() (err error) {
	s.after(func() {
		if s.engine != nil {
			s.engine.Close()
		}
	})
	if !s.First {
		return nil
	}
	if s.engine, err = s.openSound(s.ctx, s.set); err != nil {
		return err
	}
	// Where nothing is drawn nobody could be told of it later. With paper out
	// the clocks go on all the same: a loudspeaker may come back.
	if s.guard == nil && s.set.Sound != "none" && !s.M.PaperOut() {
		switch st := audible(s.ctx, s.engine); {
		case !st.OK:
			return fmt.Errorf("nothing can be heard (%s), and by sound alone nothing would be told: plug in a loudspeaker, or start without --blind", st.Reason)
		case st.Reach != sound.Everything:
			return fmt.Errorf("nothing can be spoken (%s), and by sound alone nothing would be told: plug in a loudspeaker, or start without --blind", cmp.Or(st.Reason, st.Device))
		case st.Volume == 0:
			return errors.New("the volume is 0, and by sound alone nothing would be told: start with --volume 0.7, or without --blind")
		}
	}
	return nil
}

// sounder is this program's loudspeaker, or the other program's.
func (s *sitting) sounder() desk.Sounder {
	if s.engine != nil {
		return &speaker{s.engine}
	}
	return &second{now: s.now, take: func() *speaker {
		if !s.TakeLoudspeaker() {
			return nil
		}
		engine, err := s.openSound(s.ctx, s.set)
		if err != nil {
			return nil
		}
		s.engine = engine
		return &speaker{engine}
	}}
}

// lay puts on the desk what lies on it: profiles, clock, record, sound, lamps.
func (s *sitting) lay() error {
	profs, err := s.profiles()
	if err != nil {
		s.notices = append(s.notices, "profiles left out: "+oneLine(err))
	}
	s.plan = &profiles.Planner{Set: profs, Judged: desk.JudgedIn(s.Book, func(camera, paper string) (exposure.Ask, int, int, bool) { return s.plan.Set.Today(camera, paper) }), Rehearsal: s.rehearsal, Now: s.now,
		Write: func(name string, data []byte) (fs.FS, error) {
			return filesIn(s.profileFolder()), notebook.Replace(filepath.Join(s.profileFolder(), filepath.FromSlash(name)), data)
		}}
	s.Saved = s.plan.Forget
	s.desk = &desk.Desk{M: s.M, Clock: s.clock, Record: s.Sitting, Sound: s.sounder(), NewID: uuid.NewString, Hands: s.self}
	if s.Resumed {
		s.desk.Since = s.clock.Now()
	}
	s.plan.Used = s.desk.Used
	s.plan.Stale = func(paper profiles.Paper) string {
		stale := bench.FogTestStale(paper.Session(), s.now(), paper.Safelight.Level, session.Level(s.level.String()))
		if now, known := s.lamps.paperLight(); stale == "" && known {
			return paper.Safelight.Outshone(now)
		}
		return stale
	}
	s.desk.Move, _ = profiles.ParseDuration(s.set.Move) // checked with the other settings
	if !s.rehearsal {
		ctx, cancel := context.WithCancel(s.ctx)
		show, ended := s.popUps(ctx)
		s.desk.Notify = show
		s.after(func() { cancel(); ended() })
	}
	// With paper out they stay as dim as they were left; those of another
	// program are not ours to put back.
	lamps := s.program.lamps()
	off := sync.OnceValue(s.panelOff)
	report := func() []tui.Finding { return append(verified(lamps, s.set.Panel, fastest(profs)), off()) }
	s.lamps = followRoom(lamps, s.panelSwitch, s.set.Panel.panel(), report, s.now, s.MayShine, s.First && !s.M.PaperOut() && s.MayShine())
	s.after(s.lamps.stop)
	if !s.rehearsal { // whose time is none that paper would lie in the open
		s.desk.Screen = func() (float64, bool) { return s.lamps.lux(), s.First || s.engine != nil }
	}
	return nil
}

// newest plans with the profiles as their files are by now: one that was changed
// holds for the sheets added from then on. While one is at fault, all stay as
// they were.
func (s *sitting) newest(plan *profiles.Planner) func(profiles.Form) (profiles.Reckoned, error) {
	root := s.profileFolder()
	last, fault := stamp(root), ""
	return func(f profiles.Form) (profiles.Reckoned, error) {
		if now := stamp(root); now != last {
			last, fault = now, ""
			if set, err := s.profiles(); err != nil {
				fault = "the profiles are as they were: " + oneLine(err)
			} else {
				plan.Set = set
				plan.Forget()
			}
		}
		r, err := plan.Plan(f)
		if err == nil && fault != "" {
			r.Notes = append(r.Notes, fault)
		}
		return r, err
	}
}

// stamp tells a folder's files from what they were: names, sizes and times.
func stamp(root string) string {
	var b strings.Builder
	_ = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return nil // what cannot be read is told when it is loaded
		}
		if info, err := d.Info(); err == nil {
			fmt.Fprintln(&b, path, info.Size(), info.ModTime().UnixNano())
		}
		return nil
	})
	return b.String()
}

// config is all that the screens are made of.
func (s *sitting) config() tui.Config {
	cfg := tui.Config{
		Desk: s.desk, Level: s.level, Profile: s.profile, Guard: s.guard, Blind: s.guard == nil, Keys: s.set.keys,
		Plan: s.newest(s.plan), Shift: s.plan.Shift, Brighter: s.plan.Brighter, Baths: s.plan.Baths, Reckon: s.reckoned,
		Book: pages{s.Book, s.clock.Now, s.plan}, Lamps: s.lamps, Verified: s.verified,
		Pulse: s.set.Border, Full: s.set.Talk == "full", ConfirmSound: s.First && !s.rehearsal && s.set.Sound != "none",
		KeepFogTest: s.plan.KeepFogTest, FogStrip: s.plan.FogStrip, Backlight: s.lamps.lamps.Panel, WhenAlone: s.WhenAlone, News: s.news, Span: profiles.ParseDuration, Timer: s.plan.Timer, NewCamera: s.newCamera,
	}
	cfg.Papers, cfg.Processes = choices(s.plan.Set, profiles.PaperKind), choices(s.plan.Set, profiles.ProcessKind)
	cfg.Cameras = choices(s.plan.Set, profiles.CameraKind)
	if s.Resumed && s.First {
		cfg.Resumed = tui.ResumeText(s.M, s.clock.Now())
	}
	loaded, washed := loadedNow(s.M), ""
	if !s.rehearsal {
		washed = s.earnest(&cfg)
	}
	cfg.Notices = append(s.notices, slices.DeleteFunc([]string{loaded, washed}, func(s string) bool { return s == "" })...)
	return cfg
}

// earnest adds what a rehearsal has not, and returns what is to be done with sheets that
// were washed: never while there is something else to do.
func (s *sitting) earnest(cfg *tui.Config) (washed string) {
	rows, err := s.Book.Sheets(notebook.Filter{Limit: 1})
	cfg.First = err == nil && len(rows) == 0 && len(s.M.Sheets()) == 0
	strip := desk.StripIn(s.state)
	cfg.KeepStrip = strip.Keep
	if cfg.Strip, err = strip.Read(); err != nil {
		s.notices = append(s.notices, oneLine(err))
	}
	if s.engine != nil && (!cfg.ConfirmSound || cfg.Resumed != "") { // else the question sounds it
		s.engine.Play(session.Cue{Key: "hello", Kind: session.CueHello})
	}
	if !s.M.PaperOut() && !s.M.Running() {
		a, _ := desk.AfterWash(s.Book, s.now()) // what cannot be read is told elsewhere
		washed = afterWash(a)
	}
	return washed
}

// verified is what the program could check of the room by itself.
func (s *sitting) verified() []tui.Finding {
	found := append(s.lamps.verified(), s.window(s.getenv(keptName))...)
	if w := ember.DetectMux(s.getenv).Warning(s.getenv("TMUX") != ""); w != "" {
		found = append(found, tui.Finding{Text: w})
	}
	return found
}

func noticeText(n notebook.Notice) string { return n.Text }

func (s *sitting) news() []string {
	return words.Each(s.Book.Notices(), noticeText)
}

// rehearse lays out the sheets of a rehearsal. It begins with fresh trays, so
// that the baths' account is rehearsed too.
func (s *sitting) rehearse() error {
	for _, mix := range s.plan.Baths(s.forms[0].Process) {
		mix.ID = uuid.NewString()
		if err := s.desk.Do(session.Event{Kind: session.BathMixed, Mix: &mix}); err != nil {
			return err
		}
	}
	for _, f := range s.forms {
		made, err := s.plan.Plan(f)
		if err == nil {
			_, err = s.desk.Add(made.Spec)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// time lays out the sheet of a timer, unless it is there since before the program
// was started anew.
func (s *sitting) time() error {
	spec, err := s.plan.Timer(s.timer)
	if err != nil {
		return err
	}
	for _, sh := range s.M.Sheets() {
		if !sh.Phase.Over() && sh.Spec.Paper.Key == spec.Paper.Key && sh.Spec.Process.Name == spec.Process.Name {
			return nil
		}
	}
	_, err = s.desk.Add(spec)
	return err
}

// leave ends the sitting: lamps, then the notebook, and what it could not write.
func (s *sitting) leave(err error, unread []string) error {
	if s.guard == nil {
		for _, n := range unread {
			s.warn("%s", n) // nobody has read it
		}
	}
	s.lamps.stop()
	alone := false
	s.WhenAlone(func() { alone = true })
	if err == nil && alone && s.MayShine() { // else nobody has said that paper is covered
		if err := s.lamps.lamps.Restore(); err != nil {
			s.warn("%s", oneLine(err))
		}
	}
	if text := s.lost(s.close()); text != "" {
		s.warn("%s", text)
		err = cmp.Or(err, error(codeError(codeUnwritten)))
	}
	return err
}
