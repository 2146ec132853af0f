package main

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/bench"
	"wetside/session/words"
)

// PlanCmd plans an evening.
type PlanCmd struct {
	Process []string `arg:"" optional:"" help:"Key of the process, or of several: see wetside profiles."`
	Sheets  int      `help:"How many sheets, of each process." default:"2" placeholder:"N"`
	Start   string   `help:"When the first sheet goes in, like 19:30; without it times count from there." placeholder:"TIME"`
	Paper   string   `help:"Paper it is for." default:"direct-positive-fb" placeholder:"KEY"`
	Celsius string   `help:"Developer temperature, like 22 C." placeholder:"T"`
	Move    string   `help:"How long one move of a sheet takes your hands, like 10s; without it as in the settings." placeholder:"TIME"`
	JSON    bool     `help:"As JSON." name:"json"`
	Cameras []string `help:"A whole day: the cameras, with commas between." placeholder:"KEY,..."`
	Hours   string   `help:"Of a day: from when until all is in the wash, like 10:00-16:00." placeholder:"FROM-TO"`
	Day     string   `help:"Of a day: which, where it is not today: tomorrow, 2026-05-09." placeholder:"DAY"`
	Light   string   `help:"Of a day: its light, as wetside exposure takes it." placeholder:"LIGHT"`
	Place   string   `help:"Of a day: latitude and longitude in degrees; the sun's height changes the times." placeholder:"LAT,LON"`
	Reload  string   `help:"Of a day: how long it takes to fetch a camera, reload it and set it up." default:"15m" placeholder:"TIME"`
	Output  string   `short:"o" help:"Of a day: a page to print, HTML; - is standard output." placeholder:"FILE" type:"path"`
}

// Help tells what the plan takes for granted.
func (PlanCmd) Help() string {
	return `Examples:

  wetside plan three-trays --sheets 4 --start 19:30
  wetside plan two-bath-fix --sheets 8 --celsius 22C
  wetside plan two-bath-fix three-trays --sheets 3
  wetside plan --cameras tea-caddy,hat-box --hours 10:00-16:00 --light overcast --sheets 8
  wetside plan --cameras tea-caddy --hours 9:00-17:00 --light sun --place 52.5,13.4 -o - > day.html

With --cameras it is a whole day: which camera is opened when and for how long, by what
judged sheets have taught; when the darkroom begins so that all is in the wash by the end;
how much of each bath, what wears out, and the changes of water.

One person works, with one sheet in each tray and as many as come in the wash.
A move, a drain and the rocking of a tray take both hands; a process says where
its rocking can be left. A step that the eye ends counts with its longest time,
and a sheet may stay in water until it can go on. Of up to five sheets it is the
plan that is done soonest; of more, a good one, and it says what none can beat.`
}

// mostPlanned is as many sheets as a wash is thought to hold.
const mostPlanned = 40

// Run prints it.
func (c *PlanCmd) Run(h *host) error {
	if len(c.Cameras) > 0 {
		return c.day(h)
	}
	if err := slips(slip{c.Hours+c.Light+c.Place+c.Day+c.Output != "", "a day wants its cameras: --cameras tea-caddy,hat-box"},
		slip{len(c.Process) == 0, "say the process, like wetside plan three-trays, or --cameras for a whole day"}); err != nil {
		return err
	}
	if n := c.Sheets * len(c.Process); c.Sheets < 1 || n > mostPlanned {
		return usage("--sheets is how many of each process, from 1 to %d in all, not %d", mostPlanned, c.Sheets)
	}
	move, err := c.move(h)
	if err != nil {
		return err
	}
	start, err := h.timeOr(c.Start, time.Time{})
	if err != nil {
		return err
	}
	m, shop, err := c.evening(h.known(), move)
	if err != nil {
		return usageError{err}
	}
	jobs := jobsOf(m)
	sch := bench.Plan(shop, nil, jobs, 0)
	if c.JSON {
		return h.json(planJSON(sch, jobs, start))
	}
	at := func(t time.Duration) string {
		if start.IsZero() {
			return words.Finished(t)
		}
		return start.Add(t).Format(time.TimeOnly)
	}
	if err := h.table(planRows(sch, jobs, at)); err != nil {
		return err
	}
	h.say("all done at %s%s", at(sch.Done), better(sch, at))
	return nil
}

func jobsOf(m *session.Machine) []bench.Job { return words.Each(m.Sheets(), bench.JobOf) }

