package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/scenario"
	"thirdcut/internal/schedule"
	"thirdcut/internal/standalone"
)

type demoCommand struct {
	Dir      string `help:"Data folder of the demo; its own beside the program's without it." placeholder:"DIR"`
	Addr     string `default:"127.0.0.1:8080" help:"Where to listen; port 0 takes a free one."`
	Date     string `help:"Day on which the demo stands still." placeholder:"YYYY-MM-DD"`
	NoFetch  bool   `help:"Stop rather than fetch a PostgreSQL where the machine has none."`
	Once     bool   `help:"Run the whole way once without a browser and write what comes of it to --out."`
	Out      string `help:"With --once: folder to write to." placeholder:"DIR"`
	Weather  string `help:"With --once: weather file to use in place of drawn weather." type:"existingfile"`
	Location string `help:"Which location of a weather file with several."`
	Lawns    int    `hidden:"" help:"Bounds the round, for tests."`
}

// demoIterations bounds the search for the demo's plan, so that it comes out
// the same on every machine.
const (
	demoIterations = 20000
	demoDays       = 12
)

// Run starts the demo, or runs it once.
func (c demoCommand) Run(ctx context.Context) error {
	if c.Once != (c.Out != "") {
		return errUse{"--once and --out go together: thirdcut demo --once --out DIR"}
	}
	if c.Weather != "" && !c.Once {
		return errUse{"--weather goes with --once"}
	}
	date := scenario.DefaultDate
	if c.Date != "" {
		var err error
		if date, err = civil.ParseDate(c.Date); err != nil {
			return errUse{"--date: " + err.Error()}
		}
	}
	if c.Once {
		return c.once(ctx, date)
	}
	return c.start(ctx, date)
}

// start keeps a demo on this machine until it is told to stop.
func (c demoCommand) start(ctx context.Context, date civil.Date) error {
	dir := c.Dir
	if dir == "" {
		dir = filepath.Join(standalone.DefaultDir(), "demo")
	}
	servers, err := standalone.Start(ctx, standalone.Options{Dir: dir, NoFetch: c.NoFetch, Progress: os.Stderr})
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
	signIns := filepath.Join(dir, "sign-ins.txt")
	if err := c.furnish(ctx, h, date, signIns); err != nil {
		return err
	}
	s := serveCommand{Addr: c.Addr}
	return s.listen(ctx, h, servers.Queue(), func(address string) error {
		text, err := os.ReadFile(signIns)
		if err != nil {
			return fmt.Errorf("the sign-ins of the demo cannot be read; remove %s to begin anew: %w", dir, err)
		}
		fmt.Printf("Fernwick Grounds, an invented company, is at %s\n%s", address, text)
		return servers.Announce(address, "")
	})
}

// furnish makes the scenario where the database is empty. sign-ins.txt is
// written last, so that a demo whose making was broken off is known by its absence.
func (c demoCommand) furnish(ctx context.Context, h *house, date civil.Date, signIns string) error {
	_, err := h.db.Company(ctx)
	if err == nil {
		if _, err := os.Stat(signIns); errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("the demo in %s was not made to its end; remove the folder and start again", filepath.Dir(signIns))
		}
		return nil
	}
	if !fault.Is(err, fault.NotFound) {
		return err
	}
	made, err := scenario.Build(ctx, c.scenario(h, date))
	if err != nil {
		return err
	}
	if _, err := acceptedPlan(ctx, h, date, made.Owner.ID); err != nil {
		return err
	}
	if _, err := sendDay(ctx, h, date); err != nil {
		return err
	}
	if err := h.schedule.RefreshWindows(ctx, uuid.Nil); err != nil {
		return err
	}
	return writeSignIns(ctx, h, made, signIns)
}

func (c demoCommand) scenario(h *house, date civil.Date) scenario.House {
	return scenario.House{DB: h.db, Schedule: h.schedule, Visits: h.visits, Seed: scenario.Seed, Date: date, Properties: c.Lawns,
		Progress: func(s string) { fmt.Fprintln(os.Stderr, s) }}
}

// acceptedPlan plans the fortnight from the day and accepts it.
func acceptedPlan(ctx context.Context, h *house, date civil.Date, by uuid.UUID) (schedule.Proposal, error) {
	s := *h.schedule
	s.Iterations = demoIterations
	p, err := s.AskPlan(ctx, date, demoDays, by)
	if err != nil {
		return p, err
	}
	if err := s.ComputePlan(ctx, p.ID); err != nil {
		return p, err
	}
	if p, err = h.db.Proposal(ctx, p.ID); err != nil {
		return p, err
	}
	if p.State == schedule.Failed {
		return p, fault.New(fault.Rule, "no-plan", "%s", p.Problem)
	}
	return p, s.AcceptPlan(ctx, p.ID, p.Version, by)
}

// sendDay gives the day's sheets out.
func sendDay(ctx context.Context, h *house, date civil.Date) ([]schedule.RouteSheet, error) {
	sheets, err := h.db.Sheets(ctx, date, date)
	if err != nil {
		return nil, err
	}
	for i, s := range sheets {
		if sheets[i], err = h.db.SendSheet(ctx, s.CrewID, s.Date); err != nil {
			return nil, err
		}
	}
	return sheets, nil
}

// writeSignIns makes the demo's accounts with passwords of their own and keeps
// them where only the machine's user reads them.
func writeSignIns(ctx context.Context, h *house, made scenario.Made, name string) error {
	var text strings.Builder
	for _, who := range []struct {
		person crew.Person
		role   account.Role
	}{{made.Owner, account.Owner}, {made.Office, account.Office}, {made.Technician, account.Technician}} {
		password := account.MakePassword()
		first, _, _ := strings.Cut(strings.ToLower(who.person.Name), " ")
		if _, err := h.accounts.Create(ctx, who.person.ID, first, password, []account.Role{who.role}, uuid.Nil); err != nil {
			return err
		}
		fmt.Fprintf(&text, "  %-10s sign-in %-8s password %s   (%s)\n", who.role, first, password, who.person.Name)
	}
	if err := os.WriteFile(name, []byte(text.String()), 0o600); err != nil {
		return fmt.Errorf("the sign-ins cannot be kept: %w", err)
	}
	return nil
}

// once runs the way from the office sheet to the records and writes what comes of it.
func (c demoCommand) once(ctx context.Context, date civil.Date) error {
	if err := os.MkdirAll(filepath.Join(c.Out, sheetFolder), 0o755); err != nil {
		return fmt.Errorf("%s cannot be written to; choose another with --out: %w", c.Out, err)
	}
	servers, err := standalone.Start(ctx, standalone.Options{Throwaway: true, NoFetch: c.NoFetch, Progress: os.Stderr})
	if err != nil {
		return err
	}
	defer servers.Stop()
	h, err := openHouse(ctx, servers.DatabaseURL())
	if err != nil {
		return err
	}
	defer h.close()
	in := c.scenario(h, date)
	if c.Weather != "" {
		if in.Weather, err = c.readWeather(); err != nil {
			return err
		}
	}
	made, err := scenario.Build(ctx, in)
	if err != nil {
		return err
	}
	o := onceRun{ctx: ctx, house: h, made: made, date: date, out: c.Out}
	return o.run()
}
