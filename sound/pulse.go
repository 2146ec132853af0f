package sound

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"net"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/jfreymuth/pulse/proto"
)

const (
	// pulseTarget is how much sound lies ready in the server: enough to bridge
	// a busy moment, little enough that an answer to a key comes at once. A
	// stream that has run dry is given half as much again, up to pulseMost.
	pulseTarget  = 200 * time.Millisecond
	pulseMost    = 500 * time.Millisecond
	pulseRequest = 80 * time.Millisecond
	// measureFirst and measureEach are how often the server is asked what is
	// being heard, until the clock is known and from then on.
	measureFirst = 10 * time.Millisecond
	measureEach  = 400 * time.Millisecond
	// lookEach is how often it is looked whether the output can be heard.
	lookEach = 1500 * time.Millisecond
	// skipAhead is the silence sent on top when the stream has run dry.
	skipAhead = 10 * time.Millisecond
)

// pulse plays through a PulseAudio or PipeWire server.
//
// It speaks the protocol through the client of package proto rather than
// through the playback stream built on it: that stream tells neither when a
// sample is heard nor that the output is suspended, moved or killed, and waits
// without end for a server that does not answer.
type pulse struct {
	server string
	first  string // the output of the first stream that sounded
}

func (*pulse) name() string { return "pulse" }

// connection is one connection to the server, and what it has said.
type connection struct {
	c    *proto.Client
	conn net.Conn

	mu     sync.Mutex
	stream uint32
	need   int64 // bytes asked for
	asked  time.Time
	runs   bool // the present stream has asked for more than its first sound
	events []any
	data   func([]byte) // what is recorded; nil: nothing is
	notify chan struct{}
}

// connect waits no longer than a dead server deserves.
func (p *pulse) connect(ctx context.Context) (*connection, error) {
	type result struct {
		c    *proto.Client
		conn net.Conn
		err  error
	}
	ch := make(chan result, 1)
	go func() {
		c, conn, err := proto.Connect(p.server)
		ch <- result{c, conn, err}
	}()
	late := func() {
		go func() {
			if r := <-ch; r.err == nil {
				_ = r.conn.Close()
			}
		}()
	}
	t := time.NewTimer(2 * time.Second)
	defer t.Stop()
	select {
	case <-ctx.Done():
		late()
		return nil, ctx.Err()
	case <-t.C:
		late()
		return nil, errors.New("the sound server does not answer")
	case r := <-ch:
		if r.err != nil {
			return nil, fmt.Errorf("no sound server (PulseAudio or PipeWire) can be reached: %w", r.err)
		}
		k := &connection{c: r.c, conn: r.conn, stream: proto.Undefined, notify: make(chan struct{}, 1), asked: time.Now()}
		r.c.Callback = k.hear
		props := proto.PropList{
			"application.name":    proto.PropListString("wetside"),
			"application.id":      proto.PropListString("wetside"),
			"media.name":          proto.PropListString("cues"),
			"media.software":      proto.PropListString("wetside"),
			"application.version": proto.PropListString("1"),
		}
		if err := r.c.Request(&proto.SetClientName{Props: props}, &proto.SetClientNameReply{}); err != nil {
			_ = r.conn.Close()
			return nil, fmt.Errorf("the sound server refuses: %w", err)
		}
		return k, nil
	}
}

// hear runs on the connection's reading goroutine: it must not wait.
func (k *connection) hear(msg any) {
	k.mu.Lock()
	switch m := msg.(type) {
	case *proto.Request:
		// The first may come before the reply that names the stream.
		if k.stream == proto.Undefined || m.StreamIndex == k.stream {
			k.need += int64(m.Length)
			k.asked, k.runs = time.Now(), true
		}
	case *proto.PlaybackStreamSuspended, *proto.PlaybackStreamMoved, *proto.PlaybackStreamKilled,
		*proto.Underflow, *proto.ConnectionClosed:
		k.events = append(k.events, msg)
	case *proto.DataPacket:
		if k.data != nil {
			k.data(m.Data)
		}
	}
	k.mu.Unlock()
	k.poke()
}

