package standalone

import (
	"bytes"
	"fmt"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"time"
)

// child is a server process of ours.
type child struct {
	name string
	cmd  *exec.Cmd
	gone chan struct{} // closed when it has ended
	err  error         // how it ended, after gone
	said *tail
}

func newChild(name string, cmd *exec.Cmd) *child {
	c := &child{name: name, cmd: cmd, gone: make(chan struct{}), said: &tail{}}
	cmd.Stdout, cmd.Stderr = c.said, c.said
	// Processes of a killed server may hold its output open for a while.
	cmd.WaitDelay = 5 * time.Second
	return c
}

// wait is the last thing that the goroutine of start does.
func (c *child) wait() {
	c.err = c.cmd.Wait()
	close(c.gone)
}

// stop asks for a fast shutdown and waits; a server that does not end within
// the time is ended at once, which costs it a recovery at the next start.
func (c *child) stop() error {
	for _, step := range []struct {
		signal syscall.Signal
		within time.Duration
	}{{syscall.SIGINT, 30 * time.Second}, {syscall.SIGQUIT, 10 * time.Second}} {
		_ = c.cmd.Process.Signal(step.signal) // gone already is fine
		select {
		case <-c.gone:
			if step.signal == syscall.SIGINT {
				return nil
			}
			return fmt.Errorf("%s had to be stopped at once; it recovers at the next start", c.name)
		case <-time.After(step.within):
		}
	}
	_ = c.cmd.Process.Kill()
	<-c.gone
	return fmt.Errorf("%s had to be killed; it recovers at the next start", c.name)
}

// reason picks out of what a program said the line that says why it ended.
func reason(said []byte) string {
	lines := strings.Split(strings.TrimSpace(string(said)), "\n")
	for _, mark := range []string{"PANIC:", "FATAL:", "error:"} {
		for i := len(lines) - 1; i >= 0; i-- {
			if _, why, ok := strings.Cut(lines[i], mark); ok {
				return strings.TrimSpace(why)
			}
		}
	}
	if last := strings.TrimSpace(lines[len(lines)-1]); last != "" {
		return last
	}
	return "it gave no reason"
}

// tail keeps the last of what a process says.
type tail struct {
	mu  sync.Mutex
	buf []byte
}

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.buf = append(t.buf, p...)
	if over := len(t.buf) - 16<<10; over > 0 {
		t.buf = append(t.buf[:0], t.buf[over:]...)
	}
	return len(p), nil
}

func (t *tail) bytes() []byte {
	t.mu.Lock()
	defer t.mu.Unlock()
	return bytes.Clone(t.buf)
}
