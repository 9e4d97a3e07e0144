package localpg

import (
	"fmt"
	"os"
	"strings"
	"syscall"
)

// setDeathSignal makes the kernel signal the child when its parent ends.
func setDeathSignal(attr *syscall.SysProcAttr, sig syscall.Signal) { attr.Pdeathsig = sig }

// commandLine returns the arguments of a process; none for a zombie or no process.
func commandLine(pid int) []string {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid))
	if err != nil || len(text) == 0 {
		return nil
	}
	return strings.Split(strings.TrimSuffix(string(text), "\x00"), "\x00")
}
