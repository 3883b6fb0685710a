//go:build unix && !linux

package standalone

import "syscall"

// start starts the process. Where the system cannot end it with us, the next
// start finds it by its postmaster.pid and ends it then.
func (c *child) start() error {
	if c.cmd.SysProcAttr == nil {
		c.cmd.SysProcAttr = &syscall.SysProcAttr{}
	}
	c.cmd.SysProcAttr.Setpgid = true // Ctrl-C is ours to pass on
	if err := c.cmd.Start(); err != nil {
		return err
	}
	go c.wait()
	return nil
}
