package notebook

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/words"
)

// Secs is a duration that is written in JSON as seconds, to the nanosecond, so
// that any program can read it.
type Secs time.Duration

// MarshalJSON implements json.Marshaler: 93.25.
func (s Secs) MarshalJSON() ([]byte, error) { return s.append(nil), nil }

func (s Secs) append(b []byte) []byte {
	n := int64(s)
	u := uint64(n)
	if n < 0 {
		b = append(b, '-')
		u = -u
	}
	b = strconv.AppendUint(b, u/1e9, 10)
	if f := u % 1e9; f != 0 {
		b = append(b, '.')
		for p := uint64(1e8); f > 0; p /= 10 {
			b = append(b, byte('0'+f/p))
			f %= p
		}
	}
	return b
}

// UnmarshalJSON implements json.Unmarshaler.
func (s *Secs) UnmarshalJSON(b []byte) error {
	whole, frac, _ := bytes.Cut(b, []byte("."))
	neg := bytes.HasPrefix(whole, []byte("-"))
	n, err := strconv.ParseInt(string(whole), 10, 64)
	if err != nil || len(frac) > 9 || bytes.ContainsAny(frac, "eE") || n > 9e9 || n < -9e9 {
		f, err := strconv.ParseFloat(string(b), 64)
		if err != nil || f > 9e9 || f < -9e9 {
			return fmt.Errorf("%q is no number of seconds", b)
		}
		*s = Secs(f * 1e9)
		return nil
	}
	n *= 1e9
	p := int64(1e8)
	for _, c := range frac {
		if c < '0' || c > '9' {
			return fmt.Errorf("%q is no number of seconds", b)
		}
		if d := int64(c-'0') * p; neg {
			n -= d
		} else {
			n += d
		}
		p /= 10
	}
	*s = Secs(n)
	return nil
}

// D returns s as a time.Duration.
func (s Secs) D() time.Duration { return time.Duration(s) }

// A Record is everything the notebook keeps of one sheet. Its JSON is the
// export's format: names are never changed and only added to. Times are ISO
// 8601 with the offset of the place; lengths of time are seconds.
type Record struct {
	ID        string  `json:"id"`
	Sitting   string  `json:"sitting"`
	Num       int     `json:"num"`
	Name      string  `json:"name,omitempty"`
	Maker     string  `json:"maker,omitempty"`
	Rehearsal bool    `json:"rehearsal,omitempty"`
	Pace      float64 `json:"pace,omitempty"` // of a rehearsal: times real time

	Paper     PaperRecord `json:"paper"`
	Camera    string      `json:"camera,omitempty"`
	Process   string      `json:"process"`
	ProcessIs string      `json:"process_name,omitempty"`
	Celsius   float64     `json:"celsius,omitempty"`
	Light     string      `json:"light,omitempty"` // as the user gave it
	// Base is the exposure as reckoned from the light without a learned
	// correction, Learned that correction in stops of light: what the next judgement is
	// held against. 0 when the time was given by hand.
	Base    Secs    `json:"base_s,omitempty"`
	Learned float64 `json:"learned_stops,omitempty"`
	// Reckoned is what the exposure was reckoned from, as facts.
	Reckoned *session.Reckoned `json:"reckoned,omitempty"`

	Begun   time.Time `json:"begun"`             // the first thing done with it
	Ended   time.Time `json:"ended,omitzero"`    // washed, or spoiled
	State   string    `json:"state"`             // a session.Phase: "finished", "spoiled"
	Spoiled string    `json:"spoiled,omitempty"` // why
	// Unseen: nobody watched how a stage or the exposure ended. It is out of all
	// statistics, and what it was in all is kept where the user has said it.
	Unseen bool `json:"unseen,omitempty"`
	// Told: it went through its baths without the program. Each stage is unseen, and
	// took what the user says, or nothing that is known.
	Told bool `json:"told,omitempty"`

	Exposure *ExposureRecord `json:"exposure,omitempty"` // nil: none was timed
	Stages   []StageRecord   `json:"stages,omitempty"`
	Undone   []UndoRecord    `json:"undone,omitempty"`
	Emerged  Secs            `json:"emerged_s,omitempty"` // after entering the developer; 0: not seen
	Washed   bool            `json:"washed,omitempty"`    // the wash ran its full time in clean company

	Safelight Secs `json:"safelight_s"`                   // time unfixed under it
	SafeFor   Secs `json:"safelight_allowed_s,omitempty"` // 0: no figure, or none is safe if tested
	SafeTest  bool `json:"safelight_tested,omitempty"`    // the figure comes from a fog test
	// Screen is the time unfixed before the screen, and ScreenFor how long it might have
	// been, as reckoned from the panel's black; 0: no figure, or a fog test stands for it.
	Screen    Secs `json:"screen_s,omitempty"`
	ScreenFor Secs `json:"screen_allowed_s,omitempty"`

	Notes      []NoteRecord      `json:"notes,omitempty"`
	Marks      []MarkRecord      `json:"marks,omitempty"`
	Overridden []string          `json:"overridden,omitempty"` // spent baths used all the same
	Judgements []JudgementRecord `json:"judgements,omitempty"` // the last is the one that counts
	Loaded     time.Time         `json:"loaded,omitzero"`      // into its camera
	Unloaded   time.Time         `json:"unloaded,omitzero"`    // and out again, where that was said
	Dry        time.Time         `json:"dry,omitzero"`         // when it was said to be dry, and flat
	Flat       time.Time         `json:"flat,omitzero"`
	Scan       string            `json:"scan,omitempty"`
	// Corrected is what was said of the sheet until it was put right, after it was
	// done.
	Corrected []CorrectionRecord `json:"corrected,omitempty"`
}

