package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/hibiken/asynq"

	"thirdcut/api"
	"thirdcut/internal/account"
	"thirdcut/internal/export"
	"thirdcut/internal/postgres"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/schedule"
	"thirdcut/internal/standalone"
	"thirdcut/internal/visit"
	"thirdcut/internal/workbook"
	"thirdcut/jobs"
	"thirdcut/migrations"
)

// house is the program put together on one database.
type house struct {
	db       *postgres.DB
	url      string
	schedule *schedule.Service
	visits   visit.Service
	exports  *export.Service
	accounts account.Accounts
}

// openHouse connects, brings the database up to date and puts the parts together.
func openHouse(ctx context.Context, url string) (*house, error) {
	db, err := postgres.Open(ctx, url, time.Now)
	if err != nil {
		return nil, err
	}
	if err := migrations.Up(ctx, db.DB.DB); err != nil {
		db.Close()
		return nil, err
	}
	return &house{
		db: db, url: url,
		schedule: &schedule.Service{Store: db, Real: time.Now},
		visits:   visit.Service{Store: db},
		exports: &export.Service{Store: db, Rules: recordrule.Standard(), Real: time.Now,
			NewBook:  func(out io.Writer) (export.Book, error) { return workbook.New(out, "") },
			NewTable: func(out io.Writer, header []string) (export.Table, error) { return workbook.NewCSV(out, header) }},
		accounts: account.Accounts{Store: db, Hasher: account.NewHasher(0)},
	}, nil
}

func (h *house) close() { h.db.Close() }

// worker does the house's jobs on a queue.
func (h *house) worker(queue asynq.RedisConnOpt) *jobs.Worker {
	return &jobs.Worker{DB: h.db, URL: h.url, Queue: queue, Schedule: h.schedule, Exports: h.exports}
}

// server is the house's pages and API.
func (h *house) server(secure bool) (*api.Server, error) {
	return api.New(api.Config{DB: h.db, Accounts: h.accounts, Schedule: h.schedule, Visits: h.visits, Exports: h.exports, Secure: secure})
}

// database says which database a command works on.
type database struct {
	DatabaseURL string `name:"database-url" env:"DATABASE_URL" help:"Address of the PostgreSQL to use; without it the Thirdcut that runs on --dir is asked."`
	Dir         string `help:"Data folder of a Thirdcut that runs on this machine." placeholder:"DIR"`
}

// open finds the database: by its address, or through the Thirdcut that runs on the folder.
func (d database) open(ctx context.Context) (*house, error) {
	if d.DatabaseURL != "" {
		return openHouse(ctx, d.DatabaseURL)
	}
	run, err := standalone.FindRunning(d.Dir)
	if err != nil {
		return nil, err
	}
	return openHouse(ctx, run.DatabaseURL)
}

// queueAt reads REDIS_URL: redis://, rediss:// or unix://.
func queueAt(url string) (asynq.RedisConnOpt, error) {
	if path, ok := cutUnix(url); ok {
		return asynq.RedisClientOpt{Network: "unix", Addr: path}, nil
	}
	opt, err := asynq.ParseRedisURI(url)
	if err != nil {
		return nil, errUse{fmt.Sprintf("REDIS_URL cannot be read; write it as redis://:password@host:6379/0 or unix:///path/to/socket: %v", err)}
	}
	return opt, nil
}

func cutUnix(url string) (string, bool) {
	const prefix = "unix://"
	if len(url) > len(prefix) && url[:len(prefix)] == prefix {
		return url[len(prefix):], true
	}
	return "", false
}
