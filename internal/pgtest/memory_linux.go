package pgtest

import "syscall"

const (
	sharedMemory = "/dev/shm"
	tmpfsMagic   = 0x01021994 // TMPFS_MAGIC in linux/magic.h
	enoughMemory = 2 << 30    // bytes free; a run needs 40 MB and 9 MB for each database
)

// memoryFolder is a folder in memory with room for the running server, or empty.
// A database is 300 new files: 12 to 30 ms there, 190 to 320 ms on a disk whose
// file system took 85 microseconds to make a file. TMPDIR overrides it.
func memoryFolder() string {
	var fs syscall.Statfs_t
	if err := syscall.Statfs(sharedMemory, &fs); err != nil || fs.Type != tmpfsMagic {
		return ""
	}
	if fs.Bavail*uint64(fs.Bsize) < enoughMemory { //nolint:gosec // a block size is positive
		return ""
	}
	return sharedMemory
}
