package bench

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/say"
	"wetside/session/words"
)

// A Part is one part of a mixture: the first is the stock, the last water.
type Part struct {
	Parts float64 // as the dilution names it
	ML    float64
}

// MixUp divides totalML in the parts of a dilution: "1+9" to make 500 ml is 50
// and 450; "1+1+100" names two stocks and water. Every part is 0 or more and
// one of them more; the last is what the others are put into.
func MixUp(dilution string, totalML float64) ([]Part, error) {
	if !(totalML > 0) || math.IsInf(totalML, 0) {
		return nil, fmt.Errorf("a volume of %v ml cannot be mixed: give the millilitres the tray needs, for instance 500", totalML)
	}
	var parts []Part
	sum := 0.0
	for _, f := range strings.Split(dilution, "+") {
		n, ok := words.ReadDecimal(strings.TrimSpace(f))
		if !ok {
			return nil, fmt.Errorf("%q is no dilution: write the parts with a plus between them, stock first, for instance 1+9", dilution)
		}
		parts = append(parts, Part{Parts: n})
		sum += n
	}
	if len(parts) < 2 || sum <= 0 || math.IsInf(sum, 0) {
		return nil, fmt.Errorf("%q is no dilution: write the parts with a plus between them, stock first, for instance 1+9", dilution)
	}
	for i := range parts {
		parts[i].ML = totalML * (parts[i].Parts / sum)
	}
	return parts, nil
}

// Strength returns the share of the whole that is stock: 0.1 for "1+9", and
// for "1+1+100", where the last part is water, 2/102.
func Strength(dilution string) (float64, error) {
	parts, err := MixUp(dilution, 1)
	if err != nil {
		return 0, err
	}
	return 1 - parts[len(parts)-1].ML, nil
}

// FromWorking says how to make totalML of the dilution want from a solution
// that is mixed to the dilution have already: so much of it, and so much water.
// A solution cannot be made stronger with water.
func FromWorking(have, want string, totalML float64) (solution, water float64, err error) {
	h, err := Strength(have)
	if err != nil {
		return 0, 0, err
	}
	w, err := Strength(want)
	if err != nil {
		return 0, 0, err
	}
	a, b, err := Alligation(h, 0, w, totalML)
	if err != nil {
		return 0, 0, fmt.Errorf("%s cannot be made of %s by adding water: it would have to get stronger; begin from the stock", want, have)
	}
	return a, b, nil
}

// Alligation returns how much of a solution of strength high and of one of
// strength low make total of strength want: the pharmacist's square, high by
// (want-low) parts and low by (high-want). Strengths share one unit, percent or
// any other; so do the volumes. Temperatures of water mix by the same rule: see
// [Temper].
func Alligation(high, low, want, total float64) (ofHigh, ofLow float64, err error) {
	for _, x := range []float64{high, low, want, total} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return 0, 0, errors.New("strengths and volumes are plain numbers")
		}
	}
	switch {
	case total < 0:
		return 0, 0, fmt.Errorf("a volume of %g cannot be mixed: give 0 or more", total)
	case high == low && want == high:
		return total, 0, nil
	case (want-low)*(want-high) > 0 || high == low:
		return 0, 0, fmt.Errorf("%g does not lie between %g and %g: no mixture of the two gives it", want, low, high)
	}
	ofHigh = total * ((want - low) / (high - low))
	return ofHigh, total - ofHigh, nil
}

// Temper returns how much hot and cold water make total at want degrees. It
// takes both to have the same heat capacity, and none to be lost to the tray.
func Temper(hot, cold, want, total float64) (ofHot, ofCold float64, err error) {
	ofHot, ofCold, err = Alligation(hot, cold, want, total)
	if err != nil {
		return 0, 0, fmt.Errorf("%g C cannot be had from water at %g C and %g C: one must be warmer and one colder", want, hot, cold)
	}
	return ofHot, ofCold, nil
}

