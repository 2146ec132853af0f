package profiles

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/words"
)

// Ends says who ends a step.
type Ends string

// Who ends a step.
const (
	byUser  Ends = "user"  // the user confirms the move; the default
	byClock Ends = "clock" // the time is up, and that is that
)

// A Process is the way of a sheet through the trays.
type Process struct {
	Key         string      `toml:"process"`
	Name        string      `toml:"name"`
	Note        string      `toml:"note,omitempty,multiline"`
	Temperature Temperature `toml:"temperature,omitempty"` // may be left out: the written times, whatever the temperature
	Baths       []Bath      `toml:"bath"`
	Steps       []Step      `toml:"step"`
}

// Temperature is how development time follows the developer's temperature.
// Either Coefficient or Factors is given. Only develop steps follow it.
type Temperature struct {
	Reference Celsius `toml:"reference"` // what the written times are for
	Lowest    Celsius `toml:"lowest"`    // outside Lowest..Highest no time is given
	Highest   Celsius `toml:"highest"`
	// Coefficient is how many times faster the developer works 10 C warmer: at
	// temperature c the time is the written one x Coefficient^((Reference-c)/10).
	Coefficient float64 `toml:"coefficient,omitempty"`
	// Factors is a table in its place: what to multiply the written times by.
	// Between its rows the factor's logarithm is taken along a straight line.
	Factors []Warmth `toml:"table,omitempty"`
	Source  string   `toml:"source,omitempty"`
}

// A Warmth is a row of a temperature table.
type Warmth struct {
	At     Celsius `toml:"at"`
	Factor float64 `toml:"factor"`
}

// A Bath is what stands in a tray.
type Bath struct {
	Name     string   `toml:"name"`           // "developer", "fixer 1"
	What     string   `toml:"what,omitempty"` // "rapid fixer"
	Dilution Dilution `toml:"dilution,omitempty"`
	Volume   Volume   `toml:"volume,omitempty"`     // in the tray
	Capacity Capacity `toml:"capacity,omitempty"`   // 0: not stated
	Life     Duration `toml:"life,omitempty"`       // in the tray; 0: not stated
	Carry    Volume   `toml:"carry_over,omitempty"` // what one sheet takes along
	Silver   bool     `toml:"silver,omitempty"`     // a fixer: holds silver
	// Lengthen is the stated rule of exhaustion: the by-inspection window of a
	// developer is 1 + Lengthen x (share of capacity used) times as long.
	Lengthen float64 `toml:"lengthen,omitempty"`
	Source   string  `toml:"source,omitempty"`
}

// mix is the bath as made up now, under the identity the host gives it.
func (b Bath) mix(id string) session.Mix {
	return session.Mix{ID: id, Name: b.Name, What: b.What, Dilution: string(b.Dilution), ML: float64(b.Volume),
		PerLitre: float64(b.Capacity), Life: time.Duration(b.Life), CarryML: float64(b.Carry), Silver: b.Silver}
}

// A Step is one bath of the way. Target, or AtLeast and AtMost, may be given for
// all paper, or in FB and RC for each base.
type Step struct {
	Stage   session.Stage `toml:"stage"`
	Name    string        `toml:"name,omitempty"`
	Bath    string        `toml:"bath"`
	Times                 // of every base, unless FB or RC says otherwise
	FB      *Times        `toml:"fb,omitempty"`
	RC      *Times        `toml:"rc,omitempty"`
	Drain   Duration      `toml:"drain,omitempty"` // inside the step, its last seconds
	Agitate Agitation     `toml:"agitate,omitempty"`
	MayRest bool          `toml:"may_rest,omitempty"` // the rocking can be left while another sheet needs the hands
	Ends    Ends          `toml:"ends,omitempty"`
	Factor  float64       `toml:"factor,omitempty"` // develop: end at so many times the emergence
	Batch   bool          `toml:"batch,omitempty"`  // sheets share this water; a newcomer sets all clocks back
}

// Times is how long a step takes. It counts from the sheet's entry.
type Times struct {
	Target     Duration `toml:"target,omitempty"`
	AtLeast    Duration `toml:"at_least,omitempty"`
	AtMost     Duration `toml:"at_most,omitempty"`
	ShortAfter Duration `toml:"short_after,omitempty"` // wash: enough after a full hypo-clear
	Changes    int      `toml:"changes,omitempty"`     // wash: fill-and-dump, so many changes of water
}

