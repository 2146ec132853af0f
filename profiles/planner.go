package profiles

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/words"
)

// A Form is what somebody asks of a sheet: keys of profiles, and what was typed.
type Form struct {
	Paper, Process, Camera string // keys
	Celsius                string
	Name, Maker            string
	// Light is "EV 13" or "overcast"; a time, "4m"; or both, "overcast 4m": then
	// the time is the user's, and the light is what it can teach by.
	Light string
	// With is what else there is, as typed: "filter 1, pre-flash 1/2, warm light
	// 1/3, subject 1m". Own is the same as facts; what With says goes before it.
	With string
	Own  Own
}

// Own is what belongs to one picture: stops of its filter, its warm light and its
// pre-flash, and how far before the hole the subject is, in mm; 0: none, far.
type Own struct {
	Filter, Warm, Preflash, Subject float64
	// Strips and Step make it a test sheet: so many strips, so many stops apart; 0: a
	// picture.
	Strips, Step float64
}

// OwnOf is what a sheet was reckoned with.
func OwnOf(r *session.Reckoned) (o Own) {
	if r != nil {
		o = Own{Filter: r.Filter, Warm: r.Warm, Preflash: r.Preflash, Subject: r.Subject}
		if t := r.Test; t != nil {
			o.Strips, o.Step = float64(t.Strips), t.Step
		}
	}
	return o
}

// Words is what [Own.ParseOwn] reads; empty when there is nothing.
func (o Own) Words() string {
	var out []string
	for _, x := range []struct {
		word string
		v    float64
	}{{"filter", o.Filter}, {"warm light", o.Warm}, {"pre-flash", o.Preflash}} {
		if x.v > 0 {
			out = append(out, x.word+" "+words.Sig(x.v, 4))
		}
	}
	if o.Subject > 0 {
		out = append(out, "subject "+words.Sig(o.Subject, 6)+" mm")
	}
	if o.Strips > 0 {
		out = append(out, fmt.Sprintf("test %g by %s", o.Strips, words.Sig(o.Step, 4)))
	}
	return strings.Join(out, ", ")
}

// A test of five strips a stop apart spans what a first sheet may be out by: two stops
// either way.
const testStrips, testStep = 5, 1

// parseTest reads "test" and "test 7 by 1/2".
func (o *Own) parseTest(text string) error {
	o.Strips, o.Step = testStrips, testStep
	if text = strings.TrimSpace(text); text == "" {
		return nil
	}
	n, step, _ := strings.Cut(text, " by ")
	v, ok := words.ReadDecimal(strings.TrimSpace(n))
	if !ok || v < 2 || v > 9 || v != math.Trunc(v) {
		return fmt.Errorf("%q is no test sheet: write test, or test 7 by 1/2, with 2 to 9 strips", words.Clip("test "+text))
	}
	o.Strips = v
	if step != "" {
		s, err := exposure.ParseStops(step)
		if err != nil {
			return err
		}
		o.Step = s
	}
	return nil
}

// ParseOwn reads "filter 1, pre-flash 1/2, warm light 1/3, subject 1m, test 5 by 1"
// into o.
func (o Own) ParseOwn(text string) (Own, error) {
	for part := range strings.SplitSeq(text, ",") {
		part = strings.ToLower(strings.Join(strings.Fields(part), " "))
		var err error
		if rest, ok := strings.CutPrefix(part, "test"); ok && (rest == "" || rest[0] == ' ') {
			err = o.parseTest(rest)
		} else if part != "" {
			err = o.parsePart(part)
		}
		if err != nil {
			return o, err
		}
	}
	return o, nil
}

// parsePart reads one of them that is no test.
func (o *Own) parsePart(part string) error {
	for _, w := range []struct {
		word string
		to   *float64
	}{{"filter", &o.Filter}, {"warm light", &o.Warm}, {"warm", &o.Warm}, {"pre-flash", &o.Preflash}, {"preflash", &o.Preflash}, {"flash", &o.Preflash}, {"subject", &o.Subject}} {
		rest, ok := strings.CutPrefix(part, w.word+" ")
		if !ok {
			continue
		}
		var v float64
		var err error
		if w.to == &o.Subject {
			v, err = exposure.ParseLength(strings.TrimPrefix(rest, "at "))
		} else if v, err = exposure.ParseStops(rest); err == nil && v < 0 {
			err = fmt.Errorf("%s is a number of stops, not below 0", part)
		}
		if err == nil {
			*w.to = v
		}
		return err
	}
	return fmt.Errorf("%q is not clear: write filter 1, pre-flash 1/2, warm light 1/3, subject 1m or test, with commas between", words.Clip(part))
}