// A Cause says what uses a bath up.
type Cause string

const (
	ByArea Cause = "area" // the paper it has seen
	ByAge  Cause = "age"  // the hours it has stood in the tray
	byNone Cause = ""     // neither capacity nor life is stated
)

// A BathState is what one bath has seen.
type BathState struct {
	Mix     session.Mix
	Name    string        // the tray it stands in
	Stage   session.Stage // for which the sheets' processes have it; empty: for none
	Retired bool
	Sheets  int     // visits of sheets; a sheet that came twice counts twice
	AreaCM2 float64 // of all of them
	// SecondCM2 is that part of AreaCM2 that came through while this was the
	// second fixing bath. It is not held against the capacity: the first bath
	// had taken the silver out (common practice, no source).
	SecondCM2   float64
	CarryML     float64       // carried in by them, with what was on the paper
	CapacityCM2 float64       // 0: not stated
	Age         time.Duration // since it was mixed; until it was retired
	AreaShare   float64       // of the capacity; 0 when none is stated
	AgeShare    float64       // of the life; 0 when none is stated
	Share       float64       // the larger of the two; 1 is all
	Cause       Cause         // which of them it is
}

// The shares of a bath at which something is said.
const (
	highShare  = 0.8
	spentShare = 1.0
)

// shareSlack lets ten sheets of a tenth each be all of a bath.
const shareSlack = 1e-9

// High reports whether the bath is nearly spent, or spent.
func (b BathState) High() bool { return b.Share >= highShare-shareSlack }

// Spent reports whether the bath has had all it can take.
func (b BathState) Spent() bool { return b.Share >= spentShare-shareSlack }

// Account returns the state of every bath as of session time now, in the order
// they were mixed. It is summed anew over the visits that stand: one that was
// taken back adds nothing.
func Account(trays []*session.Tray, sheets []*session.Sheet, now time.Duration) []BathState {
	out := make([]BathState, 0, len(trays))
	for _, t := range trays {
		b := BathState{Mix: t.Mix, Name: t.Name, Stage: stageOf(t.Name, sheets), Retired: t.Retired}
		until := now
		if t.Retired {
			until = min(now, t.RetiredT)
		}
		b.Age = max(0, until-t.MixedT)
		for _, s := range sheets {
			b.take(s, now)
		}
		b.CapacityCM2 = t.Mix.PerLitre * t.Mix.ML / 1000
		if b.CapacityCM2 > 0 {
			b.AreaShare = (b.AreaCM2 - b.SecondCM2) / b.CapacityCM2
		}
		if t.Mix.Life > 0 {
			b.AgeShare = float64(b.Age) / float64(t.Mix.Life)
		}
		switch b.Share = max(b.AreaShare, b.AgeShare); {
		case b.CapacityCM2 <= 0 && t.Mix.Life <= 0:
		case b.AgeShare > b.AreaShare:
			b.Cause = ByAge
		default:
			b.Cause = ByArea
		}
		out = append(out, b)
	}
	return out
}

// Standing returns the state of the bath that stands in the tray of that name.
func Standing(baths []BathState, name string) (BathState, bool) {
	for i := len(baths) - 1; i >= 0; i-- {
		if b := baths[i]; b.Name == name && !b.Retired {
			return b, true
		}
	}
	return BathState{}, false
}

// Ask says what to ask before a sheet goes into the bath, empty when nothing
// is. Must: the bath is spent, and going on is recorded with the sheet
// (session.BathOverridden).
func Ask(b BathState) (question string, must bool) {
	name := b.Name
	switch {
	case b.Retired:
		return words.The(name) + " was retired: mix a new one first", true
	case b.Spent():
		return fmt.Sprintf("%s is spent, %s: mix a new one, or go on all the same? Going on is written in the sheet's record", words.The(name), b.why()), true
	case b.High():
		return fmt.Sprintf("%s is nearly spent, %s", words.The(name), b.why()), false
	}
	return "", false
}

