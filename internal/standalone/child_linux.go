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
		if err := c.cmd.Start(); err != nil {
			started <- err
			return
		}
		started <- nil
		c.err = c.cmd.Wait()
		close(c.gone)
	}()
	return <-started
}
