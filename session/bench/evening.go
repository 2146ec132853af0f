package bench

import (
	"slices"
	"time"

	"wetside/session"
)

// many is more sheets than a tray of water is ever given here.
const many = 40

// ShopFor is the shop of whoever works these processes alone: one sheet in each
// small tray, as many as come in a wash or in holding water.
func ShopFor(move time.Duration, processes ...session.Process) Shop {
	s := Shop{Trays: map[string]int{holdingTray: many}, Move: move, InOrder: true}
	for _, p := range processes {
		for _, st := range p.Steps {
			if st.Batch || st.Stage == session.Wash {
				s.Trays[trayOf(st)] = many
			}
		}
	}
	return s
}

// Evening says how the evening goes for all that is in the trays and all that
// waits (the exposed sheets, first in, first out, and after them those that need
// no exposure) if each goes in as soon as it may, as it is called. [Plan] may
// find a way that is done sooner; this one is found at once, and stays what it
// is as long as the calls are followed.
func Evening(m *session.Machine, shop Shop, now time.Duration) Schedule {
	running, queue := FromMachine(m, now)
	for _, s := range m.Sheets() {
		if s.Phase == session.Fresh && s.Spec.Camera == "" && s.Spec.Exposure <= 0 {
			queue = append(queue, JobOf(s))
		}
	}
	sch, _ := follow(shop, running, queue, now)
	return sch
}

// follow is the schedule in which the sheets go in one after another, each as
// soon as it may. clean reports whether no two of them meet: with many in water
// at once, the search for a way on can give up.
func follow(shop Shop, running []Running, queue []Job, now time.Duration) (sch Schedule, clean bool) {
	running = slices.Clone(running)
	n, last := len(running), now
	for _, job := range queue {
		p, x := earliest(shop, running, job, now, last)
		last = p.time(x[p.first(len(running))])
		running = append(running, Running{Job: job, Since: last})
	}
	p := newProblem(shop, running, nil, now)
	x, _ := p.solve(-1)
	sch = p.schedule(x, false)
	sch.Puts, sch.Running = sch.Running[n:], sch.Running[:n]
	for i := range sch.Puts {
		put := &sch.Puts[i]
		put.Moves = slices.Insert(put.Moves, 0, running[n+i].Since)
		sch.Done = max(sch.Done, put.End())
	}
	return sch, !p.jammed
}