func (b BathState) why() string {
	p := int(math.Floor(b.Share*100 + 1e-6))
	switch b.Cause {
	case ByAge:
		return fmt.Sprintf("%d percent of its time in the tray", p)
	case ByArea:
		return fmt.Sprintf("%d percent of the paper it can take", p)
	}
	return "its capacity is not stated"
}

// A Guided step is one thing to do, and the event that records it; Event is
// empty for what only hands do.
type Guided struct {
	Text  string
	Lines []say.Line // as it is said aloud
	Kind  session.Kind
	Bath  string       // Event.Bath: identity of a mix
	Into  string       // Event.Into
	Mix   *session.Mix // of BathMixed: what is mixed; its identity is to be made anew
}

// Percent is the share in whole hundredths: a hundred where the bath is spent, and
// only there.
func (b BathState) Percent() int {
	p := int(math.Round(100 * b.Share))
	if p >= 100 && !b.Spent() {
		return 99
	}
	return p
}

// Said is the bath as it is spoken of.
func (b BathState) Said() say.Name { return say.BathName(b.Name, string(b.Stage)) }

// Refill guides through one bath that is made up anew.
func Refill(b BathState) []Guided {
	g := Guided{Text: fmt.Sprintf("Pour %s away and fill the tray again.", words.The(b.Name)),
		Lines: []say.Line{say.StepPour.Of(b.Said())}, Kind: session.BathMixed, Mix: filled(b)}
	if b.Mix.Silver {
		g.Text = fmt.Sprintf("Empty %s into the jar for used fixer, and fill the tray again. %s", words.The(b.Name), Disposal(b))
		g.Lines = []say.Line{say.StepEmpty.Of(b.Said()), say.StepFill.Of(), say.Silver.Of()}
	}
	return []Guided{g}
}

// filled is what fills a bath's tray again.
func filled(b BathState) *session.Mix {
	mix := b.Mix
	mix.ID, mix.Name = "", b.Name
	return &mix
}

// Promotion guides through what is done when the first of two fixing baths is
// spent: the first goes, the second takes its place, a fresh one becomes the
// second.
func Promotion(first, second BathState) []Guided {
	out := []Guided{
		{Text: "Wait until no sheet is in either fixer.", Lines: []say.Line{say.StepWait.Of()}},
		{Text: fmt.Sprintf("Empty %s into the jar for used fixer.", words.The(first.Name)), Lines: []say.Line{say.StepEmpty.Of(first.Said())},
			Kind: session.BathRetired, Bath: first.Mix.ID},
		{Text: fmt.Sprintf("Move %s to the place of %s.", words.The(second.Name), words.The(first.Name)), Lines: []say.Line{say.StepPromote.Of()},
			Kind: session.BathPromoted, Bath: second.Mix.ID, Into: first.Name},
		{Text: fmt.Sprintf("Mix a fresh %s, %s.", second.Name, dilutionWords(second.Mix)), Lines: append([]say.Line{say.StepMix.Of()}, dilutionLines(second.Mix)...),
			Kind: session.BathMixed, Mix: filled(second)},
	}
	if text := Disposal(first); text != "" {
		out = append(out, Guided{Text: text, Lines: []say.Line{say.Silver.Of()}})
	}
	return out
}

// dilutionLines say what a bath is mixed of.
func dilutionLines(m session.Mix) (out []say.Line) {
	parts, err := MixUp(m.Dilution, m.ML)
	if err != nil {
		return []say.Line{say.MixAll.Of(say.Decimal(m.ML))}
	}
	for i, x := range parts {
		ml := words.Measurable(x.ML) // as the screen has it
		if i == len(parts)-1 {
			out = append(out, say.MixWater.Of(say.Decimal(ml)))
		} else {
			out = append(out, say.MixStock.Of(say.Decimal(ml)))
		}
	}
	return out
}

