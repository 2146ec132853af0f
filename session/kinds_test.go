package session

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"
	"unsafe"
)

// one sets v to something that is not empty: a number to 1, a slice and a map to
// one element, a pointer to something; every field of a struct.
func one(v reflect.Value) { oneOf(v, map[reflect.Type]bool{}) }

func oneOf(v reflect.Value, above map[reflect.Type]bool) {
	switch v.Kind() {
	case reflect.Struct:
		if above[v.Type()] || v.Type() == reflect.TypeFor[time.Time]() {
			return // a sheet that holds a sheet; an instant is a value
		}
		above[v.Type()] = true
		defer delete(above, v.Type())
		for i := range v.NumField() {
			f := v.Field(i)
			oneOf(reflect.NewAt(f.Type(), unsafe.Pointer(f.UnsafeAddr())).Elem(), above) // unexported fields too
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		oneOf(v.Elem(), above)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		oneOf(v.Index(0), above)
	case reflect.Map:
		k, e := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
		oneOf(k, above)
		oneOf(e, above)
		v.Set(reflect.MakeMap(v.Type()))
		v.SetMapIndex(k, e)
	case reflect.String:
		v.SetString("x")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Float64:
		v.SetFloat(1)
	default:
		v.SetInt(1)
	}
}

// shared names every place that a and b have in common: a change in one of them
// would be seen in the other.
func shared(path string, a, b reflect.Value) (out []string) {
	switch a.Kind() {
	case reflect.Struct:
		for i := range a.NumField() {
			out = append(out, shared(path+"."+a.Type().Field(i).Name, a.Field(i), b.Field(i))...)
		}
	case reflect.Pointer:
		if a.IsNil() {
			return nil
		}
		if a.Pointer() == b.Pointer() {
			return []string{path}
		}
		return shared(path, a.Elem(), b.Elem())
	case reflect.Slice:
		if a.Len() > 0 && a.Pointer() == b.Pointer() {
			return []string{path}
		}
		for i := range a.Len() {
			out = append(out, shared(path, a.Index(i), b.Index(i))...)
		}
	case reflect.Map:
		if a.Pointer() == b.Pointer() {
			return []string{path}
		}
		for _, k := range a.MapKeys() {
			out = append(out, shared(path, a.MapIndex(k), b.MapIndex(k))...)
		}
	}
	return out
}

// Would asks a sketch of the machine, and nothing that the sketch does may be
// seen in the machine. Every field of the state is tried; one that was added and
// not copied fails by its name. What is only ever replaced as a whole, and never
// written into, may be shared.
func TestASketchSharesNothing(t *testing.T) {
	whole := map[string]string{
		".Spec.Process.Steps": "a sheet's spec is replaced whole",
		".Spec.Reckoned":      "and so is this of it",
		".Judged":             "so is a judgement",
		".whole":              "how a sheet was before it was spoiled is never changed",
		".deeds.was":          "nor is what a deed keeps of how it was: a sheet that comes back is a copy",
		".deeds.water":        "nor is this",
	}
	m := New()
	one(reflect.ValueOf(m).Elem())
	s := m.sheets[0]
	s.ID = "x"
	m.byID = map[string]*Sheet{"x": s}
	for k, r := range rules {
		c := m.sketch(Event{Kind: k, Sheet: "x"})
		if c.byID["x"] != c.sheets[0] {
			t.Errorf("%s: the sketch finds another sheet by its identity", k)
		}
		for _, p := range shared("", reflect.ValueOf(m).Elem(), reflect.ValueOf(c).Elem()) {
			name := strings.TrimPrefix(strings.TrimPrefix(p, ".sheets"), ".byID")
			if whole[name] == "" && p != ".arrivals.sheet" { // whose arrival it is: an identity
				t.Errorf("%s: Machine%s is one for the machine and its sketch", k, p)
			}
		}
		if r.all {
			c := m.sketch(Event{Kind: k})
			if c.sheets[0] == s {
				t.Errorf("%s changes any sheet, and the sketch has the machine's own", k)
			}
		}
	}
}

// Every field of an event is known to the table, and every kind to the program.
func TestTheTableKnowsEveryFieldAndKind(t *testing.T) {
	typ := reflect.TypeFor[Event]()
	var seen fields
	for i := range typ.NumField() {
		name := typ.Field(i).Name
		if name == "Kind" || name == "At" {
			continue
		}
		var e Event
		one(reflect.ValueOf(&e).Elem().Field(i))
		f := e.given()
		if f == 0 || f&(f-1) != 0 || f&seen != 0 {
			t.Errorf("Event.%s: the table of fields does not know it", name)
			continue
		}
		if json := strings.Split(typ.Field(i).Tag.Get("json"), ",")[0]; f.String() != json {
			t.Errorf("Event.%s is called %q, and stored as %q", name, f, json)
		}
		seen |= f
	}
	if n := 1<<len(fieldNames) - 1; int(seen) != n {
		t.Errorf("the table has fields that an event has not: %s", fields(n)&^seen)
	}
	for k, r := range rules {
		if r.apply == nil || r.needs&r.may != 0 {
			t.Errorf("%s: nobody applies it, or a field is both needed and left free", k)
		}
		if r.needs&hasSheet != 0 && r.tells == "" && k != SheetWithdrawn { // which has no record
			t.Errorf("%s is of a sheet, and nothing says how its record tells it", k)
		}
	}
}

// What lacks a field of its kind, or has one of another, is refused when it is
// new, by the name of the field, and Would says the same. Stored by an older
// program it is replayed as it always was.
func TestAMissingOrForeignFieldIsRefused(t *testing.T) {
	spec := &SheetSpec{Process: Process{Steps: []Step{{Stage: Develop, Bath: "developer", AtLeast: time.Minute, AtMost: time.Minute}}}}
	at := Instant{Wall: time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC), Boot: time.Hour, BootID: "b"}
	fresh := func() *Machine {
		m := New()
		for _, e := range []Event{{Kind: Opened}, {Kind: SheetAdded, Sheet: "a", Spec: spec}} {
			e.At = at
			if err := m.Apply(e); err != nil {
				t.Fatal(err)
			}
		}
		return m
	}
	for _, c := range []struct {
		e     Event
		field string
	}{
		{Event{Kind: Moved}, "needs sheet"},
		{Event{Kind: Moved, Sheet: "a", Note: "in"}, "has no note"},
		{Event{Kind: ExposureBegun, Sheet: "a"}, "needs planned"},
		{Event{Kind: ExposureBegun, Sheet: "a", Planned: time.Minute, Stops: 1}, "has no stops"},
		{Event{Kind: SheetAdded, Sheet: "b"}, "needs spec"},
		{Event{Kind: SafelightOff, Sheet: "a"}, "has no sheet"},
		{Event{Kind: Noted, Sheet: "a"}, "needs note"},
		{Event{Kind: BathMixed, Mix: &Mix{ID: "m", Name: "fixer"}, Bath: "m", Into: "fixer"}, "has no bath, into"},
		{Event{Kind: BathPromoted, Bath: "m"}, "needs into"},
		{Event{Kind: "sheet sold", Sheet: "a"}, "newer than the program"},
	} {
		c.e.At = at
		m := fresh()
		before := fmt.Sprintf("%+v", *m.Sheet("a"))
		err := m.Apply(c.e)
		if !errors.Is(err, ErrRefused) || !strings.Contains(err.Error(), c.field) {
			t.Errorf("%+v: %v, want %q", c.e, err, c.field)
		}
		if would := fresh().Would(c.e); would == nil || would.Error() != err.Error() {
			t.Errorf("%+v is refused with %v, and would be with %v", c.e, err, would)
		}
		if after := fmt.Sprintf("%+v", *m.Sheet("a")); after != before || m.Applied() != 2 {
			t.Errorf("%+v was refused and changed the sheet", c.e)
		}
	}
	// An older notebook has them, and its sheets are what they were.
	m := fresh()
	for _, e := range []Event{
		{Kind: SafelightOff, Sheet: "a"},
		{Kind: Noted, Sheet: "a"},
		{Kind: ExposureBegun, Sheet: "a", Planned: time.Minute, Stops: 1},
		{Kind: ExposureEnded, Sheet: "a", Note: "by hand", From: 4},
		{Kind: Moved, Sheet: "a", Bath: "developer"},
	} {
		e.At = at
		if err := m.Replay(e); err != nil {
			t.Errorf("%+v: %v", e, err)
		}
	}
	if s := m.Sheet("a"); s.Phase != Wet || m.Safelight() || len(s.Notes) != 1 {
		t.Errorf("replayed: %+v", s)
	}
}
