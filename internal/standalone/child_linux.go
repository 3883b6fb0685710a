package standalone

import (
	"runtime"
	"syscall"
)

// start starts the process so that it ends when this program does, even by
// SIGKILL. The kernel ties that to the thread that forked, so that thread is
// kept for the child's life.
func (c *child) start() error {
	started := make(chan error, 1)
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		if c.cmd.SysProcAttr == nil {
			c.cmd.SysProcAttr = &syscall.SysProcAttr{}
		}
		c.cmd.SysProcAttr.Pdeathsig = syscall.SIGINT // PostgreSQL's fast shutdown
		c.cmd.SysProcAttr.Setpgid = true             // Ctrl-C is ours to pass on
		err := c.cmd.Start()
		started <- err
		if err == nil {
			c.wait()
		}
	}()
	return <-started
}