func (t Times) window() (least, most time.Duration) {
	if t.AtLeast > 0 || t.AtMost > 0 {
		return time.Duration(t.AtLeast), time.Duration(t.AtMost)
	}
	return time.Duration(t.Target), time.Duration(t.Target)
}

func (s Step) times(base session.Base) Times {
	if base == session.FB && s.FB != nil {
		return *s.FB
	}
	if base == session.RC && s.RC != nil {
		return *s.RC
	}
	return s.Times
}

// Bath finds a bath of the process by its tray's name.
func (p Process) Bath(name string) (Bath, error) {
	var known []string
	for _, b := range p.Baths {
		if b.Name == name {
			return b, nil
		}
		known = append(known, b.Name)
	}
	return Bath{}, UnknownError(fmt.Sprintf("process %q has no bath %q%s", p.Key, name, suggest(name, known, "it has ")))
}

// For reports whether the process has times for this base, and if not, why.
func (p Process) For(base session.Base) error {
	for i, s := range p.Steps {
		if _, most := s.times(base).window(); most <= 0 {
			return fmt.Errorf("process %q is not for %s paper: its step %d (%s) has no time for it; choose another process, or add %s = {target = ...} to that step",
				p.Key, base, i+1, s.Stage, lower(base))
		}
	}
	return nil
}

func lower(b session.Base) string {
	if b == session.RC {
		return "rc"
	}
	return "fb"
}

// At is the process for a developer temperature in degrees Celsius and a base,
// times reckoned to the second. celsius 0 means not stated: the times are those
// of the reference temperature. Outside the stated range there is no honest
// time, and the error says the range.
func (p Process) At(celsius float64, base session.Base) (session.Process, error) {
	out := session.Process{Key: p.Key, Name: p.Name}
	if err := p.For(base); err != nil {
		return out, err
	}
	factor := 1.0
	if celsius != 0 {
		var err error
		if factor, err = p.timeFactor(celsius); err != nil {
			return out, err
		}
	}
	for _, s := range p.Steps {
		t := s.times(base)
		least, most := t.window()
		if s.Stage == session.Develop {
			least, most = scale(least, factor), scale(most, factor)
		}
		out.Steps = append(out.Steps, session.Step{Stage: s.Stage, Name: s.Name, Bath: s.Bath, AtLeast: least, AtMost: most,
			Drain: min(time.Duration(s.Drain), least), Agitation: session.Agitation(s.Agitate), MayRest: s.MayRest, ByClock: s.Ends == byClock,
			Factor: s.Factor, Batch: s.Batch, ShortAfter: time.Duration(t.ShortAfter), Changes: t.Changes})
	}
	return out, nil
}

// scale keeps times unscaled exact and rounds the others to the second, which
// is as fine as a hand can be.
func scale(d time.Duration, f float64) time.Duration {
	if f == 1 {
		return d
	}
	return max(1, time.Duration(math.Round(d.Seconds()*f))) * time.Second
}

// timeFactor is what development times are multiplied by at a temperature in
// degrees Celsius: 1 at the reference. Outside the process's range it declines.
func (p Process) timeFactor(celsius float64) (float64, error) {
	t := p.Temperature
	if t.Highest == 0 {
		return 0, fmt.Errorf("process %q does not say how its development follows the temperature: leave the temperature out for the written times, or add a [temperature] to the process", p.Key)
	}
	if !(celsius >= float64(t.Lowest) && celsius <= float64(t.Highest)) {
		return 0, fmt.Errorf("%s C is outside the range of process %q, %s to %s, and its development times are not known there: bring the developer into the range (it is at its best at %s)",
			words.Exact(celsius), p.Key, t.Lowest, t.Highest, t.Reference)
	}
	if len(t.Factors) == 0 {
		return math.Pow(t.Coefficient, (float64(t.Reference)-celsius)/10), nil
	}
	for i := 1; i < len(t.Factors); i++ {
		a, b := t.Factors[i-1], t.Factors[i]
		if celsius <= float64(b.At) {
			share := (celsius - float64(a.At)) / float64(b.At-a.At)
			return a.Factor * math.Pow(b.Factor/a.Factor, share), nil
		}
	}
	return t.Factors[len(t.Factors)-1].Factor, nil
}