// A Reckoned form is the sheet's spec, and its exposure if the light was given.
type Reckoned struct {
	Spec     session.SheetSpec
	Exposure time.Duration // 0: no light was given
	ByHand   bool          // a time was given, and no light
	Sentence string        // what the user is told
	Working  []string      // the sum behind it
	Notes    []string      // what else the user should know, a sentence each
}

// Since is the spec of a sheet that had its light as was says, and is now said to
// be what the form says: another name, camera, paper or process.
func (r Reckoned) Since(was session.SheetSpec) session.SheetSpec {
	is := r.Spec
	is.Light, is.Exposure, is.Working = was.Light, was.Exposure, was.Working
	is.Base, is.Learned, is.Reckoned = was.Base, was.Learned, was.Reckoned
	if is.Camera == was.Camera && is.Paper.Key == was.Paper.Key || was.Reckoned == nil {
		return is
	}
	reckonedFor(&is, r.Spec.Reckoned)
	return is
}

// Correct puts right one of a sheet's words: its "name", its "photographer", its
// "camera" or its "paper", the latter two by their profile's key.
func (p *Planner) Correct(spec *session.SheetSpec, what, is string) error {
	switch what {
	case "name":
		spec.Name = is
		return nil
	case "photographer":
		spec.Maker = is
		return nil
	case "camera":
		if _, err := p.Set.Camera(is); err != nil {
			return err
		}
		spec.Camera = is
	case "paper":
		paper, err := p.Set.Paper(is)
		if err != nil {
			return err
		}
		spec.Paper = paper.Session()
	default:
		return fmt.Errorf("%q is nothing that can be put right: begin with name, photographer, camera or paper", words.Clip(what))
	}
	if spec.Reckoned != nil {
		a, hole, box, _ := p.Set.Today(spec.Camera, spec.Paper.Key)
		reckonedFor(spec, &session.Reckoned{Hole: hole, Box: box, FNumber: a.FNumber, ISO: a.ISO, Law: a.Reciprocity.String()})
	}
	return nil
}

// reckonedFor makes a sheet's exposure one of another camera or paper: the light
// that was read stays, and what was reckoned from it was wrong.
func reckonedFor(spec *session.SheetSpec, is *session.Reckoned) {
	x := *spec.Reckoned
	x.Hole, x.Box, x.FNumber, x.ISO, x.Law = 0, 0, 0, 0, ""
	if is != nil {
		x.Hole, x.Box, x.FNumber, x.ISO, x.Law = is.Hole, is.Box, is.FNumber, is.ISO, is.Law
	}
	spec.Base, spec.Learned, spec.Reckoned = 0, 0, &x
}

// A Planner makes forms good: profiles, light and judged sheets in, a sheet's
// spec and its exposure out.
type Planner struct {
	Set    *Set
	Judged func() []exposure.Judged // from the notebook; nil: none
	// Used is the share of its capacity that a tray's bath has given; nil: not known.
	Used func(tray string) float64
	// Stale says why a paper's fog test stands no longer; empty while it does.
	Stale func(Paper) string
	// Write puts a file into the user's own profiles, which it returns.
	Write func(name string, data []byte) (fs.FS, error)
	// Rehearsal marks every sheet as blank.
	Rehearsal bool
	// Now is the day of a reading; nil: each light is a reading of its own.
	Now func() time.Time

	model *exposure.Model
}

// Forget has the judged sheets read anew.
func (p *Planner) Forget() { p.model = nil }

// Model is what the judged sheets say.
func (p *Planner) Model() (exposure.Model, error) {
	if p.model == nil {
		var sheets []exposure.Judged
		if p.Judged != nil {
			sheets = p.Judged()
		}
		m, err := exposure.Learn(sheets)
		if err != nil {
			return m, err
		}
		p.model = &m
	}
	return *p.model, nil
}