func (c *PlanCmd) move(h *host) (time.Duration, error) {
	text := c.Move
	if text == "" {
		set, err := loadSettings(h)
		if err != nil {
			return 0, err
		}
		text = set.Move
	}
	d, err := profiles.ParseDuration(text)
	if err != nil || d <= 0 || d > time.Hour {
		return 0, usage("--move is the time one move of a sheet takes, like 8s, not %q", text)
	}
	return d, nil
}

// evening is the session before its first move, and the room it is in.
func (c *PlanCmd) evening(set *profiles.Set, move time.Duration) (*session.Machine, bench.Shop, error) {
	m := session.New()
	if err := m.Apply(session.Event{Kind: session.Opened, At: cribDay}); err != nil {
		return nil, bench.Shop{}, err
	}
	var processes []session.Process
	for _, key := range c.Process {
		plan, err := (&profiles.Planner{Set: set, Rehearsal: true}).Plan(profiles.Form{Paper: c.Paper, Process: key, Celsius: c.Celsius})
		if err != nil {
			return nil, bench.Shop{}, err
		}
		processes = append(processes, plan.Spec.Process)
		for range c.Sheets {
			e := session.Event{Kind: session.SheetAdded, At: cribDay, Sheet: fmt.Sprint(len(m.Sheets()) + 1), Spec: &plan.Spec}
			if err := m.Apply(e); err != nil {
				return nil, bench.Shop{}, err
			}
		}
	}
	shop := bench.ShopFor(move, processes...)
	shop.InOrder = false // none of them waits yet
	return m, shop, nil
}

// better says how good the plan is.
func better(sch bench.Schedule, at func(time.Duration) string) string {
	if sch.Best {
		return ", and it cannot be sooner"
	}
	return "; no plan is done before " + at(sch.Bound)
}

func stepsOf(p bench.Put, jobs []bench.Job) []bench.Op {
	return jobs[slices.IndexFunc(jobs, func(j bench.Job) bool { return j.ID == p.ID })].Steps
}

// planRows is a row for each sheet and a column for each tray.
func planRows(sch bench.Schedule, jobs []bench.Job, at func(time.Duration) string) [][]string {
	head := []string{"sheet"}
	for _, j := range jobs {
		for _, o := range j.Steps {
			if !slices.Contains(head[1:], o.Tray) {
				head = append(head, o.Tray)
			}
		}
	}
	head = append(head, "out")
	rows := [][]string{head}
	for _, p := range sch.Puts {
		row := make([]string, len(head))
		row[0] = strconv.Itoa(p.Num)
		for i, o := range stepsOf(p, jobs) {
			cell := &row[1+slices.Index(head[1:], o.Tray)]
			if *cell != "" {
				*cell += " " // it comes here twice
			}
			*cell += at(p.Moves[i])
		}
		row[len(row)-1] = at(p.End())
		rows = append(rows, row)
	}
	return rows
}

type plannedMove struct {
	Into string     `json:"into,omitempty"` // nothing: out of the last tray
	AtS  float64    `json:"at_s"`           // from the first put-in
	At   *time.Time `json:"at,omitempty"`
}

type plannedSheet struct {
	Sheet int           `json:"sheet"`
	Moves []plannedMove `json:"moves"`
}

type plannedEvening struct {
	Sheets  []plannedSheet `json:"sheets"`
	DoneS   float64        `json:"done_s"`
	Done    *time.Time     `json:"done,omitempty"`
	Soonest bool           `json:"soonest"` // no plan is done sooner
	BoundS  float64        `json:"bound_s"` // none is done before
}

func planJSON(sch bench.Schedule, jobs []bench.Job, start time.Time) plannedEvening {
	clock := func(t time.Duration) *time.Time {
		if start.IsZero() {
			return nil
		}
		at := start.Add(t)
		return &at
	}
	out := plannedEvening{DoneS: sch.Done.Seconds(), Done: clock(sch.Done), Soonest: sch.Best, BoundS: sch.Bound.Seconds()}
	for _, p := range sch.Puts {
		s := plannedSheet{Sheet: p.Num}
		steps := stepsOf(p, jobs)
		for i, t := range p.Moves {
			mv := plannedMove{AtS: t.Seconds(), At: clock(t)}
			if i < len(steps) {
				mv.Into = steps[i].Tray
			}
			s.Moves = append(s.Moves, mv)
		}
		out.Sheets = append(out.Sheets, s)
	}
	return out
}
