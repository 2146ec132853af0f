package lamps

import (
	"fmt"
	"runtime"
	"sync"

	"golang.org/x/sys/windows"
)

// New gives what can be done about this machine's lamps: sleep and the
// display's turning off are held off by SetThreadExecutionState.
func New(Options) Lamps { return &execution{} }

type execution struct {
	mu   sync.Mutex
	stop chan struct{}
	done chan struct{}
}

// Flags of SetThreadExecutionState (winbase.h).
const (
	esContinuous      = 0x80000000
	esSystemRequired  = 0x00000001
	esDisplayRequired = 0x00000002
)

var setThreadExecutionState = windows.NewLazySystemDLL("kernel32.dll").NewProc("SetThreadExecutionState")

func (x *execution) Dim(bool) error         { return nil }
func (x *execution) Raised() bool           { return false }
func (x *execution) Panel() (float64, bool) { return 0, false }
func (x *execution) Restore() error         { return nil }

// Inhibit holds a thread of its own: the state belongs to the thread that
// set it, and ends with it.
func (x *execution) Inhibit(string) error {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.stop != nil {
		return nil
	}
	stop, done, told := make(chan struct{}), make(chan struct{}), make(chan error)
	go func() {
		defer close(done)
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		if r, _, err := setThreadExecutionState.Call(esContinuous | esSystemRequired | esDisplayRequired); r == 0 {
			told <- fmt.Errorf("the machine may sleep or lock its screen, turn that off in its settings: %w", err)
			return
		}
		told <- nil
		<-stop
		_, _, _ = setThreadExecutionState.Call(esContinuous)
	}()
	if err := <-told; err != nil {
		return err
	}
	x.stop, x.done = stop, done
	return nil
}

func (x *execution) Release() error {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.stop == nil {
		return nil
	}
	close(x.stop)
	<-x.done
	x.stop = nil
	return nil
}

func (x *execution) Report() []Finding {
	x.mu.Lock()
	defer x.mu.Unlock()
	return byHand(x.stop != nil)
}
