package command

import (
	"context"

	"twobin/procedure/command"
	"twobin/training/practice"
)

func show(ctx context.Context, a *command.App, s *practice.Session) error { return nil }