// CorrectionRecord is what was put right.
type CorrectionRecord struct {
	At   time.Time `json:"at"`
	What string    `json:"what"` // name, photographer, camera, paper or process
	Was  string    `json:"was"`
}

// PaperRecord is the paper of a sheet.
type PaperRecord struct {
	Key      string  `json:"key"`
	Name     string  `json:"name,omitempty"`
	Base     string  `json:"base,omitempty"`
	Response string  `json:"response,omitempty"`
	AreaCM2  float64 `json:"area_cm2,omitempty"`
}

// ExposureRecord is what the pinhole did.
type ExposureRecord struct {
	Begun    time.Time       `json:"begun"`
	Ended    time.Time       `json:"ended,omitzero"`
	Planned  Secs            `json:"planned_s"`
	Actual   Secs            `json:"actual_s"` // pinhole open
	Share    float64         `json:"share"`    // of the whole exposure; 1 is all of it, also under changed light
	Working  string          `json:"working,omitempty"`
	Covered  []SpanRecord    `json:"covered,omitempty"`
	Readings []ReadingRecord `json:"readings,omitempty"`
	// Spells are the times the pinhole was open, one light each, in order; those
	// that were taken back too, for their light is in the paper.
	Spells []SpellRecord `json:"spells,omitempty"`
	Unseen bool          `json:"unseen,omitempty"` // nobody watched how it ended
	Told   bool          `json:"told,omitempty"`   // timed by a watch, and written down afterwards; it teaches as any other
}

// SpellRecord is a stretch with the pinhole open in one light.
type SpellRecord struct {
	EV  *float64 `json:"ev,omitempty"` // at ISO 100; nil: no light was ever read
	For Secs     `json:"for_s"`
}

// ByHand reports whether the time was set by hand while the exposure ran.
func (e *ExposureRecord) ByHand() bool {
	return slices.ContainsFunc(e.Readings, func(r ReadingRecord) bool { return r.Open > 0 })
}

// Afterwards says what of a sheet was done without the program and written down
// afterwards: "exposure", "developing", both; empty: nothing.
func (r *Record) Afterwards() string {
	var of []string
	if r.Exposure != nil && r.Exposure.Told {
		of = append(of, "exposure")
	}
	if r.Told {
		of = append(of, "developing")
	}
	return words.List(of)
}

