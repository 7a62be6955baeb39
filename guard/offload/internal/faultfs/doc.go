//go:build !linux

// Package faultfs is a file system for tests; it exists on Linux only.
package faultfs
