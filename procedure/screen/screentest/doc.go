// Package screentest lets tests see a full-screen program as a person does: it runs on a pseudo-terminal, and an emulator
// reads what it draws and answers what it asks. Nothing but tests imports it.
package screentest