// exhausted lengthens the by-inspection windows of steps in the named bath for
// the share of its capacity that is used, by the bath's stated rule. A share
// above 1 counts as 1: a spent bath is to be replaced and not waited for. rule
// says in words what was done; it is empty when nothing was.
func (p Process) exhausted(sp session.Process, bath string, share float64) (out session.Process, rule string) {
	out = sp
	b, err := p.Bath(bath)
	if err != nil || !(b.Lengthen > 0) || !(share > 0) {
		return out, ""
	}
	f := 1 + b.Lengthen*min(share, 1)
	out.Steps = append([]session.Step(nil), sp.Steps...)
	for i, s := range out.Steps {
		if s.Stage == session.Develop && s.Bath == bath && s.ByInspection() {
			out.Steps[i].AtLeast, out.Steps[i].AtMost = scale(s.AtLeast, f), scale(s.AtMost, f)
			rule = fmt.Sprintf("%s %s used: %s longer", bath, words.Percent(min(share, 1)), words.Percent(f-1))
		}
	}
	return out, rule
}

func (p *Process) validate(d *document) {
	p.Temperature.validate(d)
	for _, list := range []struct {
		name string
		n    int
	}{{"bath", len(p.Baths)}, {"step", len(p.Steps)}} {
		if list.n > maxSteps {
			d.fault([]string{list.name, fmt.Sprint(maxSteps)}, "more than %d [[%s]]: take some out", maxSteps, list.name)
			return
		}
	}
	baths := map[string]bool{}
	if d.requireTables("bath", "tray") {
		for i, b := range p.Baths {
			b.validate(d, i, baths)
		}
	}
	if !d.requireTables("step", "bath the sheet goes into, in order") {
		return
	}
	cleared := false
	for i, s := range p.Steps {
		s.validate(d, i, baths, cleared)
		cleared = cleared || s.Stage == session.Clear
	}
	if len(d.problems) == 0 {
		p.validateWhole(d)
	}
}

// validateWhole asks the session machine itself, so that what loads also runs.
func (p *Process) validateWhole(d *document) {
	fits := false
	for _, base := range []session.Base{session.FB, session.RC} {
		for _, c := range []Celsius{0, p.Temperature.Lowest, p.Temperature.Highest} {
			sp, err := p.At(float64(c), base)
			if err != nil {
				continue
			}
			fits = true
			at := "" // said of the written times, which need no temperature
			if c != 0 {
				at = " at " + c.String()
			}
			for i, s := range sp.Steps {
				if err := s.Check(); err != nil {
					d.fault([]string{"step", fmt.Sprint(i)}, "step %d%s: %s", i+1, at, err)
				}
			}
		}
	}
	if !fits {
		at := 0
		for i, s := range p.Steps {
			if _, most := s.times(session.RC).window(); most <= 0 {
				at = i
				break
			}
		}
		d.fault([]string{"step", fmt.Sprint(at)}, "some steps have times for FB alone and some for RC alone, so that no paper can go all the way: give both, or one for all")
	}
}

// maxSteps is as many as a session takes.
const maxSteps = 50

func (t Temperature) validate(d *document) {
	const at = "temperature"
	if !d.has(at) {
		return // the written times are all there is
	}
	given := true
	for _, k := range []struct{ key, example string }{{"reference", `"20 C"`}, {"lowest", `"16 C"`}, {"highest", `"26 C"`}} {
		given = d.require(k.example, at, k.key) && given
	}
	if given && !(t.Lowest <= t.Reference && t.Reference <= t.Highest) {
		d.fault([]string{at, "reference"}, "reference (%s) does not lie between lowest (%s) and highest (%s)", t.Reference, t.Lowest, t.Highest)
		given = false
	}
	t.validateLaw(d, given)
}

// validateLaw looks at how time follows temperature. given: the range is sound.
func (t Temperature) validateLaw(d *document, given bool) {
	const at = "temperature"
	hasC, hasT := d.has(at, "coefficient"), d.has(at, "table")
	switch {
	case hasC && hasT:
		d.fault([]string{at, "table"}, "both coefficient and table say how time follows temperature: take one of them out")
	case hasC:
		d.refuse(t.Coefficient < 1 || t.Coefficient > 5, []string{at, "coefficient"}, "coefficient = %s: developers work between 1 and 5 times faster for 10 C warmer, near 2 most of them", words.Exact(t.Coefficient))
	case hasT && given && !d.anyBad([]string{at, "table"}):
		t.validateTable(d)
	case !hasT && d.has(at):
		d.require("2.0 (how many times faster the developer works 10 C warmer)", at, "coefficient")
	}
}