// Subject is an exposure of a camera and a paper in that light, now.
func (p *Planner) Subject(camera, paper string, light exposure.Light) exposure.Subject {
	_, hole, box, _ := p.Set.Today(camera, paper)
	s := exposure.Subject{Camera: camera, Hole: hole, Paper: paper, Box: box, Doubt: light.PlusMinus}
	if p.Now != nil {
		s.At = p.Now()
		if light.As != "" {
			s.Reading = exposure.Reading(s.At, light.As)
		}
	}
	return s
}

// Today is how an exposure of a camera and a paper is reckoned, but for its
// light: [exposure.Ask] and which hole and box it is. A profile that is not there
// leaves its part empty.
func (s *Set) Today(camera, paper string) (a exposure.Ask, hole, box int, ok bool) {
	cam, err := s.Camera(camera)
	if err == nil {
		a.FNumber, hole = cam.FNumber(), cam.HoleNo()
	}
	pap, err2 := s.Paper(paper)
	if err2 == nil {
		a.ISO, a.Reciprocity, box = pap.ISO, pap.Reciprocity.Law(), pap.BoxNo()
	}
	return a, hole, box, err == nil && err2 == nil
}

// Plan makes a form good, or says in one sentence what is wrong with it.
func (p *Planner) Plan(f Form) (Reckoned, error) {
	paper, err := p.Set.Paper(f.Paper)
	if err != nil {
		return Reckoned{}, err
	}
	proc, err := p.Set.Process(f.Process)
	if err != nil {
		return Reckoned{}, err
	}
	celsius, err := proc.celsius(f.Celsius)
	if err != nil {
		return Reckoned{}, err
	}
	sp, err := proc.At(float64(celsius), paper.Base)
	if err != nil {
		return Reckoned{}, err
	}
	plan := Reckoned{Spec: session.SheetSpec{Name: f.Name, Maker: f.Maker, Camera: f.Camera, Paper: paper.Session(), Process: sp,
		Celsius: float64(celsius), Rehearsal: p.Rehearsal}}
	p.atHand(&plan, proc, paper)
	own, err := f.Own.ParseOwn(f.With)
	if err != nil {
		return plan, err
	}
	if f.Light == "" {
		if own != (Own{}) { // for the light that is still to come
			plan.Spec.Reckoned = &session.Reckoned{}
			own.into(plan.Spec.Reckoned)
		}
		return plan, nil
	}
	if err := p.expose(&plan, f, own, paper); err != nil {
		return Reckoned{}, err
	}
	if err := plan.strips(own, paper.Reciprocity.Law()); err != nil {
		return Reckoned{}, err
	}
	plan.Spec.Light, plan.Spec.Exposure = f.Light, plan.Exposure
	if r := plan.Spec.Reckoned; r != nil && f.Camera != "" {
		a, hole, box, _ := p.Set.Today(f.Camera, f.Paper)
		r.Hole, r.Box, r.FNumber, r.ISO, r.Law = hole, box, a.FNumber, a.ISO, a.Reciprocity.String()
	}
	plan.Spec.Working = strings.Join(plan.Working, "\n")
	return plan, nil
}

// celsius reads the developer's temperature; 0 is "not stated" from there on.
func (p Process) celsius(text string) (c Celsius, err error) {
	if text == "" {
		return 0, nil
	}
	if strings.Trim(text, "0123456789.,-") == "" {
		text += " C"
	}
	if err := c.UnmarshalText([]byte(text)); err != nil || c != 0 {
		return c, err
	}
	if _, err := p.timeFactor(0); err != nil {
		return 0, err
	}
	return 0, errors.New("at 0 C a developer is ice: write its temperature, like 20 C")
}

// atHand heeds how far the baths in the trays are used, and how old the fog test is.
func (p *Planner) atHand(plan *Reckoned, proc Process, paper Paper) {
	if p.Used != nil {
		for _, b := range proc.Baths {
			lengthened, rule := proc.exhausted(plan.Spec.Process, b.Name, p.Used(b.Name))
			if rule != "" {
				plan.Spec.Process = lengthened
				plan.Notes = append(plan.Notes, rule)
			}
		}
	}
	if p.Stale != nil && paper.Safelight.IsTested() {
		if stale := p.Stale(paper); stale != "" {
			plan.Notes = append(plan.Notes, stale)
		}
	}
}