func (k *connection) poke() {
	select {
	case k.notify <- struct{}{}:
	default:
	}
}

func (k *connection) running() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.runs
}

func (k *connection) take() (need int64, events []any) {
	k.mu.Lock()
	defer k.mu.Unlock()
	need, events = k.need, k.events
	k.need, k.events = 0, nil
	return need, events
}

var (
	errServerGone = errors.New("the sound server is gone")
	errKilled     = errors.New("the sound server has ended the stream: its output was taken away")
	errSuspended  = errors.New("the sound output is suspended")
	errResumed    = errors.New("the sound output is back")
)

// probe reports whether a server can be reached.
func (p *pulse) probe(ctx context.Context) bool {
	k, err := p.connect(ctx)
	if err != nil {
		return false
	}
	_ = k.conn.Close()
	return true
}

func (p *pulse) run(ctx context.Context, src source, up func(Status)) error {
	k, err := p.connect(ctx)
	if err != nil {
		return err
	}
	defer k.conn.Close()
	for {
		err := k.play(ctx, src, p.sameOutput(up))
		if errors.Is(err, errResumed) {
			continue // with a fresh stream: what lay in the old one is not wanted now
		}
		return err
	}
}

// sameOutput tells when the sound goes to another output than at the start.
func (p *pulse) sameOutput(up func(Status)) func(Status) {
	return func(s Status) {
		sink := strings.TrimPrefix(s.Device, "pulse: ")
		switch {
		case s.OK && p.first == "":
			p.first = sink
		case s.OK && s.Moved == "" && sink != p.first:
			s.Moved = fmt.Sprintf("the sound goes to %s now, and went to %s at the start: listen whether you hear it, or choose the output in the system's own mixer", sink, p.first)
		}
		up(s)
	}
}

// play runs one stream on the connection.
func (k *connection) play(ctx context.Context, src source, up func(Status)) error {
	const bytes = 4
	most := samples(pulseTarget) // in one packet: each wakes this program twice more
	k.mu.Lock()
	k.stream, k.need, k.events, k.runs = proto.Undefined, 0, nil, false
	k.mu.Unlock()
	req := proto.CreatePlaybackStream{
		SampleSpec:            proto.SampleSpec{Format: proto.FormatFloat32LE, Channels: 1, Rate: Rate},
		ChannelMap:            proto.ChannelMap{proto.ChannelMono},
		SinkIndex:             proto.Undefined,
		BufferMaxLength:       uint32(2 * samples(pulseMost) * bytes),
		BufferTargetLength:    uint32(samples(pulseTarget) * bytes),
		BufferPrebufferLength: 0, // time goes on when the stream runs dry
		BufferMinimumRequest:  uint32(samples(pulseRequest) * bytes),
		ChannelVolumes:        proto.ChannelVolumes{uint32(proto.VolumeNorm)},
		AdjustLatency:         true,
		Properties:            proto.PropList{"media.name": proto.PropListString("cues")},
	}
	var rep proto.CreatePlaybackStreamReply
	if err := k.c.Request(&req, &rep); err != nil {
		return fmt.Errorf("the sound server opens no stream: %w", err)
	}
	k.mu.Lock()
	k.stream, k.asked = rep.StreamIndex, time.Now()
	k.need += int64(rep.Missing)
	k.mu.Unlock()
	k.poke()

	s := &pulseStream{k: k, src: src, up: up, hurry: make(chan struct{}, 1), index: rep.StreamIndex, input: rep.SinkInputIndex, sink: rep.SinkName,
		suspended: rep.SinkSuspended, target: pulseTarget, raw: make([]byte, bytes*most), buf: make([]float32, most)}
	ctx, stop := context.WithCancel(ctx)
	var wg sync.WaitGroup
	failed := make(chan error, 2)
	wg.Go(func() { failed <- s.measure(ctx) })
	wg.Go(func() { failed <- s.watch(ctx) })
	err := s.loop(ctx, failed)
	stop()
	if errors.Is(err, errResumed) || err == nil {
		_ = k.c.Request(&proto.DeletePlaybackStream{StreamIndex: rep.StreamIndex}, nil)
	} else {
		_ = k.conn.Close() // so that nothing waits for it
	}
	wg.Wait()
	return err
}

