// Command thirdcut runs a lawn-care company's days: see README.md.
package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"

	"thirdcut/internal/fault"
)

// commands is the command line, one field a command.
type commands struct {
	Demo   demoCommand   `cmd:"" help:"Start everything with an invented company, or run the whole way once with --once. Example: thirdcut demo --addr 127.0.0.1:8080"`
	Serve  serveCommand  `cmd:"" help:"Serve pages and API. Example: thirdcut serve --standalone --dir /var/lib/thirdcut"`
	Work   workCommand   `cmd:"" help:"Do the jobs of servers that run apart. Example: thirdcut work (with DATABASE_URL and REDIS_URL set)"`
	Owner  ownerCommand  `cmd:"" help:"Make the company and its first sign-in. Example: thirdcut owner --company \"Fernwick Grounds\" --state MD --name \"Ada Moss\" --sign-in ada"`
	Import importCommand `cmd:"" help:"Take in lawns or weather from a file."`
	Plan   planCommand   `cmd:"" help:"Make a plan of days and wait for it. Example: thirdcut plan --from 2026-07-06 --days 12"`
	Verify verifyCommand `cmd:"" help:"Check that every application record is as it was written. Example: thirdcut verify --seq 412 --hash 9f2c..."`
	Export exportCommand `cmd:"" help:"Write records to a file."`
	Rules  rulesCommand  `cmd:"" help:"Hold records in a file against a record rule."`

	Version kong.VersionFlag `help:"Say the version and stop."`
}

func main() { os.Exit(run(os.Args[1:])) }

// run is the whole program: 0 done, 1 failed, 2 wrong use.
func run(args []string) int {
	var c commands
	parser, err := kong.New(&c, kong.Name("thirdcut"), kong.Vars{"version": "thirdcut 1"},
		kong.Description("Software on which a small lawn-care company runs its days. Each command says more with --help."),
		kong.UsageOnError(), kong.ConfigureHelp(kong.HelpOptions{Compact: true}))
	if err != nil {
		fmt.Fprintln(os.Stderr, "thirdcut:", err)
		return 1
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	parsed, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintf(os.Stderr, "thirdcut: %v; see thirdcut --help\n", err)
		return 2
	}
	slog.SetDefault(slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn})))
	parsed.BindTo(ctx, (*context.Context)(nil))
	return exitCode(parsed.Run())
}

// errQuiet ends a command with 1 after it has said everything itself.
var errQuiet = errors.New("said already")

// errUse is a wrong use that the parser could not see.
type errUse struct{ say string }

func (e errUse) Error() string { return e.say }

func exitCode(err error) int {
	var use errUse
	switch f := fault.As(err); {
	case err == nil:
		return 0
	case errors.Is(err, errQuiet):
		return 1
	case errors.As(err, &use):
		fmt.Fprintln(os.Stderr, "thirdcut:", use.say)
		return 2
	case f != nil:
		fmt.Fprintln(os.Stderr, "thirdcut:", f.Detail)
		for _, field := range f.Fields {
			fmt.Fprintf(os.Stderr, "  %s: %s\n", field.Pointer, field.Detail)
		}
		return 1
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(os.Stderr, "thirdcut: stopped before the end; nothing was half-written")
		return 1
	default:
		fmt.Fprintln(os.Stderr, "thirdcut:", err)
		return 1
	}
}