// into puts it where a sheet keeps it.
func (o Own) into(x *session.Reckoned) {
	x.Filter, x.Warm, x.Preflash, x.Subject = o.Filter, o.Warm, o.Preflash, o.Subject
	if o.Strips > 0 {
		x.Test = &session.Test{Strips: int(o.Strips), Step: o.Step}
	}
}

// strips makes the exposure that of a test sheet: what is reckoned is its middle strip's,
// and what was given by hand is the whole.
func (r *Reckoned) strips(o Own, law exposure.Reciprocity) error {
	if o.Strips == 0 {
		return nil
	}
	n, middle := int(o.Strips), r.Exposure.Seconds()
	if r.ByHand {
		m := law.Metered(middle)
		middle, _ = law.Correct(m * math.Exp2(-o.Step*float64(n-1-n/2)))
	}
	strips, err := exposure.TestSheet(middle, o.Step, n, law)
	if err != nil {
		return err
	}
	whole := strips[n-1].Total
	t := *r.Spec.Reckoned.Test
	t.Shares = words.Each(strips, func(s exposure.Patch) float64 { return s.Total / whole })
	r.Spec.Reckoned.Test = &t
	if !r.ByHand {
		r.Exposure = time.Duration(whole * float64(time.Second))
	}
	r.Sentence += " As a test sheet: " + StripsText(strips)
	r.Working = append(r.Working, "a test sheet: "+StripsText(strips))
	return nil
}

// StripsText says how a test sheet is exposed.
func StripsText(strips []exposure.Patch) string {
	open := words.Each(strips, func(s exposure.Patch) string { return words.Long(s.Add) })
	return "open for " + strings.Join(open, ", then ") + "; each time cover the pinhole, and in the dark draw the card over one more strip."
}

func (p *Planner) expose(plan *Reckoned, f Form, own Own, paper Paper) error {
	typed, hand, timed, err := lightAndTime(f.Light)
	if err != nil {
		return err
	}
	var lit exposure.Light
	x := &session.Reckoned{}
	plan.Spec.Reckoned = x
	if typed != "" {
		if lit, err = exposure.ParseLight(typed); err != nil {
			return err
		}
		x.Lit = Lit(lit)
	}
	own.into(x)
	if timed {
		plan.Exposure, plan.ByHand = hand, true
		plan.Sentence = "Expose for " + words.Long(hand.Seconds()) + ", as you said."
		plan.Working = []string{"time given by hand: " + f.Light}
		return nil
	}
	if f.Camera == "" {
		return errors.New("a light gives a time only behind a pinhole: choose the camera, or write the time itself, like 4m")
	}
	cam, err := p.Set.Camera(f.Camera)
	if err != nil {
		return err
	}
	ask, _, _, _ := p.Set.Today(f.Camera, paper.Key)
	ask.Light, ask.Filter, ask.Warm, ask.Preflash = lit, own.Filter, own.Warm, own.Preflash
	r, c, err := p.Reckon(ask, f.Camera, f.Paper)
	if err != nil {
		return err
	}
	plan.Notes = append(append(plan.Notes, r.Notes...), cam.near(own.Subject)...)
	if c != nil && c.Advice() != "" {
		plan.Notes = append(plan.Notes, c.Advice())
	}
	plan.Notes = append(plan.Notes, p.Edited(f.Camera, f.Paper)...)
	plan.Exposure = time.Duration(r.Rounded * float64(time.Second))
	plan.Sentence = r.Sentence()
	plan.Working = r.Working()
	plan.Spec.Base = time.Duration(r.Base * float64(time.Second))
	// The time is rounded to what a person can do, and that too was given. In
	// stops of light: twice the time is less, where reciprocity fails.
	given := ask.Reciprocity.Metered(r.Rounded)
	base := ask.Reciprocity.Metered(r.Base)
	plan.Spec.Learned = math.Log2(given / base)
	return nil
}

// near says which hole is the sharpest for a subject so many mm away; 0: it is far.
func (c Camera) near(subject float64) []string {
	best, err := exposure.BestDiameter(exposure.Rayleigh, c.FocalMM(), subject, exposure.PaperWavelength)
	if subject <= 0 || err != nil {
		return nil
	}
	return []string{fmt.Sprintf("for a subject at %s mm the sharpest hole is %s mm (Rayleigh), and this one has %s; the time is the same",
		words.Num(subject), words.Decimals(best, 2), c.Pinhole)}
}