// A pulseStream is one playback stream.
type pulseStream struct {
	k     *connection
	src   source
	up    func(Status)
	index uint32
	input uint32
	raw   []byte
	buf   []float32
	at    int64         // next sample to send
	hurry chan struct{} // measure again soon

	telling sync.Mutex

	mu        sync.Mutex
	sink      string
	suspended bool
	ail       string // why nothing is heard although it plays, and what to do
	chosen    string // the server's output for new sounds, if it is not this one
	clock     clock
	latency   time.Duration
	expect    time.Time // when what the server holds will have been played
	target    time.Duration
	dry       int // how often it ran dry
	dryKnown  int // of which are answered with a larger target
	stalled   bool
}

func (s *pulseStream) tell() {
	// What is told last must be what is true last.
	s.telling.Lock()
	defer s.telling.Unlock()
	s.mu.Lock()
	st := Status{Device: "pulse: " + s.sink, OK: true, Latency: s.latency.Round(time.Millisecond), Dry: s.dry, input: s.input}
	switch {
	case s.suspended:
		st.OK, st.Reason = false, errSuspended.Error()+": another program holds it, or it was put to sleep; waiting for it"
	case s.sink == "auto_null":
		st.OK, st.Reason = false, "the computer has no loudspeaker now: plug in one, or a headset"
	case s.ail != "":
		st.OK, st.Reason = false, s.ail
	case s.clock.n < firstLook || !s.k.running():
		s.mu.Unlock()
		return // not sounding yet
	}
	if st.OK && s.chosen != "" {
		st.Moved = fmt.Sprintf("the system's output is %s now, and wetside is heard from %s: choose one of them in the system's own mixer", s.chosen, s.sink)
	}
	s.mu.Unlock()
	s.up(st)
}

// firstLook is how many observations make the clock fit to work by.
const firstLook = 3

// loop answers the server's requests.
func (s *pulseStream) loop(ctx context.Context, failed <-chan error) error {
	s.tell()
	for {
		select {
		case <-ctx.Done():
			return nil
		case err := <-failed:
			if err != nil {
				return err
			}
		case <-s.src.soon:
			if err := s.hasten(); err != nil {
				return err
			}
		case <-s.k.notify:
		}
		need, events := s.k.take()
		for _, e := range events {
			if err := s.event(e); err != nil {
				return err
			}
		}
		s.mu.Lock()
		suspended := s.suspended
		s.mu.Unlock()
		if suspended {
			continue
		}
		for n := need / 4; n > 0; {
			k, err := s.send(n)
			if err != nil {
				return err
			}
			n -= k
		}
	}
}

// send mixes and sends at most n samples.
func (s *pulseStream) send(n int64) (int64, error) {
	n = min(n, int64(len(s.buf)))
	s.mu.Lock()
	known, zero := s.clock.n >= firstLook, s.clock.zero()
	s.mu.Unlock()
	buf := s.buf[:n]
	behind := time.Duration(0)
	if known {
		behind = time.Since(zero.Add(duration(s.at)))
	}
	switch {
	case !known:
		clear(buf)
	case behind > 0:
		// The stream ran dry: these samples' time is over, nobody would hear
		// what is put there.
		n = min(n, int64(samples(behind+skipAhead)))
		buf = buf[:n]
		clear(buf)
		s.src.missed(s.at, s.at+n)
		s.mu.Lock()
		s.dry++
		s.mu.Unlock()
	default:
		s.src.fill(buf, s.at, zero)
	}
	for i, x := range buf {
		binary.LittleEndian.PutUint32(s.raw[4*i:], math.Float32bits(x))
	}
	s.at += n
	if err := s.k.c.Send(s.index, s.raw[:4*n]); err != nil {
		return n, errServerGone
	}
	return n, nil
}