func (t Temperature) validateTable(d *document) {
	path := []string{"temperature", "table"}
	rows := t.Factors
	if len(rows) < 2 || rows[0].At > t.Lowest || rows[len(rows)-1].At < t.Highest {
		d.fault(path, "the table does not reach from lowest (%s) to highest (%s): add rows, or narrow the range", t.Lowest, t.Highest)
		return
	}
	for i, r := range rows {
		row := append(path[:2:2], fmt.Sprint(i))
		switch {
		case !(r.Factor >= 0.05) || r.Factor > 20:
			d.fault(row, "row %d: factor = %s; what the written time is multiplied by, like 1.25", i+1, words.Exact(r.Factor))
			return
		case i > 0 && (r.At <= rows[i-1].At || r.Factor > rows[i-1].Factor):
			d.fault(row, "row %d: put the temperatures in rising order; warmer never takes longer", i+1)
			return
		}
	}
	if f, err := (Process{Temperature: t}).timeFactor(float64(t.Reference)); err == nil && math.Abs(f-1) > 0.005 {
		d.fault(path, "at the reference (%s) the table gives %.2f; it must be 1, as the written times are for that temperature", t.Reference, f)
	}
}

func (b Bath) validate(d *document, i int, seen map[string]bool) {
	at := func(k string) []string { return []string{"bath", fmt.Sprint(i), k} }
	if d.require(`"developer"`, at("name")...) {
		if b.Name == "" {
			d.fault(at("name"), `a bath without a name: write one like "developer"`)
		}
		if seen[b.Name] {
			d.fault(at("name"), "there are two baths %q: give each tray its own name", b.Name)
		}
		seen[b.Name] = true
	}
	if b.Capacity > 0 && !d.has(at("volume")...) {
		d.fault(at("capacity"), `a capacity a litre, but no volume: add volume = "500 ml"`)
	}
	d.refuse(b.Volume <= 0, at("volume"), `an empty tray: write what is in it, like "500 ml"`)
	d.refuse(d.ok(at("volume")...) && b.Carry >= b.Volume, at("carry_over"), "one sheet carries over (%s) all there is in the tray (%s): look at the units", b.Carry, b.Volume)
	d.refuse(b.Lengthen > 3, at("lengthen"), "lengthen = %s: the share by which a spent developer lengthens the window, like 0.3", words.Exact(b.Lengthen))
}

func (s Step) validate(d *document, i int, baths map[string]bool, cleared bool) {
	at := func(k ...string) []string { return append([]string{"step", fmt.Sprint(i)}, k...) }
	staged := d.require(`"develop"`, at("stage")...)
	if d.require(`the name of a [[bath]], like "developer"`, at("bath")...) && !baths[s.Bath] && d.has("bath") {
		d.fault(at("bath"), "no [[bath]] is called %q%s", s.Bath, suggest(s.Bath, keys(baths), "there are "))
	}
	own, apart := d.hasAny(at(), "target", "at_least", "at_most"), s.FB != nil || s.RC != nil
	if !own && !apart && !d.anyBad(at("fb")) && !d.anyBad(at("rc")) {
		d.fault(at(), `step %d has no time: add target = "1m", or at_least and at_most`, i+1)
	}
	// Where fb and rc have the times, what stands beside them is nobody's.
	lost := apart && !own && s.Stage == session.Wash
	for _, like := range []string{`short_after = "10m"`, "changes = 6"} {
		k, _, _ := strings.Cut(like, " ")
		d.refuse(lost, at(k), "%s stands outside fb and rc, where the times are, and would not be heeded: write it into them, like fb = {target = \"30m\", %s}", k, like)
	}
	if own {
		s.Times.validate(d, at(), s, staged, cleared)
	}
	for i, t := range []*Times{s.FB, s.RC} {
		if t != nil {
			t.validate(d, at([]string{"fb", "rc"}[i]), s, staged, cleared)
		}
	}
	if staged {
		s.validateStage(d, at)
	}
}