// Respec is the spec of a sheet with what was planned of it since from another
// light, as typed. All else of it stays.
func Respec(spec session.SheetSpec, light string, plan Reckoned) session.SheetSpec {
	spec.Light, spec.Exposure, spec.Working = light, plan.Exposure, strings.Join(plan.Working, "\n")
	spec.Base, spec.Learned, spec.Reckoned = plan.Spec.Base, plan.Spec.Learned, plan.Spec.Reckoned
	return spec
}

// Refit is the form of a sheet in another light, as typed.
func Refit(spec session.SheetSpec, light string) Form {
	return Form{Paper: spec.Paper.Key, Process: spec.Process.Key, Camera: spec.Camera, Light: light, Own: OwnOf(spec.Reckoned)}
}

// Told reads "14:10 5m" or "yesterday 14:10 overcast 5m": when a pinhole was opened,
// and the light with the time that it was open. What light is not said in it is
// the one given.
func Told(text, light string, now time.Time) (from time.Time, as string, err error) {
	from, dated, rest, err := When(text, now)
	if err != nil {
		return from, "", err
	}
	if from.After(now) {
		if dated {
			return from, "", fmt.Errorf("%s has not come yet", from.Format("2006-01-02 15:04"))
		}
		return from, "", fmt.Errorf("%s has not come yet: write yesterday before it, or the day", from.Format("15:04"))
	}
	typed, d, timed, err := lightAndTime(rest)
	if err != nil || !timed {
		return from, "", errors.New("write when it was opened, and for how long: 14:10 5m")
	}
	if typed == "" {
		if typed, _, _, err = lightAndTime(light); err != nil {
			typed = ""
		}
	}
	return from, strings.TrimSpace(typed + " " + words.Units(d)), nil
}

// lightAndTime parts "overcast 5m" into the light and the time that was given by
// hand; either may be missing.
func lightAndTime(text string) (light string, d time.Duration, timed bool, err error) {
	text = strings.TrimSpace(text)
	tooLittle := errors.New("an exposure takes more than nothing: write a time like 4m, or the light")
	if d, err := ParseDuration(text); err == nil {
		if d <= 0 {
			return "", 0, false, tooLittle
		}
		return "", d, true, nil
	}
	if _, err := exposure.ParseLight(text); err == nil {
		return text, 0, false, nil
	}
	// The longest time at the end that leaves a light before it.
	for i := 0; i < len(text); i++ {
		if text[i] != ' ' && text[i] != ',' {
			continue
		}
		rest := strings.TrimLeft(text[i:], " ,")
		d, err := ParseDuration(rest)
		if err != nil || strings.Trim(rest, "0123456789.") == "" {
			continue // a number alone is part of the light
		}
		if _, err := exposure.ParseLight(text[:i]); err != nil {
			continue
		}
		if d <= 0 {
			return "", 0, false, tooLittle
		}
		return strings.TrimSpace(text[:i]), d, true, nil
	}
	return text, 0, false, nil
}

// Lit is a light as the session keeps it.
func Lit(l exposure.Light) *session.Lit {
	return &session.Lit{EV: l.EV, Doubt: l.PlusMinus, From: l.From, As: l.As}
}

// Reckon adds the correction learned from judged sheets, if there is any.
func (p *Planner) Reckon(a exposure.Ask, camera, paper string) (exposure.Result, *exposure.Correction, error) {
	r, err := exposure.Reckon(a)
	if err != nil || p.Judged == nil {
		return r, nil, err
	}
	m, err := p.Model()
	if err != nil {
		r.Notes = append(r.Notes, "nothing that was learned is in this time: "+err.Error())
		return r, nil, nil
	}
	c, err := m.For(a, p.Subject(camera, paper, a.Light))
	if err != nil || c.N == 0 {
		r.Notes = append(r.Notes, amiss(m, camera, paper)...)
		return r, nil, nil
	}
	a.Learned = &c
	r, err = exposure.Reckon(a)
	r.Notes = append(r.Notes, amiss(m, camera, paper)...)
	return r, &c, err
}

func amiss(m exposure.Model, camera, paper string) (notes []string) {
	for _, a := range m.Amiss() {
		if a.Sheet.Camera == camera || a.Sheet.Paper == paper {
			notes = append(notes, a.Sentence())
		}
	}
	return notes
}