// worthwhile is how much silence must lie ready for throwing it away to pay.
const worthwhile = 25 * time.Millisecond

// hasten throws away the silence that lies in the server, so that what answers
// a key need not wait until it has run out. While something sounds it lies as
// it is: a hole would be heard.
func (s *pulseStream) hasten() error {
	s.mu.Lock()
	ready, zero := s.clock.n >= firstLook && !s.suspended, s.clock.zero()
	s.mu.Unlock()
	heard := index(time.Since(zero), 0)
	if !ready || !s.k.running() || s.at-heard < int64(samples(worthwhile)) || !s.src.quiet(heard) {
		return nil
	}
	var r proto.GetPlaybackLatencyReply
	if err := s.k.c.Request(&proto.FlushPlaybackStream{StreamIndex: s.index}, nil); err != nil {
		return nil // whoever measures will find out
	}
	if err := s.k.c.Request(&proto.GetPlaybackLatency{StreamIndex: s.index}, &r); err != nil {
		return errServerGone // where the next sample goes is not known any more
	}
	s.at = r.WriteIndex / 4
	return nil
}

func (s *pulseStream) event(e any) error {
	switch e := e.(type) {
	case *proto.ConnectionClosed:
		return errServerGone
	case *proto.PlaybackStreamKilled:
		if e.StreamIndex == s.index {
			return errKilled
		}
	case *proto.PlaybackStreamMoved:
		if e.StreamIndex == s.index {
			s.mu.Lock()
			s.sink = e.DestName
			s.clock.forget()
			s.mu.Unlock()
			select {
			case s.hurry <- struct{}{}:
			default:
			}
			if e.Suspended {
				return s.suspend(true)
			}
			s.tell()
		}
	case *proto.PlaybackStreamSuspended:
		if e.StreamIndex == s.index {
			return s.suspend(e.Suspended)
		}
	}
	return nil
}

// suspend: a stream that is suspended while it plays is lost, so that what lies
// in it unheard is put back; one that was opened suspended waits to be resumed.
func (s *pulseStream) suspend(on bool) error {
	s.mu.Lock()
	was := s.suspended
	s.suspended = on
	s.mu.Unlock()
	switch {
	case on && !was:
		s.tell()
		return errSuspended
	case was && !on:
		return errResumed
	}
	return nil
}

