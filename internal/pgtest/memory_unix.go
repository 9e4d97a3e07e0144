//go:build unix && !linux && !aix && !solaris

package pgtest

// memoryFolder is empty: there is no folder in memory that every system has.
func memoryFolder() string { return "" }
