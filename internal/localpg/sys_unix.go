//go:build unix && !linux && !aix && !solaris

package localpg

import (
	"os/exec"
	"strconv"
	"strings"
	"syscall"
)

// setDeathSignal does nothing here: a postgres that outlives a killed owner is
// found and stopped by the next start.
func setDeathSignal(*syscall.SysProcAttr, syscall.Signal) {}

// commandLine returns the arguments of a process as far as ps shows them. The
// data folder may hold spaces, so it is cut out as one argument: it is followed
// by our first option.
func commandLine(pid int) []string {
	out, err := exec.Command("ps", "-ww", "-o", "command=", "-p", strconv.Itoa(pid)).Output()
	if err != nil {
		return nil
	}
	program, rest, ok := strings.Cut(strings.TrimSpace(string(out)), " -D ")
	if !ok {
		return []string{program}
	}
	data, _, _ := strings.Cut(rest, " -c ")
	return []string{program, "-D", data}
}
