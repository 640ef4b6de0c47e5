//go:build !unix

package main

// usualConnections is how many connections the machine allows; 0, which bounds nothing, where it sets no limit of open
// files.
func usualConnections() int { return 0 }
