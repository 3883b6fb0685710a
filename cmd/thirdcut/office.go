package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/crew"
	"thirdcut/internal/fault"
	"thirdcut/internal/intake"
	"thirdcut/internal/plan"
	"thirdcut/internal/postgres"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/schedule"
)

type ownerCommand struct {
	database
	Company string `required:"" help:"Name of the company."`
	State   string `required:"" help:"Its state, two letters."`
	Zone    string `default:"America/New_York" help:"Its time zone (IANA name)."`
	Name    string `required:"" help:"The owner's name."`
	SignIn  string `required:"" help:"The owner's sign-in name."`
}

// Run makes the company where there is none, and the first owner.
func (c ownerCommand) Run(ctx context.Context) error {
	h, err := c.database.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	zone, err := time.LoadLocation(c.Zone)
	if err != nil {
		return errUse{fmt.Sprintf("%q is no time zone; write one such as America/New_York", c.Zone)}
	}
	if _, err := h.db.Company(ctx); fault.Is(err, fault.NotFound) {
		_, err = h.db.SaveCompany(ctx, 0, func(s *company.Settings) error {
			s.Name, s.State, s.Zone, s.WorkWeek = c.Company, strings.ToUpper(c.State), zone, []int{1, 2, 3, 4, 5}
			if _, err := recordrule.ByID("us-" + strings.ToLower(c.State)); err == nil {
				s.Jurisdictions = []string{"us-" + strings.ToLower(c.State), "us-federal-7cfr110"}
			}
			return nil
		})
		if err != nil {
			return err
		}
	} else if err != nil {
		return err
	}
	p, err := h.db.AddPerson(ctx, crew.Person{Name: c.Name})
	if err != nil {
		return err
	}
	password := account.MakePassword()
	if _, err := h.accounts.Create(ctx, p.ID, c.SignIn, password, []account.Role{account.Owner}, uuid.Nil); err != nil {
		return err
	}
	fmt.Printf("sign-in %s, password %s (shown this once; change it after signing in)\n", c.SignIn, password)
	return nil
}

type importCommand struct {
	Lawns   importLawns   `cmd:"" help:"Customers, properties and turf areas from a CSV or XLSX sheet. Example: thirdcut import lawns lawns.xlsx --dry-run"`
	Weather importWeather `cmd:"" help:"Daily weather from a CSV or GHCN-Daily file. Example: thirdcut import weather USC00189290.dly --place fernwick"`
}

type importLawns struct {
	database
	File    string `arg:"" help:"CSV or XLSX file." type:"existingfile"`
	Mapping string `help:"JSON file that names odd headers: {\"cutting_height\": \"HOC inches\"}." type:"existingfile"`
	DryRun  bool   `help:"Say what would happen and change nothing."`
	JSON    bool   `name:"json" help:"Answer as JSON."`
}

// readFile reads a file whole unless it is larger than any that is taken.
func readFile(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", name, err)
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, intake.MaxBytes+1))
}

// Run takes the sheet in whole, or names every place that is wrong.
func (c importLawns) Run(ctx context.Context) error {
	data, err := readFile(c.File)
	if err != nil {
		return err
	}
	var mapping intake.Mapping
	if c.Mapping != "" {
		b, err := readFile(c.Mapping)
		if err != nil {
			return err
		}
		if mapping, err = intake.ParseMapping(b); err != nil {
			return err
		}
	}
	sheet, err := intake.ReadLawns(data, filepath.Base(c.File), mapping)
	if err != nil {
		return err
	}
	if len(sheet.Problems) > 0 {
		return refuseFile(c.JSON, sheet.Problems, sheet.More)
	}
	h, err := c.database.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	sum := sha256.Sum256(data)
	res, err := h.db.ImportLawns(ctx, sheet.Import, postgres.ImportFile{Name: filepath.Base(c.File), SHA256: sum[:], DryRun: c.DryRun})
	if err != nil {
		return err
	}
	notes := append(sheet.Notes, res.Notes...)
	if c.JSON {
		return json.NewEncoder(os.Stdout).Encode(map[string]any{"dry_run": c.DryRun, "rows": sheet.Rows, "added": res.Added, "changed": res.Changed,
			"unchanged": res.Unchanged, "not_placed": sheet.NotPlaced, "notes": notes})
	}
	verb := "took in"
	if c.DryRun {
		verb = "would take in"
	}
	fmt.Printf("%s %d rows: %d added, %d changed, %d as before\n", verb, sheet.Rows, res.Added, res.Changed, res.Unchanged)
	for _, n := range notes {
		fmt.Println("note:", n)
	}
	for _, n := range sheet.NotPlaced {
		fmt.Println("not placed on the map:", n)
	}
	return nil
}