func dilutionWords(m session.Mix) string {
	if parts, err := MixUp(m.Dilution, m.ML); err == nil {
		return MixWords(m.Dilution, parts)
	}
	return fmt.Sprintf("%.0f millilitres", m.ML)
}

// Disposal is the caution due when a bath is retired; empty when it holds no
// silver. What is allowed differs by place and product, so it names no drain.
func Disposal(b BathState) string {
	if !b.Mix.Silver {
		return ""
	}
	return fmt.Sprintf("The used %s holds silver: keep it in a marked, closed jar, and hand it in as your local rules and the product's data sheet say.", b.Name)
}

// nearAtOnce is within how much of it a bath that is spent is not said to be nearly so.
const nearAtOnce = time.Minute

// BathCues returns what must be heard of the baths in [from, to): nearly spent,
// and spent, once each for a bath; spent alone where that is less than a minute later. A bath used up by paper is due as the sheet
// enters it, one used up by age at the hour.
func BathCues(trays []*session.Tray, sheets []*session.Sheet, from, to time.Duration) []session.Cue {
	var out []session.Cue
	for _, t := range trays {
		for _, c := range []struct {
			share float64
			kind  session.CueKind
			key   string
		}{{highShare, session.CueBathHigh, "high"}, {spentShare, session.CueBathSpent, "spent"}} {
			at, sheet, ok := reaches(t, sheets, c.share)
			if !ok || at < from || at >= to || t.Retired && at > t.RetiredT {
				continue
			}
			if spent, _, ok := reaches(t, sheets, spentShare); ok && c.kind == session.CueBathHigh && spent < at+nearAtOnce {
				continue // that it is spent says more
			}
			cue := session.Cue{Key: fmt.Sprintf("bath/%s/%s", t.Mix.ID, c.key), Kind: c.kind, T: at, Label: t.Name}
			if sheet != nil {
				cue.Sheet = sheet.ID
			}
			cue.Stage = stageOf(t.Name, sheets)
			out = append(out, cue)
		}
	}
	return out
}

// stageOf is the stage that the sheets' processes have in a tray; empty: none.
func stageOf(tray string, sheets []*session.Sheet) session.Stage {
	for _, s := range sheets {
		for _, st := range s.Spec.Process.Steps {
			if st.Bath == tray {
				return st.Stage
			}
		}
	}
	return ""
}

// reaches returns when the bath reached, or by age will reach, the share.
func reaches(t *session.Tray, sheets []*session.Sheet, share float64) (at time.Duration, by *session.Sheet, ok bool) {
	if t.Mix.Life > 0 {
		at, ok = t.MixedT+time.Duration(math.Ceil(share*float64(t.Mix.Life))), true
	}
	if cap := t.Mix.PerLitre * t.Mix.ML / 1000; cap > 0 {
		type come struct {
			at    time.Duration
			sheet *session.Sheet
		}
		var comes []come
		for _, s := range sheets {
			for i := range s.Visits {
				if v := &s.Visits[i]; v.Mix == t.Mix.ID && v.Stage != session.Fix2 {
					comes = append(comes, come{v.In, s})
				}
			}
		}
		sortBy(comes, func(a, b come) bool { return a.at < b.at })
		sum := 0.0
		for _, c := range comes {
			sum += c.sheet.Spec.Paper.AreaCM2
			if sum/cap >= share-shareSlack {
				if !ok || c.at < at {
					return c.at, c.sheet, true
				}
				break
			}
		}
	}
	return at, nil, ok
}

// take counts what a sheet used of a bath.
func (b *BathState) take(s *session.Sheet, now time.Duration) {
	for i := range s.Visits {
		v := &s.Visits[i]
		if v.Mix != b.Mix.ID || v.In > now {
			continue
		}
		b.Sheets++
		b.AreaCM2 += s.Spec.Paper.AreaCM2
		if v.Stage == session.Fix2 {
			b.SecondCM2 += s.Spec.Paper.AreaCM2
		}
		b.CarryML += b.Mix.CarryML
	}
}
