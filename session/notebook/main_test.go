package notebook

import (
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/google/uuid"
	"wetside/session"
)

// TestMain also is the program that other tests start, kill and count on: with
// WETSIDE_NOTEBOOK_CHILD set to a path it opens that notebook, goes on with the
// sitting it finds or begins one, and adds notes until it is stopped, printing
// each note once it is confirmed.
func TestMain(m *testing.M) {
	if path := os.Getenv("WETSIDE_NOTEBOOK_CHILD"); path != "" {
		child(path, os.Getenv("WETSIDE_NOTEBOOK_NAME"), os.Getenv("WETSIDE_NOTEBOOK_COUNT"))
		return
	}
	os.Exit(m.Run())
}

func child(path, name, count string) {
	die := func(err error) {
		fmt.Println("error", err)
		os.Exit(3)
	}
	n := 1 << 30
	if count != "" {
		fmt.Sscan(count, &n)
	}
	b, notices, err := Open(Config{Path: path, NewID: uuid.NewString, Now: time.Now})
	if err != nil {
		die(err)
	}
	for _, x := range notices {
		fmt.Println("notice", x.Kind, x.Text)
	}
	s, evs, ok, err := b.Live(false)
	if err != nil {
		die(err)
	}
	if !ok {
		if s, err = b.Begin(session.Event{Kind: session.Opened, At: at(0)}); err != nil {
			die(err)
		}
	}
	fmt.Println("open", len(evs))
	for i := range n {
		note := fmt.Sprintf("%s-%d-%d", name, os.Getpid(), i)
		if _, err := b.Append(s.ID, session.Event{Kind: session.Noted, At: at(time.Duration(i) * time.Second), Note: note}); err != nil {
			die(err)
		}
		fmt.Println("saved", note)
	}
	if err := b.Close(); err != nil {
		die(err)
	}
	fmt.Println("closed")
}