// refuseFile lists the wrong places of a file of which nothing was taken in.
func refuseFile(asJSON bool, problems []intake.Problem, more int) error {
	if asJSON {
		_ = json.NewEncoder(os.Stdout).Encode(map[string]any{"problems": problems, "more": more})
	}
	fmt.Fprintf(os.Stderr, "thirdcut: nothing was taken in: %d places of the file are wrong\n", len(problems)+more)
	for _, p := range problems {
		fmt.Fprintln(os.Stderr, " ", p)
	}
	if more > 0 {
		fmt.Fprintf(os.Stderr, "  and %d more\n", more)
	}
	return errQuiet
}

type importWeather struct {
	database
	File     string `arg:"" help:"Weather file." type:"existingfile"`
	Place    string `required:"" help:"Id of the weather place the days belong to."`
	Location string `help:"Which location of a file with several."`
	Morning  bool   `help:"The .dly station is read in the morning: maximum and rain go to the day before."`
	DryRun   bool   `help:"Say what would happen and change nothing."`
}

// Run takes the weather file in whole, or names every place that is wrong.
func (c importWeather) Run(ctx context.Context) error {
	data, err := readFile(c.File)
	if err != nil {
		return err
	}
	w, err := intake.ReadWeather(data, filepath.Base(c.File), intake.WeatherOptions{Location: c.Location, Morning: c.Morning})
	if err != nil {
		return err
	}
	if len(w.Problems) > 0 {
		return refuseFile(false, w.Problems, w.More)
	}
	h, err := c.database.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	sum := sha256.Sum256(data)
	saved, err := h.db.ImportWeather(ctx, c.Place, w.Days, postgres.ImportFile{Name: filepath.Base(c.File), SHA256: sum[:], DryRun: c.DryRun})
	if err != nil {
		return err
	}
	fmt.Printf("%s: %d days added, %d changed, %d as before\n", w.Form, saved.Added, saved.Changed, saved.Unchanged)
	for _, n := range w.Notes {
		fmt.Println("note:", n)
	}
	return nil
}

type planCommand struct {
	database
	From string `help:"First day; today without it." placeholder:"YYYY-MM-DD"`
	Days int    `default:"12" help:"How many days, 1 to 21."`
	JSON bool   `name:"json" help:"Write the plan as JSON."`
}

// Run asks for a plan, makes it here, and says what came of it. It stays a
// proposal until the office accepts it.
func (c planCommand) Run(ctx context.Context) error {
	h, err := c.database.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	settings, err := h.db.Company(ctx)
	if err != nil {
		return err
	}
	from := settings.Clock(time.Now).Today()
	if c.From != "" {
		if from, err = civil.ParseDate(c.From); err != nil {
			return errUse{err.Error()}
		}
	}
	p, err := h.schedule.AskPlan(ctx, from, c.Days, uuid.Nil)
	if err != nil {
		return err
	}
	if err := h.schedule.ComputePlan(ctx, p.ID); err != nil {
		return err
	}
	if p, err = h.db.Proposal(ctx, p.ID); err != nil {
		return err
	}
	if p.State == schedule.Failed {
		return fault.New(fault.Rule, "no-plan", "%s", p.Problem)
	}
	if c.JSON {
		return json.NewEncoder(os.Stdout).Encode(p.Plan)
	}
	fmt.Printf("%s to %s: %d visits, %d left out, %.0f minutes driving, %.0f working; accept it under Plans\n",
		p.From, p.To, len(p.Plan.Visits), len(p.Plan.Unplaced), p.Plan.DrivingMinutes, p.Plan.WorkingMinutes)
	return sayUnplaced(ctx, h, p.Plan.Unplaced)
}

// unplacedShown is how many works that were left out a terminal is told of
// one by one; all stand under Plans and in --json.
const unplacedShown = 20

// sayUnplaced counts what was left out by cause and names the first of it.
func sayUnplaced(ctx context.Context, h *house, list []plan.Unplaced) error {
	counts := map[string]int{}
	var ids []uuid.UUID
	for _, u := range list {
		counts[u.Code]++
		ids = append(ids, u.PropertyID)
	}
	for _, code := range slices.Sorted(maps.Keys(counts)) {
		fmt.Printf("left out, %s: %d\n", code, counts[code])
	}
	places, err := h.db.Properties(ctx, postgres.PropertyFilter{IDs: ids, WithoutOutlines: true})
	if err != nil || len(list) == 0 {
		return err
	}
	addresses := map[uuid.UUID]string{}
	for _, p := range places {
		addresses[p.ID] = p.Address
	}
	for _, u := range list[:min(len(list), unplacedShown)] {
		fmt.Printf("  %s, %s: %s\n", addresses[u.PropertyID], u.Work.Words(), u.Why)
	}
	if more := len(list) - unplacedShown; more > 0 {
		fmt.Printf("  and %d more; all of them stand under Plans\n", more)
	}
	return nil
}

type verifyCommand struct {
	database
	Seq  int64  `help:"Number of the chain's head as an export prints it."`
	Hash string `help:"SHA-256 of that head as the export prints it."`
	JSON bool   `name:"json" help:"Answer as JSON."`
}

