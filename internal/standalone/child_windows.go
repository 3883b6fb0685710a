package standalone

// start starts the process. Only a Redis server can be asked for here; see
// serverAccount.
func (c *child) start() error {
	if err := c.cmd.Start(); err != nil {
		return err
	}
	go c.wait()
	return nil
}