// Edited asks about profiles that say something else than they did for sheets
// judged since: were they measured better, or is it another hole, another box?
// Each is asked until it is answered (see [WithSame] and [WithAnother]).
func (p *Planner) Edited(camera, paper string) (questions []string) {
	m, err := p.Model()
	if err != nil {
		return nil
	}
	ask := func(key, was, is, question string) {
		if was != "" {
			questions = append(questions, fmt.Sprintf("%s was %s for sheets that were judged, and is %s: is %s? wetside profiles edited %s --better, or --another", key, was, is, question, key))
		}
	}
	if cam, err := p.Set.Camera(camera); err == nil {
		is := FNumberWord(cam.FNumber())
		ask(camera, lastNot(cam.WordsOf(m.Sheets()), append(slices.Clip(cam.Earlier), is)), is, "the hole measured better, or another")
	}
	if pap, err := p.Set.Paper(paper); err == nil {
		ask(paper, lastNot(pap.WordsOf(m.Sheets()), append(slices.Clip(pap.Earlier), pap.Speed())), pap.Speed(), "it known better, or another box")
	}
	return questions
}

// lastNot is the last of the words that a profile had, unless it is one that is known;
// the sheets are in the order of their dates.
func lastNot(had, known []string) string {
	if n := len(had); n > 0 && !slices.Contains(known, had[n-1]) {
		return had[n-1]
	}
	return ""
}

// WordsOf are the f-numbers that the camera had for judged sheets of the hole it has.
func (c Camera) WordsOf(sheets []exposure.Judged) (out []string) {
	for _, j := range sheets {
		if j.Camera == c.Key && j.Hole == c.HoleNo() && j.FNumber > 0 {
			out = append(out, FNumberWord(j.FNumber))
		}
	}
	return out
}

// WordsOf are the speeds that the paper had for judged sheets of the box it is of.
func (p Paper) WordsOf(sheets []exposure.Judged) (out []string) {
	for _, j := range sheets {
		if j.Paper == p.Key && j.Box == p.BoxNo() && j.Speed != "" {
			out = append(out, j.Speed)
		}
	}
	return out
}

// FNumberWord is an f-number as profiles and questions write it.
func FNumberWord(n float64) string { return "f/" + words.Sig(n, 4) }

// Speed is the paper's speed and reciprocity, as [exposure.Speed] writes them.
func (p Paper) Speed() string { return exposure.Speed(p.ISO, p.Reciprocity.Law()) }

// Shift is the full exposure after the light changed.
func (p *Planner) Shift(spec session.SheetSpec, full time.Duration, stops float64) time.Duration {
	d, err := exposure.Shift(full, stops, p.Set.law(spec.Paper.Key))
	if err != nil {
		return full
	}
	return d
}

// Brighter is by how many stops a light, as typed, is brighter than the one a
// sheet is being exposed in: by what was said of both, or, where a time was set
// by hand, by the whole exposures in them.
func (p *Planner) Brighter(s *session.Sheet, typed string, full time.Duration) float64 {
	is, err := exposure.ParseLight(typed)
	if err == nil && s.Light.EV.Known {
		return is.EV - s.Light.EV.EV
	}
	// A sheet of an earlier program has its lights in words alone.
	was, known := exposure.ParseLight(s.Spec.Light)
	for _, r := range s.Light.Readings {
		switch l, err := exposure.ParseLight(r.Light); {
		case r.Open > 0: // the light was as before
		case r.Light != "" && err == nil:
			was, known = l, nil
		default:
			was.EV += r.Stops
		}
	}
	if err == nil && known == nil {
		return is.EV - was.EV
	}
	rec := p.Set.law(s.Spec.Paper.Key)
	before := rec.Metered(s.Light.Full().Seconds())
	after := rec.Metered(full.Seconds())
	return math.Log2(before / after)
}

// Baths are the mixes that a process fills its trays with.
func (p *Planner) Baths(process string) []session.Mix {
	proc, err := p.Set.Process(process)
	if err != nil {
		return nil
	}
	return words.Each(proc.Baths, func(b Bath) session.Mix { return b.mix("") })
}

// law is the reciprocity failure of a paper, none where it is not known.
func (s *Set) law(paper string) exposure.Reciprocity {
	p, err := s.Paper(paper)
	if err != nil {
		return exposure.Reciprocity{}
	}
	return p.Reciprocity.Law()
}
