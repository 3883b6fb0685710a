package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"time"

	"github.com/hibiken/asynq"
	"github.com/redis/go-redis/v9"
	"golang.org/x/sync/errgroup"

	"thirdcut/internal/standalone"
)

type serveCommand struct {
	database
	Addr          string `default:"127.0.0.1:8080" help:"Where to listen; port 0 takes a free one."`
	Standalone    bool   `help:"Keep a private PostgreSQL and queue in --dir and do the jobs too."`
	FetchPostgres bool   `help:"With --standalone: fetch a pinned PostgreSQL where the machine has none."`
	Cert          string `help:"TLS certificate file (PEM)." type:"existingfile"`
	Key           string `help:"TLS key file (PEM)." type:"existingfile"`
	TLSProxy      bool   `name:"tls-proxy" help:"People reach the server through a proxy that speaks TLS."`
}

// Run serves until it is told to stop.
func (c serveCommand) Run(ctx context.Context) error {
	if (c.Cert == "") != (c.Key == "") {
		return errUse{"--cert and --key go together"}
	}
	if !c.Standalone {
		h, err := c.database.open(ctx)
		if err != nil {
			return err
		}
		defer h.close()
		return c.listen(ctx, h, nil, nil)
	}
	servers, err := standalone.Start(ctx, standalone.Options{Dir: c.Dir, DatabaseURL: c.DatabaseURL, NoFetch: !c.FetchPostgres, Progress: os.Stderr})
	if err != nil {
		return err
	}
	defer servers.Stop()
	ctx, end := whileUp(ctx, servers)
	defer end()
	h, err := openHouse(ctx, servers.DatabaseURL())
	if err != nil {
		return err
	}
	defer h.close()
	return c.listen(ctx, h, servers.Queue(), func(address string) error { return servers.Announce(address, "") })
}

// whileUp ends the context when the private database is gone for good.
func whileUp(ctx context.Context, servers *standalone.Server) (context.Context, context.CancelFunc) {
	ctx, end := context.WithCancel(ctx)
	go func() {
		select {
		case <-servers.Down():
			fmt.Fprintln(os.Stderr, "thirdcut: the private PostgreSQL is gone and does not come back:", servers.Err())
			end()
		case <-ctx.Done():
		}
	}()
	return ctx, end
}

func (c serveCommand) listen(ctx context.Context, h *house, queue asynq.RedisConnOpt, announce func(string) error) error {
	handler, err := h.server(c.TLSProxy || c.Cert != "")
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", c.Addr)
	if err != nil {
		return fmt.Errorf("%s cannot be listened on; choose another with --addr: %w", c.Addr, err)
	}
	scheme := "http"
	if c.Cert != "" {
		scheme = "https"
	}
	address := scheme + "://" + listener.Addr().String()
	if announce != nil {
		if err := announce(address); err != nil {
			return err
		}
	}
	fmt.Fprintln(os.Stderr, "Thirdcut is at", address)
	group, ctx := errgroup.WithContext(ctx)
	if queue != nil {
		group.Go(func() error { return h.worker(queue).Run(ctx) })
	}
	group.Go(func() error { return serveHTTP(ctx, listener, handler, c.Cert, c.Key) })
	return group.Wait()
}

// serveHTTP answers until the context ends, then lets running answers finish.
func serveHTTP(ctx context.Context, l net.Listener, h http.Handler, cert, key string) error {
	s := &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 2 * time.Minute, WriteTimeout: 10 * time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10}
	done := make(chan error, 1)
	go func() {
		<-ctx.Done()
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 20*time.Second)
		defer cancel()
		done <- s.Shutdown(end)
	}()
	var err error
	if cert != "" {
		err = s.ServeTLS(l, cert, key)
	} else {
		err = s.Serve(l)
	}
	if !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return <-done
}

type workCommand struct {
	database
	RedisURL string `name:"redis-url" env:"REDIS_URL" help:"Address of the queue: redis://, rediss:// or unix://."`
	Check    bool   `help:"Only look whether database and queue answer."`
	Jobs     int    `default:"4" help:"How many jobs run at once."`
}

// Run does jobs until it is told to stop.
func (c workCommand) Run(ctx context.Context) error {
	if c.RedisURL == "" {
		return errUse{"work needs the queue's address: set REDIS_URL or --redis-url"}
	}
	queue, err := queueAt(c.RedisURL)
	if err != nil {
		return err
	}
	h, err := c.database.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	if c.Check {
		client := queue.MakeRedisClient().(redis.UniversalClient)
		defer client.Close()
		if err := client.Ping(ctx).Err(); err != nil {
			return fmt.Errorf("the queue at REDIS_URL does not answer: %w", err)
		}
		fmt.Println("database and queue answer")
		return nil
	}
	w := h.worker(queue)
	w.Concurrency = c.Jobs
	return w.Run(ctx)
}
