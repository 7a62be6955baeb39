package command_test

import (
	"testing"

	"twobin/guard/mounttest"
)

func TestMain(m *testing.M) { mounttest.Main(m) }
