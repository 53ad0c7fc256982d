package robot

import (
	"maps"
	"sync"
	"time"

	"meshclerk/intake/ledger"
)

// vitals is what the robot knows of its own health. It is safe for use by
// several goroutines.
type vitals struct {
	mu      sync.Mutex
	polled  time.Time // the last good look at the mailbox
	pollErr error
	lanes   map[string]beat
	unsaved error // what keeps us from writing down what was done
}

// beat is when a lane last came round, and the step it has in hand.
type beat struct {
	at   time.Time
	step string
}

func (v *vitals) looked(when time.Time, err error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if err == nil {
		v.polled = when
	}
	v.pollErr = err
}

func (v *vitals) lastLook() (time.Time, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.polled, v.pollErr
}

// beats notes that a lane is alive, and which step it begins, if any.
func (v *vitals) beats(lane string, now time.Time, s *ledger.Step) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.lanes == nil {
		v.lanes = map[string]beat{}
	}
	b := beat{at: now}
	if s != nil {
		b.step = string(s.Kind)
	}
	v.lanes[lane] = b
}

func (v *vitals) cannotWrite(err error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.unsaved = err
}

func (v *vitals) all() (map[string]beat, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	return maps.Clone(v.lanes), v.unsaved
}
