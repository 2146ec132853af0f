package sound

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

const (
	aplayBlock  = Rate / 50              // 20 ms
	aplayBuffer = 200 * time.Millisecond // asked of the sound card
	aplayPipe   = 4096                   // bytes: the least a pipe can hold, 43 ms
	aplayHeld   = aplayBuffer + aplayPipe/2*time.Second/Rate
)

// aplay feeds ALSA's own player through a pipe. The pipe and the player block
// when they are full, which is the clock.
type aplay struct{ env []string }

func (aplay) name() string { return "aplay" }

// probe plays a second of nothing.
func (a aplay) probe(ctx context.Context) bool {
	ctx, cancel := context.WithTimeout(ctx, 3*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, "aplay", "-q", "-t", "raw", "-f", "S16_LE", "-r", fmt.Sprint(Rate), "-c", "1", "-d", "1", "/dev/zero")
	cmd.Env = a.env
	return cmd.Run() == nil
}

func (a aplay) run(ctx context.Context, src source, up func(Status)) error {
	path, err := exec.LookPath("aplay")
	if err != nil {
		return errors.New("aplay is not installed (Debian: alsa-utils)")
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	cmd := exec.CommandContext(ctx, path, "-q", "-t", "raw", "-f", "S16_LE", "-r", fmt.Sprint(Rate), "-c", "1",
		fmt.Sprintf("--buffer-time=%d", aplayBuffer/time.Microsecond), "-")
	var said bytes.Buffer
	cmd.Stderr, cmd.Env = &said, a.env
	cmd.WaitDelay = time.Second
	w, err := cmd.StdinPipe()
	if err != nil {
		return err
	}
	if p, ok := w.(syscall.Conn); ok {
		// Without it most of a second of sound would lie in the pipe.
		if rc, err := p.SyscallConn(); err == nil {
			_ = rc.Control(func(fd uintptr) { _, _ = unix.FcntlInt(fd, unix.F_SETPIPE_SZ, aplayPipe) })
		}
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	p := pipe{w: w, fill: src.fill}
	wrote := make(chan error, 1)
	go func() { wrote <- p.feed() }()
	t := time.NewTicker(100 * time.Millisecond)
	defer t.Stop()
	last, since := int64(-1), time.Now()
	for {
		select {
		case <-ctx.Done():
			_ = w.Close()
			<-wrote
			_ = cmd.Wait()
			return nil
		case err := <-wrote:
			_ = w.Close()
			_ = cmd.Wait()
			if s := strings.TrimSpace(said.String()); s != "" {
				return errors.New(strings.SplitN(s, "\n", 2)[0])
			}
			return err
		case <-t.C:
		}
		if n := p.at.Load(); n != last {
			last, since = n, time.Now()
		}
		if time.Since(since) > stallAfter {
			cancel()
			_ = w.Close()
			<-wrote
			_ = cmd.Wait()
			return lostError{since, errStalled}
		}
		if duration(last) > aplayBuffer {
			up(Status{Device: "aplay", OK: true, Latency: aplayHeld, Dry: int(p.dry.Load())})
		}
	}
}

// A pipe is what the player reads from.
type pipe struct {
	w       io.Writer
	fill    fill
	at, dry atomic.Int64
}

// feed writes until that fails. An output that swallows all it is given must not be
// given all the processor's time; a card's clock is never as much as 1 % fast.
func (p *pipe) feed() error {
	buf, raw := make([]float32, aplayBlock), make([]byte, 2*aplayBlock)
	var c clock
	start := time.Now()
	before := start
	for n := int64(0); ; n += aplayBlock {
		p.at.Store(n)
		time.Sleep(time.Until(start.Add(duration(n)*99/100 - 2*aplayHeld)))
		if n == 0 {
			c.observe(start.Add(aplayHeld))
		}
		p.fill(buf, n, c.zero())
		for i, x := range buf {
			binary.LittleEndian.PutUint16(raw[2*i:], uint16(int16(x*32767)))
		}
		if _, err := p.w.Write(raw); err != nil {
			return err
		}
		if now := time.Now(); n > 0 && now.Sub(before) > aplayHeld {
			p.dry.Add(1)
		}
		before = time.Now()
		if duration(n) > 2*aplayHeld { // the buffers are full: writing waits for the card
			c.observe(time.Now().Add(aplayHeld - duration(n+aplayBlock)))
		}
	}
}