// Pencil is the line for the back of the sheet: number, date, camera, light, time.
func (r *Record) Pencil() string {
	parts := []string{fmt.Sprint(r.Num), r.Day()}
	if r.Camera != "" {
		parts = append(parts, words.Clean(r.Camera))
	}
	light := r.Light
	if r.Reckoned != nil {
		light = "" // it may have a time in it
		if l := r.Reckoned.Lit; l != nil {
			light = strings.NewReplacer("ev ", "EV ", "iso ", "ISO ").Replace(l.As)
		}
	}
	if light != "" {
		parts = append(parts, words.Clean(light))
	}
	if r.Exposure != nil {
		parts = append(parts, words.Long(math.Round(r.Exposure.Actual.D().Seconds())))
	}
	return strings.Join(parts, ", ")
}

// lights counts the changes of light.
func (e *ExposureRecord) lights() int {
	n := len(e.Readings)
	for _, r := range e.Readings {
		if r.Open > 0 {
			n--
		}
	}
	return n
}

// over is how much longer (or, negative, shorter) the pinhole was open than the
// whole exposure takes, in the light as it was. Where that follows from a
// share, a thousandth is no difference.
func (e *ExposureRecord) over() Secs {
	if len(e.Readings) == 0 {
		return e.Actual - e.Planned
	}
	if e.Share <= 0 || math.Abs(e.Share-1) < .001 {
		return 0
	}
	return e.Actual - Secs(math.Round(float64(e.Actual)/e.Share))
}

// SpanRecord is a stretch of time, counted from the begin of the exposure.
type SpanRecord struct {
	From Secs `json:"from_s"`
	For  Secs `json:"for_s"`
}

// ReadingRecord is a change of light, or of the time by hand.
type ReadingRecord struct {
	At    time.Time `json:"at"`
	Stops float64   `json:"stops"`
	Full  Secs      `json:"full_s"`           // the whole exposure in the new light
	Light string    `json:"light,omitempty"`  // as the user typed it
	Open  Secs      `json:"open_s,omitempty"` // > 0: the light is as it was, and the whole time was set to this by hand
}

// Words says what was changed and to what: "light overcast, 1 stop darker, the
// whole now 12:00".
func (r ReadingRecord) Words() string {
	if r.Open > 0 {
		return "time set to " + words.Finished(r.Open.D()) + " in all"
	}
	s := "light"
	if r.Light != "" {
		s += " " + words.Clean(r.Light)
	}
	switch n := words.StopsOf(r.Stops); {
	case words.Stops(r.Stops) == "0" && r.Light == "":
		s += " as before"
	case words.Stops(r.Stops) == "0": // or from a time when only the words were kept
	case r.Light != "":
		s += ", " + n + " " + way(r.Stops)
	default:
		s += " " + n + " " + way(r.Stops)
	}
	return s + ", the whole now " + words.Finished(r.Full.D())
}

func way(stops float64) string {
	if stops < 0 {
		return "darker"
	}
	return "brighter"
}

// StageRecord is one stay in one bath.
type StageRecord struct {
	Stage   string    `json:"stage"`
	Label   string    `json:"label,omitempty"` // where it is not the stage's own name
	Bath    string    `json:"bath,omitempty"`
	In      time.Time `json:"in,omitzero"` // not there where it is not known
	Out     time.Time `json:"out,omitzero"`
	AtLeast Secs      `json:"at_least_s"`
	AtMost  Secs      `json:"at_most_s"`
	Actual  Secs      `json:"actual_s"`
	Over    Secs      `json:"over_s"` // past at most; negative: short of at least
	Short   bool      `json:"short,omitempty"`
	Changes int       `json:"changes,omitempty"`
	Use     *BathUse  `json:"use,omitempty"`
	Serial  int       `json:"serial"`
	// Set: at most is what the user set by hand, for this sheet.
	Set bool `json:"set_by_hand,omitempty"`
	// Unseen: nobody watched how it ended; Out and Actual are as the user says, or
	// not there.
	Unseen bool `json:"unseen,omitempty"`
	// Led: the program led, and nobody confirmed when it ended.
	Led bool `json:"led,omitempty"`
}

