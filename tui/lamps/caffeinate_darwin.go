package lamps

import (
	"errors"
	"strconv"
	"sync"
)

// New gives what can be done about this machine's lamps: sleep is held
// off by a helper of the system's own, caffeinate(8).
func New(opts Options) Lamps { return &caffeinate{opts: opts} }

type caffeinate struct {
	opts Options
	mu   sync.Mutex
	stop func() error
}

func (c *caffeinate) Dim(bool) error         { return nil }
func (c *caffeinate) Raised() bool           { return false }
func (c *caffeinate) Panel() (float64, bool) { return 0, false }
func (c *caffeinate) Restore() error         { return nil }

// Inhibit: -d the display, -i idling, -s sleep on mains, -w until we end.
func (c *caffeinate) Inhibit(string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.stop != nil {
		return nil
	}
	if c.opts.Start == nil {
		return errors.New("the machine may sleep or lock its screen, turn that off in its settings")
	}
	stop, err := c.opts.Start("caffeinate", "-d", "-i", "-s", "-w", strconv.Itoa(c.opts.PID))
	if err != nil {
		return errors.Join(errors.New("the machine may sleep or lock its screen, turn that off in its settings"), err)
	}
	c.stop = stop
	return nil
}

func (c *caffeinate) Release() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.stop == nil {
		return nil
	}
	err := c.stop()
	c.stop = nil
	return err
}

func (c *caffeinate) Report() []Finding {
	c.mu.Lock()
	defer c.mu.Unlock()
	return byHand(c.stop != nil)
}
