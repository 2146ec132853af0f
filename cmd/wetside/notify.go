package main

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"runtime"
	"sync"
	"time"

	"github.com/gen2brain/beeep"
)

// NotifyCmd shows a pop-up on the desktop. The program runs it as a process of
// its own: a desktop that hangs then keeps nothing of the program waiting, and
// what it may not start it cannot leave behind.
type NotifyCmd struct {
	Title string `arg:"" help:"What it is about."`
	Text  string `arg:"" help:"What to do."`
}

// Help shows how it is used.
func (NotifyCmd) Help() string {
	return `Example:

  wetside notify "Exposure done" "Sheet 3: cover the pinhole."`
}

// patience is how long a desktop has to take a pop-up.
const patience = 2 * time.Second

// Run shows it, or gives up.
func (c *NotifyCmd) Run(h *host) error {
	if runtime.GOOS != "darwin" && runtime.GOOS != "windows" {
		// Where there is no session bus there is no desktop to show anything. The
		// library would start a bus all the same, and other programs after it, and
		// leave them running: it finds none of them.
		os.Setenv("PATH", "")
	}
	beeep.AppName = "wetside"
	shown := make(chan error, 1)
	go func() { shown <- beeep.Notify(c.Title, c.Text, "") }()
	select {
	case err := <-shown:
		return err
	case <-h.ctx.Done():
		return h.ctx.Err()
	case <-time.After(patience):
		return errors.New("the desktop gave no answer within 2 s")
	}
}

// popUps gives what shows a pop-up beside the program, until ctx ends, and what
// waits for the end of all that were begun.
func (h *host) popUps(ctx context.Context) (show func(title, text string), ended func()) {
	var begun sync.WaitGroup
	return func(title, text string) {
		cmd := exec.CommandContext(ctx, h.self, "notify", "--", title, text)
		if cmd.Start() == nil {
			begun.Go(func() { cmd.Wait() })
		}
	}, begun.Wait
}