// BathUse is the state of the bath when the sheet went in.
type BathUse struct {
	Serial   int     `json:"-"` // of the visit: says which stage it goes with
	Mix      string  `json:"mix"`
	What     string  `json:"what,omitempty"`
	Dilution string  `json:"dilution,omitempty"`
	Age      Secs    `json:"age_s"`
	Share    float64 `json:"share,omitempty"` // of its capacity that was used; 1 is spent
	Sheets   int     `json:"sheets,omitempty"`
}

// UndoRecord is a deed that was taken back.
type UndoRecord struct {
	At    time.Time `json:"at"`
	Stage string    `json:"stage"` // the stage that was left again; empty: the end, or none
	After Secs      `json:"after_s"`
	What  string    `json:"what,omitempty"` // the deed, a session.Kind; of an older program empty: a move, a light or the end
}

// NoteRecord is words with a time.
type NoteRecord struct {
	At   time.Time `json:"at"`
	Text string    `json:"text"`
}

// MarkRecord is a mark, named or not.
type MarkRecord struct {
	N     int       `json:"n"`
	At    time.Time `json:"at"`
	Stage string    `json:"stage,omitempty"`
	Text  string    `json:"text,omitempty"`
}

// JudgementRecord is what the finished sheet says of its exposure.
type JudgementRecord struct {
	At    time.Time `json:"at"`
	Stops float64   `json:"stops"` // positive: it should have had more
	Seen  string    `json:"seen,omitempty"`
}

// LeftOut begins what was seen on a sheet that teaches nothing: a light leak, a
// lid that moved.
const LeftOut = "left out"

// LeftOut reports whether the user leaves the sheet out of learning. Its stops
// are then those of the judgement before.
func (j JudgementRecord) LeftOut() bool {
	return len(j.Seen) >= len(LeftOut) && strings.EqualFold(j.Seen[:len(LeftOut)], LeftOut)
}

// Judged returns the judgement that counts, if there is one.
func (r *Record) Judged() (JudgementRecord, bool) {
	if n := len(r.Judgements); n > 0 {
		return r.Judgements[n-1], true
	}
	return JudgementRecord{}, false
}

// impossible names a figure of the exposure that cannot be: it would be reckoned
// with for years.
func (r *Record) impossible() (what string, v float64, bad bool) {
	const longest = float64(session.MaxExposure / time.Second)
	figures := []figure{{"an exposure as reckoned", r.Base.D().Seconds(), 0, longest}, {"a learned correction", r.Learned, -session.MaxChange, session.MaxChange}}
	if l := r.lit(); l != nil {
		figures = append(figures, figure{"an exposure value", l.EV, -session.MaxChange, session.MaxChange}, figure{"the doubt of a light", l.Doubt, 0, 10})
	}
	if e := r.Exposure; e != nil {
		for _, sp := range e.Spells {
			figures = append(figures, figure{"an exposure", sp.For.D().Seconds(), 0, math.MaxFloat64})
			if sp.EV != nil {
				figures = append(figures, figure{"an exposure value", *sp.EV, -session.MaxChange, session.MaxChange})
			}
		}
		figures = append(figures, figure{"a planned exposure", e.Planned.D().Seconds(), 0, longest}, figure{"an exposure", e.Actual.D().Seconds(), 0, math.MaxFloat64},
			figure{"a share of the exposure", e.Share, 0, math.Exp2(session.MaxChange)})
		for _, x := range e.Readings {
			figures = append(figures, figure{"a change of light", x.Stops, -session.MaxChange, session.MaxChange}, figure{"an exposure in changed light", x.Full.D().Seconds(), 0, longest})
		}
	}
	for _, f := range figures {
		if !(f.v >= f.least && f.v <= f.most) {
			return f.what, f.v, true
		}
	}
	return "", 0, false
}

func (r *Record) lit() *session.Lit {
	if r.Reckoned == nil {
		return nil
	}
	return r.Reckoned.Lit
}

type figure struct {
	what           string
	v, least, most float64
}

// beyond reports whether v is no number from -most to most.
func beyond(v, most float64) bool { return !(math.Abs(v) <= most) }

// Day returns the date, where it was made, of the first thing done with the sheet.
func (r *Record) Day() string { return r.Begun.Format(time.DateOnly) }

