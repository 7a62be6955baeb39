package offload

import (
	"context"
	"sync"
	"sync/atomic"

	"twobin/guard/device"
)

// ring is how many blocks may be on their way from the card to the destinations. 4 to 16 were measured to be equal.
const ring = 8

// pool hands out blocks of device.BlockSize. They are made when first needed.
type pool struct {
	free chan *buffer
	mu   sync.Mutex
	left int
	shut bool
}

// buffer is one block, shared by all who read from it; the last of them gives it back.
type buffer struct {
	b    []byte
	refs atomic.Int32
	pool *pool
}

// newPool makes a pool of n blocks.
func newPool(n int) *pool {
	const most = 1024 // grown by one for each stuck goroutine, so never near
	return &pool{free: make(chan *buffer, most), left: n}
}

// get waits for a block that nobody uses. refs is how many times it will be released.
func (p *pool) get(ctx context.Context, refs int) (*buffer, error) {
	b, err := p.take(ctx)
	if err != nil {
		return nil, err
	}
	b.refs.Store(int32(refs))
	return b, nil
}

func (p *pool) take(ctx context.Context) (*buffer, error) {
	select {
	case b := <-p.free:
		return b, nil
	default:
	}
	p.mu.Lock()
	more := p.left > 0
	if more {
		p.left--
	}
	p.mu.Unlock()
	if more {
		return p.fresh()
	}
	select {
	case b := <-p.free:
		return b, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (p *pool) fresh() (*buffer, error) {
	b, err := device.NewBuffer(device.BlockSize)
	if err != nil {
		return nil, err
	}
	return &buffer{b: b, pool: p}, nil
}

// grow makes up for one block that a stuck call holds.
func (p *pool) grow() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.shut {
		return
	}
	if b, err := p.fresh(); err == nil {
		p.free <- b
	}
}

// release gives up one share of b. nil is allowed: holes and empty files have no block.
func (b *buffer) release() {
	if b != nil && b.refs.Add(-1) == 0 {
		b.pool.free <- b
	}
}

// close frees what has come back. A block that a stuck call still holds stays.
func (p *pool) close() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.shut = true
	for {
		select {
		case b := <-p.free:
			device.FreeBuffer(b.b)
		default:
			return
		}
	}
}
