// Package mounttest gives tests that mount volumes a mount table of their own, so that packages tested at the same time
// do not see each other's volumes come and go: a watcher under test would call them strays, and every stray makes the
// fresh look void. Nothing but tests imports it.
package mounttest