// Context is what a record holds that the sheet itself does not know.
type Context struct {
	Sitting Sitting
	Baths   []BathUse     // one for each visit that had a mixed bath; see [Uses]
	Now     time.Duration // session time, for what is still open
}

// RecordOf writes down a sheet. It is pure, and good for a sheet under way too.
func RecordOf(s *session.Sheet, c Context) Record {
	sp := &s.Spec
	r := Record{
		ID: s.ID, Sitting: c.Sitting.ID, Num: s.Num, Name: sp.Name, Maker: sp.Maker,
		Rehearsal: c.Sitting.Rehearsal || sp.Rehearsal,
		Paper:     PaperRecord{sp.Paper.Key, sp.Paper.Name, string(sp.Paper.Base), string(sp.Paper.Response), sp.Paper.AreaCM2},
		Camera:    sp.Camera, Process: sp.Process.Key, ProcessIs: sp.Process.Name, Celsius: sp.Celsius, Light: sp.Light,
		Base: Secs(sp.Base), Learned: sp.Learned, Reckoned: sp.Reckoned,
		Begun: s.AddedAt.Wall, Ended: s.EndedAt.Wall, State: string(s.Phase), Spoiled: s.SpoiltFor,
		Emerged: Secs(s.Emerged), Washed: s.Washed(), SafeTest: sp.Paper.Tested,
		Overridden: slices.Clone(s.Overrides), Scan: s.Scan,
	}
	if r.Rehearsal && c.Sitting.Pace != 1 {
		r.Pace = c.Sitting.Pace
	}
	now := c.Now
	if s.EndedT > 0 {
		now = s.EndedT
	}
	used, allowed := s.SafeUsed(now)
	r.Safelight, r.SafeFor = Secs(used), Secs(allowed)
	used, _, allowed = s.ScreenUsed(now)
	r.Screen, r.ScreenFor = Secs(used), Secs(allowed)
	if l := &s.Light; !l.BegunAt.IsZero() {
		r.Begun = l.BegunAt.Wall
		r.Exposure = exposure(l, sp.Working, now)
		r.Unseen = l.Unseen
	} else if len(s.Visits) > 0 && !s.Told {
		r.Begun = s.Visits[0].InAt.Wall
	}
	for i := range s.Visits {
		v := &s.Visits[i]
		r.Unseen = r.Unseen || v.Unseen
		r.Stages = append(r.Stages, stage(v, c.Baths, now))
	}
	r.Told = s.Told
	if n := len(s.Visits); r.Unseen && !s.Told && (n == 0 || s.Visits[n-1].Unseen && s.Visits[n-1].Told == 0) {
		r.Ended = time.Time{} // it is not known when
	}
	r.said(s)
	r.Loaded, r.Unloaded = s.LoadedAt.Wall, s.UnloadedAt.Wall
	r.Dry, r.Flat = s.DryAt.Wall, s.FlatAt.Wall
	return r
}

// said takes over what was said of a sheet.
func (r *Record) said(s *session.Sheet) {
	for _, u := range s.Undone {
		r.Undone = append(r.Undone, UndoRecord{u.At.Wall, string(u.Stage), Secs(u.T - u.Since), string(u.What)})
	}
	for _, n := range s.Notes {
		r.Notes = append(r.Notes, NoteRecord{n.At.Wall, n.Text})
	}
	for _, m := range s.Marks {
		r.Marks = append(r.Marks, MarkRecord{m.N, m.At.Wall, string(m.Stage), m.Text})
	}
	for _, c := range s.Corrected {
		r.Corrected = append(r.Corrected, CorrectionRecord{c.At.Wall, c.What, c.Was})
	}
	if j := s.Judged; j != nil {
		r.Judgements = []JudgementRecord{{j.At.Wall, j.Stops, j.Seen}}
	}
}

