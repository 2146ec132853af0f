package sound

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"strings"
	"time"

	"github.com/jfreymuth/pulse/proto"

	"wetside/session"
)

// ErrNoMonitor: what is played cannot be listened to here, for only a sound server
// has a monitor of its output.
var ErrNoMonitor = errors.New("this output has no monitor")

// monitorFor is how long a sample may take from the mixer to the monitor: what lies
// ready in the server, and a busy machine. From memory.
const monitorFor = 5 * time.Second

// Arrives plays a tick and reports whether it arrives at the output, as the
// monitor of the program's own stream tells. It says nothing of what lies behind:
// an amplifier, a loudspeaker, ears. The error is ErrNoMonitor, or the server's.
func (e *Engine) Arrives(ctx context.Context) (bool, error) {
	st := e.Status()
	if !st.OK || !strings.HasPrefix(st.Device, "pulse: ") {
		return false, ErrNoMonitor
	}
	k, err := (&pulse{server: e.cfg.Server}).connect(ctx)
	if err != nil {
		return false, err
	}
	defer k.conn.Close()
	var in proto.GetSinkInputInfoReply
	var out proto.GetSinkInfoReply
	if err := k.c.Request(&proto.GetSinkInputInfo{SinkInputIndex: st.input}, &in); err != nil {
		return false, err
	}
	if err := k.c.Request(&proto.GetSinkInfo{SinkIndex: in.SinkIndex}, &out); err != nil {
		return false, err
	}
	heard := make(chan struct{}, 1)
	k.listen(func(samples []byte) {
		for ; len(samples) >= 4; samples = samples[4:] {
			if x := math.Float32frombits(binary.LittleEndian.Uint32(samples)); x > 1e-4 || x < -1e-4 {
				select {
				case heard <- struct{}{}:
				default:
				}
				return
			}
		}
	})
	spec := proto.SampleSpec{Format: proto.FormatFloat32LE, Channels: 1, Rate: Rate}
	if err := k.c.Request(&proto.CreateRecordStream{SampleSpec: spec, ChannelMap: proto.ChannelMap{proto.ChannelMono}, ChannelVolumes: proto.ChannelVolumes{uint32(proto.VolumeNorm)},
		SourceIndex: out.MonitorSourceIndex, BufferMaxLength: 4 * Rate, BufferFragSize: 4 * Rate / 50, AdjustLatency: true,
		Properties: proto.PropList{"media.name": proto.PropListString("monitor")}, DirectOnInputIndex: st.input}, &proto.CreateRecordStreamReply{}); err != nil {
		return false, err
	}
	e.Play(session.Cue{Key: "monitor", Kind: session.CueTaken})
	t := time.NewTimer(monitorFor)
	defer t.Stop()
	select {
	case <-heard:
		return true, nil
	case <-t.C:
	case <-ctx.Done():
	}
	return false, nil
}

// listen has samples that the server records given to f, which must not wait.
func (k *connection) listen(f func([]byte)) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.data = f
}
