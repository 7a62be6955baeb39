//go:build !unix && !windows

package journal

func isNoSpace(error) bool { return false }

func isReadOnly(error) bool { return false }

func syncFolder(string) error { return nil }