// measure asks the server again and again which sample is being heard.
func (s *pulseStream) measure(ctx context.Context) error {
	wait := measureFirst
	looked := time.Time{}
	for {
		t := time.NewTimer(wait)
		select {
		case <-ctx.Done():
			t.Stop()
			return nil
		case <-s.hurry:
			t.Stop()
		case <-t.C:
		}
		var r proto.GetPlaybackLatencyReply
		before := time.Now()
		err := s.k.c.Request(&proto.GetPlaybackLatency{StreamIndex: s.index}, &r)
		after := time.Now()
		switch {
		case ctx.Err() != nil || s.isStalled():
			return nil
		case errors.Is(err, context.DeadlineExceeded):
			continue // the watch decides
		case err != nil:
			var said proto.Error
			if errors.As(err, &said) {
				return errKilled
			}
			return errServerGone
		}
		s.mu.Lock()
		if !s.suspended && after.Sub(before) < 15*time.Millisecond {
			// The sample at the read index is heard when what the output holds
			// has been played.
			now := before.Add(after.Sub(before) / 2)
			sink := time.Duration(r.Latency) * time.Microsecond
			s.clock.observe(now.Add(sink).Add(-duration(r.ReadIndex / 4)))
			s.latency = sink + duration(max(0, (r.WriteIndex-r.ReadIndex)/4))
			s.expect = now.Add(s.latency)
		}
		known := s.clock.n >= firstLook
		more := s.dry > s.dryKnown && s.target < pulseMost
		if s.dryKnown = s.dry; more {
			s.target = min(pulseMost, s.target*3/2)
		}
		target := s.target
		if s.clock.n >= len(s.clock.seen) {
			wait = measureEach
		} else {
			wait = measureFirst
		}
		s.mu.Unlock()
		if more {
			// What is answered is asked for by and by.
			_ = s.k.c.Request(&proto.SetPlaybackStreamBufferAttr{StreamIndex: s.index,
				BufferMaxLength: uint32(8 * samples(pulseMost)), BufferTargetLength: uint32(4 * samples(target)),
				BufferMinimumRequest: uint32(4 * samples(pulseRequest)), AdjustLatency: true}, nil)
		}
		if known && after.Sub(looked) > lookEach {
			looked = after
			s.look()
			s.tell()
		}
	}
}

func (s *pulseStream) isStalled() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.stalled
}

// portGone is PA_PORT_AVAILABLE_NO: the socket knows that nothing is in it.
const portGone = 1

// look finds out whether what plays can be heard: somebody may have muted the
// stream or its output, turned either down to nothing, or pulled the plug. A
// server that does not tell is taken at its best.
func (s *pulseStream) look() {
	var in proto.GetSinkInputInfoReply
	if s.k.c.Request(&proto.GetSinkInputInfo{SinkInputIndex: s.input}, &in) != nil {
		return
	}
	var out proto.GetSinkInfoReply
	known := s.k.c.Request(&proto.GetSinkInfo{SinkIndex: in.SinkIndex}, &out) == nil
	name := strings.TrimSpace(out.SinkName)
	ail := ""
	switch {
	case in.Muted || known && out.Mute:
		ail = "the sound is muted in the system's own mixer: unmute it there"
	case none(in.ChannelVolumes):
		ail = "the volume of wetside is 0 in the system's own mixer: turn it up there"
	case known && none(out.ChannelVolumes):
		ail = "the volume of the output " + name + " is 0 in the system's own mixer: turn it up there"
	}
	for _, p := range out.Ports {
		if ail == "" && p.Name == out.ActivePortName && p.Available == portGone {
			ail = "nothing is plugged in at " + p.Description + ": plug in a loudspeaker, or choose another output in the system's own mixer"
		}
	}
	chosen := ""
	var server proto.GetServerInfoReply
	if known && s.k.c.Request(&proto.GetServerInfo{}, &server) == nil && server.DefaultSinkName != name {
		chosen = server.DefaultSinkName
	}
	s.mu.Lock()
	s.ail, s.chosen = ail, chosen
	if name != "" {
		s.sink = name
	}
	s.mu.Unlock()
}

// none reports whether every channel's volume is nothing.
func none(vs proto.ChannelVolumes) bool {
	return len(vs) > 0 && slices.Max(vs) == 0
}

// watch notices a server that has stopped asking, and frees whoever waits for
// it by closing the connection.
func (s *pulseStream) watch(ctx context.Context) error {
	t := time.NewTicker(500 * time.Millisecond)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
		s.k.mu.Lock()
		last := s.k.asked
		s.k.mu.Unlock()
		s.mu.Lock()
		// An output may hold a long stretch of sound and ask for nothing.
		if s.expect.After(last) {
			last = s.expect
		}
		s.stalled = !s.suspended && time.Since(last) > stallAfter
		stalled := s.stalled
		s.mu.Unlock()
		if stalled {
			_ = s.k.conn.Close()
			return lostError{last, errStalled}
		}
	}
}
