package wire

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// Rewind takes a consumer back: its next Consume begins with the first reading
// that the log still has. That is for after a restored backup, whose store knows
// less than the log. No Consume of the name may run meanwhile.
func (l *Log) Rewind(ctx context.Context, durableName string) error {
	err := l.stream.DeleteConsumer(ctx, durableName)
	if err != nil && !errors.Is(err, jetstream.ErrConsumerNotFound) {
		return fmt.Errorf("log: taking consumer %s back: %w", durableName, err)
	}
	return nil
}