// Run checks the chain of records.
func (c verifyCommand) Run(ctx context.Context) error {
	var head *application.Head
	if (c.Seq != 0) != (c.Hash != "") {
		return errUse{"--seq and --hash go together; both stand on the export"}
	}
	if c.Hash != "" {
		b, err := hex.DecodeString(strings.TrimSpace(c.Hash))
		if err != nil || len(b) != sha256.Size {
			return errUse{"--hash is 64 digits and letters a to f, as the export prints it"}
		}
		head = &application.Head{Seq: c.Seq, Hash: application.Hash(b)}
	}
	h, err := c.database.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	report, err := h.db.VerifyRecords(ctx, head)
	if err != nil {
		return err
	}
	if c.JSON {
		if err := json.NewEncoder(os.Stdout).Encode(report); err != nil {
			return err
		}
	}
	if !report.OK() {
		fmt.Fprintln(os.Stderr, "thirdcut: the records are not as they were written:")
		for _, p := range report.Problems {
			fmt.Fprintln(os.Stderr, " ", p)
		}
		return errQuiet
	}
	if !c.JSON {
		fmt.Printf("%d records, each as it was written; the chain ends at %d, %s\n", report.Records, report.Head.Seq, report.Head.Hash)
	}
	return nil
}

type exportCommand struct {
	Records exportRecords `cmd:"" help:"Application records for an inspection. Example: thirdcut export records --rule us-md --from 2026-01-01 --to 2026-12-31 --out records.xlsx"`
}

type exportRecords struct {
	database
	Rule string `required:"" help:"Id of a record rule, or a rule file."`
	From string `required:"" help:"First day of application." placeholder:"YYYY-MM-DD"`
	To   string `required:"" help:"Last day of application." placeholder:"YYYY-MM-DD"`
	Out  string `required:"" help:"File to write, .xlsx."`
}

// Run writes the workbook beside its place and moves it there when it is whole.
func (c exportRecords) Run(ctx context.Context) error {
	from, err := civil.ParseDate(c.From)
	if err != nil {
		return errUse{"--from: " + err.Error()}
	}
	to, err := civil.ParseDate(c.To)
	if err != nil {
		return errUse{"--to: " + err.Error()}
	}
	h, err := c.database.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	write := func(out io.Writer) (n int64, err error) {
		if strings.HasSuffix(c.Rule, ".json") {
			rule, err := readRule(c.Rule)
			if err != nil {
				return 0, err
			}
			s, err := h.exports.WriteFile(ctx, rule, from, to, out)
			return s.Listed, err
		}
		s, err := h.exports.WriteRule(ctx, c.Rule, from, to, out)
		return s.Listed, err
	}
	n, err := writeWhole(c.Out, write)
	if err != nil {
		return err
	}
	fmt.Printf("%d records written to %s\n", n, c.Out)
	return nil
}

// writeWhole writes a file beside its place and moves it there when it is whole.
func writeWhole(name string, write func(io.Writer) (int64, error)) (int64, error) {
	f, err := os.CreateTemp(filepath.Dir(name), ".thirdcut-*")
	if err != nil {
		return 0, fmt.Errorf("%s cannot be written: %w", name, err)
	}
	defer os.Remove(f.Name()) // nothing is left of a half one
	n, err := write(f)
	if err != nil {
		f.Close()
		return 0, err
	}
	if err := f.Chmod(0o644); err != nil {
		f.Close()
		return 0, fmt.Errorf("%s cannot be written: %w", name, err)
	}
	if err := f.Close(); err != nil {
		return 0, fmt.Errorf("%s cannot be written: %w", name, err)
	}
	return n, os.Rename(f.Name(), name)
}

func readRule(file string) (recordrule.Rule, error) {
	b, err := readFile(file)
	if err != nil {
		return recordrule.Rule{}, err
	}
	return recordrule.Parse(filepath.Base(file), b)
}

type rulesCommand struct {
	Gaps rulesGaps `cmd:"" help:"Which elements each record lacks, as JSON; null where the rule does not apply. Example: thirdcut rules gaps --rule us-md.json --records records.json"`
}

type rulesGaps struct {
	Rule    string `required:"" help:"Rule file." type:"existingfile"`
	Records string `required:"" help:"File of records." type:"existingfile"`
}

// Run prints the missing elements of each record.
func (c rulesGaps) Run() error {
	rule, err := readRule(c.Rule)
	if err != nil {
		return err
	}
	b, err := readFile(c.Records)
	if err != nil {
		return err
	}
	records, err := recordrule.DecodeRecords(filepath.Base(c.Records), b)
	if err != nil {
		return err
	}
	gaps, err := recordrule.GapsOf(rule, records)
	if err != nil {
		return err
	}
	out, err := recordrule.EncodeGaps(gaps)
	if err != nil {
		return err
	}
	_, err = os.Stdout.Write(out)
	return err
}
