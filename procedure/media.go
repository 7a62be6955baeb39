package procedure

import (
	"context"
	"time"

	"twobin/guard"
)

// Target is where one copy of a roll goes: the destination, and the roll's folder below its path.
type Target struct {
	Destination
	Folder string
}

// Plan is one offload.
type Plan struct {
	Roll     Label
	Card     guard.Volume
	Listing  guard.Listing
	Targets  []Target
	Hashes   []string
	Reread   bool
	Operator string
}

// Progress is how far a copy is, as a value. All sizes are bytes.
type Progress struct {
	Phase     string
	Done      int64
	FilesDone int
	PerSecond int64
	Left      time.Duration
	LeftKnown bool
	Dests     []DestView
}

// Media is what the runner needs of the guard. The real one is in package procedure/media; drills use the same one on
// simulated volumes. Every method may block for long and heeds ctx.
type Media interface {
	guard.Identifier
	// Scan lists a card.
	Scan(ctx context.Context, card guard.Volume) (guard.Listing, error)
	// Probe says what speaks against a destination before anything is written: nil for nothing.
	Probe(ctx context.Context, path string) (guard.Volume, error)
	// Check says what speaks against an offload before its first byte.
	Check(ctx context.Context, p Plan) []*guard.Error
	// Copy runs an offload; progress is called with a function that samples it, before the first byte.
	Copy(ctx context.Context, p Plan, progress func(sample func(now time.Time) Progress)) (guard.Proof, []*guard.Error)
	// Save and Load keep proofs by the SHA-256 of their file.
	Save(p *guard.Proof) (string, error)
	Load(sha string) (*guard.Proof, error)
	// Look takes the fresh look that the lock needs.
	Look(ctx context.Context, p *guard.Proof, card guard.Volume) guard.Look
	// Stand says whether a destination's proven copy stands there: on its own volume, every file by its name and size.
	// Nothing is hashed. Without a proof it only says whether the destination itself is there.
	Stand(ctx context.Context, d Destination, p *guard.Proof) error
	// Erase removes what the permit allows.
	Erase(ctx context.Context, permit *guard.Permit, p *guard.Proof, card guard.Volume) (guard.Erased, error)
}

// VolumeChange is what became of the mounted volumes.
type VolumeChange struct {
	Arrived, Gone []guard.Volume
	// Answered are volumes that arrived before their drives had said who they are, and are whole now.
	Answered []guard.Volume
}

// Volumes tells of volumes that come and go.
type Volumes interface {
	// Changes delivers every change; the channel closes when watching ends.
	Changes() <-chan VolumeChange
}