// stage is a visit of a bath, as of session time now where it is under way.
func stage(v *session.Visit, baths []BathUse, now time.Duration) StageRecord {
	st := StageRecord{Stage: string(v.Stage), Bath: v.Bath, In: v.InAt.Wall, Out: v.OutAt.Wall,
		AtLeast: Secs(v.AtLeast), AtMost: Secs(v.AtMost), Short: v.Short, Changes: v.Changes, Serial: v.Serial, Set: v.Set > 0, Led: v.LedOut}
	if v.Label != string(v.Stage) {
		st.Label = v.Label
	}
	out := v.Out
	if v.Open {
		out = now
		st.Out = v.InAt.Wall.Add(now - v.In)
	}
	st.Actual = Secs(out - v.In)
	if v.Unseen {
		st.Unseen = true
		if st.Actual = Secs(v.Told); v.Told == 0 {
			st.Out = time.Time{}
		}
	}
	switch {
	case v.Unseen:
	case v.Step == session.Holding: // holding water has no plan to be late for
	case st.Actual > st.AtMost:
		st.Over = st.Actual - st.AtMost
	case st.Actual < st.AtLeast:
		st.Over = st.Actual - st.AtLeast
	}
	for _, u := range baths {
		if u.Serial == v.Serial {
			st.Use = &u
		}
	}
	return st
}

func exposure(l *session.Light, working string, now time.Duration) *ExposureRecord {
	end := now
	if !l.EndedAt.IsZero() {
		end = l.EndedT
	}
	e := &ExposureRecord{Begun: l.BegunAt.Wall, Ended: l.EndedAt.Wall, Planned: Secs(l.Planned),
		Actual: Secs(l.OpenFor(end)), Share: l.Share(end), Working: l.Working}
	e.Working = cmp.Or(e.Working, working)
	e.Covered = covered(l, end)
	e.Told = l.Told
	if l.Unseen {
		e.Unseen, e.Ended = true, time.Time{}
	}
	for _, sp := range l.Spells {
		x := SpellRecord{For: Secs(sp.Len(end))}
		if sp.EV.Known {
			x.EV = &sp.EV.EV
		}
		e.Spells = append(e.Spells, x)
	}
	for _, rd := range l.Readings {
		e.Readings = append(e.Readings, ReadingRecord{rd.At.Wall, rd.Stops, Secs(rd.Full), rd.Light, Secs(rd.Open)})
	}
	return e
}

// Uses returns the age of each bath when the sheet went into it, and how many
// sheets it had seen. How much of a bath's capacity that was is the bench's to
// say: the host sets Share.
func Uses(m *session.Machine, s *session.Sheet) []BathUse {
	var out []BathUse
	for i := range s.Visits {
		v := &s.Visits[i]
		if v.Mix == "" {
			continue
		}
		for _, t := range m.Trays() {
			if t.Mix.ID != v.Mix {
				continue
			}
			u := BathUse{Serial: v.Serial, Mix: v.Mix, What: t.Mix.What, Dilution: t.Mix.Dilution, Age: Secs(v.In - t.MixedT)}
			for _, o := range m.Sheets() {
				for j := range o.Visits {
					if w := &o.Visits[j]; w.Mix == v.Mix && w.In < v.In {
						u.Sheets++
						break
					}
				}
			}
			out = append(out, u)
		}
	}
	return out
}

func (r *Record) encode() (string, error) {
	b, err := json.Marshal(r)
	return string(b), err
}

func decodeRecord(s string) (Record, error) {
	var r Record
	err := json.Unmarshal([]byte(s), &r)
	for i := range r.Stages {
		if u := r.Stages[i].Use; u != nil {
			u.Serial = r.Stages[i].Serial
		}
	}
	return r, err
}

// covered is when the pinhole was covered. Of an end that nobody saw it is not known
// how long that was.
func covered(l *session.Light, end time.Duration) (out []SpanRecord) {
	from := l.BegunT
	until := func(t time.Duration) {
		if t > from {
			out = append(out, SpanRecord{Secs(from - l.BegunT), Secs(t - from)})
		}
	}
	for _, sp := range l.Spells {
		if sp.From < l.BegunT {
			continue // taken back; its light is in Actual and Share
		}
		until(sp.From)
		if from = sp.To; sp.Running {
			from = end
		}
	}
	if !l.Unseen {
		until(end)
	}
	return out
}
