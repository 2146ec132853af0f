package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/notebook"
	"wetside/session/words"
)

// LoadedCmd says which camera holds what, and writes down one that was loaded or
// emptied without the program.
type LoadedCmd struct {
	Camera  string `arg:"" optional:"" help:"A camera that was loaded, or with --empty emptied, without the program. Without one: which holds what." complete:"camera"`
	Empty   bool   `help:"Its sheet was taken out."`
	Name    string `help:"What the sheet is called." placeholder:"WORDS"`
	Paper   string `help:"The paper." default:"direct-positive-fb" placeholder:"KEY"`
	Process string `help:"How it is to be developed." default:"three-trays" placeholder:"KEY"`
}

// Help shows how it is used.
func (LoadedCmd) Help() string {
	return `Examples:

  wetside loaded
  wetside loaded tea-caddy
  wetside loaded tea-caddy --empty

The room screen leads through it by voice, and l begins it there. A camera that is loaded is
kept in mind over days, until its sheet is taken out or goes into the trays; a second
sheet for it is refused, and the field warns before an empty camera is opened, or one whose
sheet has had its light.`
}

// Run lists, or writes down.
func (c *LoadedCmd) Run(h *host) error {
	if c.Camera == "" {
		if c.Empty {
			return usage("say which camera: wetside loaded tea-caddy --empty")
		}
		return c.list(h)
	}
	b, err := h.book()
	if err != nil {
		return err
	}
	defer b.Close()
	plan := h.planner(b)
	if _, err := plan.Set.Camera(c.Camera); err != nil {
		return usageError{err}
	}
	m, _, err := liveOf(b, false)
	if err != nil {
		return err
	}
	held := m.Holds(c.Camera)
	if c.Empty {
		return c.empty(h, b, held)
	}
	if held != nil {
		return advise("%s holds sheet %d already, %s: wetside loaded %s --empty says that it was taken out", c.Camera, held.Num, inCamera(held), c.Camera)
	}
	return c.load(h, b, plan)
}

// load puts a sheet into the camera: one that was added for it, or a new one.
func (c *LoadedCmd) load(h *host, b *notebook.Book, plan *profiles.Planner) error {
	made, err := plan.Plan(profiles.Form{Paper: c.Paper, Process: c.Process, Camera: c.Camera, Name: c.Name})
	if err != nil {
		return usageError{err}
	}
	s, err := h.join(b, false)
	if err != nil {
		return err
	}
	defer s.Release()
	sheets, id := s.M.Sheets(), uuid.NewString()
	var events []session.Event
	if i := slices.IndexFunc(sheets, func(sh *session.Sheet) bool {
		return sh.Spec.Camera == c.Camera && sh.Phase == session.Fresh && len(sh.Light.Spells) == 0
	}); i >= 0 {
		id = sheets[i].ID
	} else {
		events = append(events, session.Event{Kind: session.SheetAdded, Sheet: id, Spec: &made.Spec})
	}
	if err := h.tell(s, append(events, session.Event{Kind: session.Loaded, Sheet: id})); err != nil {
		return err
	}
	h.say("sheet %d is in %s", s.M.Sheet(id).Num, c.Camera)
	return nil
}

func (c *LoadedCmd) empty(h *host, b *notebook.Book, held *session.Sheet) error {
	if held == nil {
		return advise("%s holds no sheet, as far as anybody has said; wetside loaded lists those that do", c.Camera)
	}
	s, err := h.join(b, true)
	if err != nil {
		return err
	}
	defer s.Release()
	if err := h.tell(s, []session.Event{{Kind: session.Unloaded, Sheet: held.ID}}); err != nil {
		return err
	}
	h.say("sheet %d is out of %s", held.Num, c.Camera)
	return nil
}

func (c *LoadedCmd) list(h *host) error {
	m, err := h.live()
	if err != nil {
		return err
	}
	table := [][]string{{"camera", "sheet", "name", "since", ""}}
	for _, s := range m.Sheets() {
		if s.InCamera() {
			table = append(table, []string{s.Spec.Camera, fmt.Sprint(s.Num), s.Spec.Name, s.LoadedAt.Wall.Format("2006-01-02 15:04"), inCamera(s)})
		}
	}
	if len(table) == 1 {
		h.say("no camera holds a sheet, as far as anybody has said")
		return nil
	}
	return h.table(table, 0, 2)
}

// inCamera says how a sheet in its camera stands.
func inCamera(s *session.Sheet) string {
	switch s.Phase {
	case session.Fresh:
		return "not exposed"
	case session.Exposing:
		return "being exposed"
	}
	return "exposed"
}

// live is the open session as the notebook has it; an empty one where none is open.
func (h *host) live() (*session.Machine, error) {
	b, err := h.written()
	if err != nil || b == nil {
		return session.New(), err
	}
	defer b.Close()
	m, _, err := liveOf(b, false)
	return m, err
}

// liveOf is live of an open notebook, and whether a session is open.
func liveOf(b *notebook.Book, rehearsal bool) (m *session.Machine, live bool, err error) {
	m = session.New()
	_, events, live, err := b.Live(rehearsal)
	if live {
		for _, e := range events {
			_ = m.Replay(e) // refused then as it is now
		}
	}
	return m, live, err
}

// takeHeld is the sheet that lies in a camera and waits for its light, which an exposure
// by a watch is of; nil: none does. It is an error where the one in it has had its light.
func takeHeld(m *session.Machine, camera string) (*session.Sheet, error) {
	s := m.Holds(camera)
	if s != nil && s.Phase != session.Fresh {
		return nil, advise("%s holds sheet %d, which is %s: wetside loaded %s --empty says that it was taken out", camera, s.Num, inCamera(s), camera)
	}
	return s, nil
}

// loadedNow is what a start says of the cameras that hold a sheet; empty: none does.
func loadedNow(m *session.Machine) string {
	var in []string
	for _, s := range m.Sheets() {
		if s.InCamera() && s.Phase != session.Exposing {
			in = append(in, fmt.Sprintf("%s (sheet %d, %s)", words.Clean(s.Spec.Camera), s.Num, inCamera(s)))
		}
	}
	if len(in) == 0 {
		return ""
	}
	return "loaded: " + strings.Join(in, ", ")
}
