package profiles

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/words"
)

// UnknownPaper is the key of the paper of a sheet that was only timed.
const UnknownPaper = "unknown"

// Timer makes a sheet of which nothing is known but its times: the key of a
// process, or stages with their times, "develop 2m, stop 10s, fix 1m, wash 30m".
// It has no paper, no camera and no light, so it teaches nothing. The error says
// what to write.
func (p *Planner) Timer(text string) (session.SheetSpec, error) {
	spec := session.SheetSpec{Paper: session.Paper{Key: UnknownPaper, Name: "not known"}, Rehearsal: p.Rehearsal}
	text = strings.TrimSpace(text)
	if text == "" {
		return spec, errors.New("say what is to be timed: " + timerWants)
	}
	if !strings.ContainsAny(text, " ,") {
		proc, err := p.Set.Process(text)
		if err != nil {
			return spec, err
		}
		for _, base := range []session.Base{session.FB, session.RC} {
			if spec.Process, err = proc.At(0, base); err == nil {
				return spec, nil
			}
		}
		return spec, err
	}
	spec.Process = session.Process{Key: "timer", Name: text}
	for part := range strings.SplitSeq(text, ",") {
		st, err := timed(strings.TrimSpace(part))
		if err != nil {
			return spec, err
		}
		spec.Process.Steps = append(spec.Process.Steps, st)
	}
	return spec, nil
}

// ToldSteps reads how long a sheet was in the baths of a process, "develop 2m, fix
// 2m", in its order. What is not said is 0.
func ToldSteps(text string, p session.Process) ([]time.Duration, error) {
	out := make([]time.Duration, len(p.Steps))
	next := 0
	for part := range strings.SplitSeq(text, ",") {
		st, err := timed(strings.TrimSpace(part))
		if err != nil {
			return nil, err
		}
		i := slices.IndexFunc(p.Steps[next:], func(s session.Step) bool { return s.Stage == st.Stage })
		if i < 0 {
			return nil, fmt.Errorf("%s has no %s there: its steps are %s", p.Name, st.Stage, stepsOf(p))
		}
		out[next+i] = st.AtMost
		next += i + 1
	}
	return out, nil
}

func stepsOf(p session.Process) string {
	names := words.Each(p.Steps, func(s session.Step) string { return string(s.Stage) })
	return words.List(names)
}

// timerTrays are what the trays are called.
var timerTrays = map[session.Stage]string{session.Develop: "developer", session.Stop: "stop bath", session.Fix: "fixer", session.Fix2: "second fixer",
	session.Rinse: "rinse", session.Clear: "hypo-clear", session.Wash: "wash"}

const timerWants = `a process, or times like "develop 2m, stop 10s, fix 1m, wash 30m"`

// timed reads one step: the longest stage's name that the text begins with, and
// its time.
func timed(text string) (session.Step, error) {
	stages := slices.DeleteFunc(slices.Clone(session.Stages), func(s session.Stage) bool { return !s.Step() })
	slices.SortFunc(stages, func(a, b session.Stage) int { return len(b) - len(a) })
	for _, s := range stages {
		n := len(s)
		if len(text) < n || !strings.EqualFold(text[:n], string(s)) {
			continue
		}
		rest := strings.TrimLeft(text[n:], " :\t")
		if len(rest) == len(text[n:]) && rest != "" {
			continue
		}
		d, err := ParseDuration(rest)
		if err != nil {
			return session.Step{}, fmt.Errorf("%s: %w", s, err)
		}
		st := session.Step{Stage: s, Bath: timerTrays[s], AtLeast: d, AtMost: d}
		if err := st.Check(); err != nil {
			return st, fmt.Errorf("%s: %w", s, err)
		}
		return st, nil
	}
	return session.Step{}, fmt.Errorf("%q is no step: begin it with one of %s, and write its time behind it", text, strings.Join(steps(), ", "))
}