func (s Step) validateStage(d *document, at func(...string) []string) {
	if s.Factor > 0 {
		least, most := s.window()
		switch {
		case s.Stage != session.Develop:
			d.fault(at("factor"), "factor is for develop steps: the end by the time of emergence; take it out of %s", s.Stage)
		case least >= most:
			d.fault(at("factor"), "the factor method ends inside a window: give at_least and at_most")
		}
	}
	if s.MayRest && s.Agitate == (Agitation{}) && !d.bad[pathKey(at("agitate"))] {
		d.fault(at("may_rest"), `may_rest, but nothing is rocked here: say how, like agitate = "5s every 30s", or take it out`)
	}
	if s.Batch && s.Stage != session.Wash {
		d.fault(at("batch"), "batch is for wash steps, where sheets share the water: take it out of %s", s.Stage)
	}
	for _, path := range [][]string{at(), at("fb"), at("rc")} {
		for _, k := range []string{"short_after", "changes"} {
			d.refuse(s.Stage != session.Wash, append(path[:len(path):len(path)], k), "%s is for wash steps: take it out of %s", k, s.Stage)
		}
	}
}

func (d *document) hasAny(path []string, names ...string) bool {
	return slices.ContainsFunc(names, func(k string) bool { return d.has(append(slices.Clip(path), k)...) })
}

func (t Times) validate(d *document, path []string, s Step, staged, cleared bool) {
	at := func(k string) []string { return append(path[:len(path):len(path)], k) }
	if !t.validateForm(d, path, at) {
		return
	}
	if slices.ContainsFunc([]string{"target", "at_least", "at_most"}, func(k string) bool { return d.bad[pathKey(at(k))] }) {
		return
	}
	low, high := t.window()
	switch {
	case low > 0 && high > 0:
	case d.has(at("at_least")...):
		d.fault(at("at_least"), `at_least is nothing: write a time like "1m30s"`)
		return
	default:
		d.fault(at("target"), `target is nothing: write a time like "1m30s"`)
		return
	}
	if low > high {
		d.fault(at("at_least"), "at_least (%s) is above at_most (%s): the shorter time comes first", t.AtLeast, t.AtMost)
		return
	}
	step := func(k string) []string { return []string{path[0], path[1], k} }
	d.refuse(time.Duration(s.Drain) >= low, step("drain"), "drain (%s) takes up the whole step (%s): it is its last seconds, not time on top", s.Drain, Duration(low))
	if low < high && s.Ends == byClock {
		d.fault(step("ends"), `a window is ended by the user's eye, not the clock: write ends = "user", or give a target`)
	}
	if staged && s.Stage == session.Wash {
		t.validateShort(d, at("short_after"), low, cleared)
	}
	d.refuse(t.Changes < 1 || t.Changes > 100, at("changes"), "changes = %d: write how often the water is changed, 1 to 100", t.Changes)
}

// validateForm reports whether there is either a target or a window.
func (t Times) validateForm(d *document, path []string, at func(string) []string) bool {
	target, least, most := d.has(at("target")...), d.has(at("at_least")...), d.has(at("at_most")...)
	switch {
	case target && least:
		d.fault(at("at_least"), "both target and at_least: a step has either a target or a window of at_least and at_most")
	case target && most:
		d.fault(at("at_most"), "both target and at_most: a step has either a target or a window of at_least and at_most")
	case least && !most:
		d.fault(at("at_least"), `at_least without at_most: add at_most = "3m", or call it target`)
	case most && !least:
		d.fault(at("at_most"), `at_most without at_least: add at_least = "1m30s", or call it target`)
	case d.meant[pathKey(at("target"))], d.meant[pathKey(at("at_least"))]: // that was told
	case !target && !least:
		d.fault(path, `no time here: add target = "1m", or at_least and at_most`)
	default:
		return true
	}
	return false
}

// validateShort looks at the wash after hypo-clear; low is the one without.
func (t Times) validateShort(d *document, path []string, low time.Duration, cleared bool) {
	d.refuse(time.Duration(t.ShortAfter) > low, path, "short_after (%s) is longer than the wash without hypo-clear (%s)", t.ShortAfter, Duration(low))
	d.refuse(t.ShortAfter <= 0, path, `short_after is nothing: write a time like "10m", or take it out`)
	d.refuse(!cleared, path, `short_after, but no step with stage = "hypo-clear" stands before: add one, or take it out`)
}
