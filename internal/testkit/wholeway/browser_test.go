// Package wholeway drives the whole way of the data once through a real
// browser: from the due windows to the inspection workbook.
package wholeway

import (
	"context"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/chromedp"
	"github.com/google/uuid"
	"github.com/xuri/excelize/v2"

	"thirdcut/api"
	"thirdcut/internal/account"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/export"
	"thirdcut/internal/label"
	"thirdcut/internal/property"
	"thirdcut/internal/recordrule"
	"thirdcut/internal/schedule"
	"thirdcut/internal/testkit/build"
	"thirdcut/internal/testkit/pgtest"
	"thirdcut/internal/testkit/redistest"
	"thirdcut/internal/turf"
	"thirdcut/internal/visit"
	"thirdcut/internal/workbook"
	"thirdcut/jobs"

	"io"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

const password = "teasel-plover-7-harrow"

// house is a small company with pages and a worker on real servers.
func house(t *testing.T) (*build.World, string) {
	t.Helper()
	url := pgtest.New(t)
	db := build.Open(t, url)
	w := build.Company(t, db)
	clock := build.Day.At(6*60, w.Company.Zone)
	if err := db.SetClock(t.Context(), clock); err != nil {
		t.Fatal(err)
	}
	if _, err := db.SaveCompany(t.Context(), current(t, w).Version, func(s *company.Settings) error {
		s.Jurisdictions = []string{"us-md", "us-federal-7cfr110"}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	services := schedule.Service{Store: db, Real: db.Real, Iterations: 2000}
	exports := &export.Service{Store: db, Rules: recordrule.Standard(), Real: db.Real,
		NewBook:  func(out io.Writer) (export.Book, error) { return workbook.New(out, t.TempDir()) },
		NewTable: func(out io.Writer, header []string) (export.Table, error) { return workbook.NewCSV(out, header) }}
	accounts := account.Accounts{Store: db, Hasher: account.NewHasher(0)}
	for name, who := range map[string]struct {
		id   uuid.UUID
		role account.Role
	}{"owner": {w.Owner.ID, account.Owner}, "lead": {w.Lead.ID, account.Technician}} {
		if _, err := accounts.Create(t.Context(), who.id, name, password, []account.Role{who.role}, uuid.Nil); err != nil {
			t.Fatal(err)
		}
	}
	server, err := api.New(api.Config{DB: db, Accounts: accounts, Schedule: &services, Visits: visit.Service{Store: db}, Exports: exports})
	if err != nil {
		t.Fatal(err)
	}
	pages := httptest.NewServer(server)
	t.Cleanup(pages.Close)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	worker := jobs.Worker{DB: db, URL: url, Queue: redistest.New(t), Schedule: &services, Exports: exports}
	go func() { ended <- worker.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return w, pages.URL
}

func current(t *testing.T, w *build.World) company.Settings {
	t.Helper()
	c, err := w.DB.Company(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// agreed gives the lawn a service plan and chooses the product against nutsedge.
func agreed(t *testing.T, w *build.World) {
	t.Helper()
	_, err := w.DB.SaveServicePlan(t.Context(), w.Property.ID, 0, build.Day, func(p *property.ServicePlan) error {
		p.Services, p.SeasonFrom, p.SeasonTo, p.PriceBasis = []turf.Work{turf.Mow, turf.Edge, turf.Spray}, civil.MonthDay{Month: 4, Day: 1}, civil.MonthDay{Month: 11, Day: 15}, "per_visit"
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	product, err := w.DB.Product(t.Context(), w.Weed.ID)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.DB.AddChoice(t.Context(), schedule.Choice{Target: "nutsedge", Season: "any", Work: turf.Spray, ProductID: product.ID,
		Pattern: product.Labels[0].Pattern, Rate: 1, RateUnit: label.FlOzPerThousand, Purpose: "yellow nutsedge", Method: "broadcast spray"}); err != nil {
		t.Fatal(err)
	}
}

// tab is a browser of the test's own.
func tab(t *testing.T, downloads string) context.Context {
	t.Helper()
	bin := "chromium"
	if b := os.Getenv("THIRDCUT_CHROMIUM"); b != "" {
		bin = b
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(bin), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-background-networking", true),
		chromedp.WindowSize(1280, 900))
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(stop)
	ctx, close := chromedp.NewContext(alloc)
	t.Cleanup(close)
	ctx, cancel := context.WithTimeout(ctx, 6*time.Minute)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx, func(ctx context.Context, _ *chromedp.Target) (chromedp.Void, error) {
		_, err := chromedp.Call(ctx, browser.SetDownloadBehavior, browser.SetDownloadBehaviorParams{
			Behavior: browser.SetDownloadBehaviorBehaviorAllow, DownloadPath: downloads, EventsEnabled: build.Pointer(true)})
		return chromedp.Void{}, err
	}); err != nil {
		t.Fatalf("the test needs Chromium (apt install chromium): %v", err)
	}
	return ctx
}

type walker struct {
	*testing.T
	ctx  context.Context
	base string
}

func (w walker) do(what string, actions ...chromedp.Action[chromedp.Void]) {
	w.Helper()
	began := time.Now()
	defer func() { w.Logf("%6.2f s  %s", time.Since(began).Seconds(), what) }()
	if err := chromedp.Do(w.ctx, actions...); err != nil {
		w.Fatalf("%s: %v\nat %s\n%s", what, err, w.location(), w.text())
	}
}

func (w walker) text() string {
	s, err := chromedp.Run(w.ctx, chromedp.Text(chromedp.CSS("main")))
	if err != nil {
		return "(the page has no text: " + err.Error() + ")"
	}
	return s
}

func (w walker) location() string {
	s, _ := chromedp.Run(w.ctx, chromedp.Location())
	return s
}

func (w walker) signIn(name string) {
	w.Helper()
	w.do("open the sign-in", chromedp.Navigate(w.base+"/sign-in"))
	w.do("sign in as "+name, chromedp.SendKeys(chromedp.ID("name"), name), chromedp.SendKeys(chromedp.ID("password"), password),
		chromedp.Click(chromedp.CSS("main button")), chromedp.WaitVisible(chromedp.CSS(".menu")))
}

// press clicks a button by its words.
func (w walker) press(words string) {
	w.Helper()
	// It waits for the page that comes, so that looking again does not break the sending off.
	if _, err := chromedp.RunResponse(w.ctx, chromedp.Click("//button[contains(., '"+words+"')]")); err != nil {
		w.Fatalf("press %s: %v\nat %s\n%s", words, err, w.location(), w.text())
	}
}

// until looks again until the page says the words.
func (w walker) until(words string) {
	w.Helper()
	for range 400 {
		if strings.Contains(w.text(), words) {
			return
		}
		time.Sleep(250 * time.Millisecond)
		w.do("look again", chromedp.Reload())
	}
	w.Fatalf("the page never says %q:\n%s", words, w.text())
}

func TestWholeWayInABrowser(t *testing.T) {
	company, base := house(t)
	agreed(t, company)
	downloads := t.TempDir()
	w := walker{t, tab(t, downloads), base}

	w.signIn("owner")
	w.do("open the plans", chromedp.Navigate(base+"/plans"))
	w.do("ask for three days", chromedp.SetValue(chromedp.ID("days"), "3"))
	w.press("Make a plan")
	w.until("Accept this plan")
	w.press("Accept this plan")
	w.until("accepted")

	visits, err := company.DB.VisitsBetween(t.Context(), build.Day, build.Day.AddDays(2))
	if err != nil {
		t.Fatal(err)
	}
	var spray visit.Visit
	for _, v := range visits {
		for _, task := range v.Tasks {
			if task.Work == turf.Spray {
				spray = v
			}
		}
	}
	if spray.ID == uuid.Nil {
		t.Fatalf("the accepted plan has no application; visits: %+v", visits)
	}
	if _, err := company.DB.SendSheet(t.Context(), spray.CrewID, spray.Date); err != nil {
		t.Fatal(err)
	}
	w.press("Sign out")

	w.do("wait for the sign-in", chromedp.WaitVisible(chromedp.ID("password")))
	w.signIn("lead")
	w.do("open the day's sheets", chromedp.Navigate(base+"/sheets?date="+spray.Date.String()))
	w.do("open the sheet", chromedp.Click("//main//h3/a"), chromedp.WaitVisible(chromedp.CSS(".stop-list")))
	if text := w.text(); !strings.Contains(text, "2 Fern Way") || !strings.Contains(text, "Sample Sedge Out") {
		t.Fatalf("the sheet lacks the stop or its product:\n%s", text)
	}
	w.do("open the visit", chromedp.Navigate(base+"/visits/"+spray.ID.String()), chromedp.WaitVisible(chromedp.ID("finished")))
	fill := map[string]string{}
	for _, task := range spray.Tasks {
		if task.Work == turf.Spray {
			fill["amount."+task.ID.String()] = "4 fl oz"
			for field, v := range map[string]string{"air.": "71 F", "wind.": "4 mph", "from.": "SW", "diluent.": "5 gal", "equipment.": "backpack sprayer"} {
				fill[field+task.ProductID.String()] = v
			}
		}
		if task.Work == turf.Mow {
			fill["before."+task.ID.String()], fill["left."+task.ID.String()] = "4 1/2 in", "3 1/2 in"
		}
	}
	for name, v := range fill {
		w.do("fill in "+name, chromedp.SetValue(chromedp.CSS(`[name="`+name+`"]`), v))
	}
	w.press("Send the report")
	w.until("report is in")
	w.do("go to the first page", chromedp.Navigate(base+"/"))
	w.press("Sign out")

	w.do("wait for the sign-in", chromedp.WaitVisible(chromedp.ID("password")))
	w.signIn("owner")
	w.do("open the records", chromedp.Navigate(base+"/records?from="+build.Day.String()+"&to="+build.Day.AddDays(5).String()))
	if text := w.text(); !strings.Contains(text, "Sample Sedge Out") || !strings.Contains(text, "Lee Alder") {
		t.Fatalf("the record is not in the list:\n%s", text)
	}
	w.do("open the record", chromedp.Click("//main//tbody//a"), chromedp.WaitVisible(chromedp.CSS("dl.facts")))
	if text := w.text(); !strings.Contains(text, "MD-pesticide-Lee Alder") || !strings.Contains(text, "4 mph") {
		t.Fatalf("the record lacks the licence or the wind:\n%s", text)
	}
	w.do("open the exports", chromedp.Navigate(base+"/exports"))
	w.do("name the days", chromedp.SetValue(chromedp.ID("from"), build.Day.String()), chromedp.SetValue(chromedp.ID("to"), build.Day.AddDays(5).String()))
	w.press("Make the file")
	w.until("kB")
	w.do("download the workbook", chromedp.Click("//main//tbody//a"))
	checkWorkbook(t, waitForFile(t, downloads))
}

func waitForFile(t *testing.T, dir string) string {
	t.Helper()
	for range 100 {
		found, err := filepath.Glob(filepath.Join(dir, "*.xlsx"))
		if err != nil {
			t.Fatal(err)
		}
		if len(found) == 1 {
			return found[0]
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Fatal("the browser never saved the workbook")
	return ""
}

func checkWorkbook(t *testing.T, name string) {
	t.Helper()
	f, err := excelize.OpenFile(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := f.GetRows(f.GetSheetName(0))
	if err != nil {
		t.Fatal(err)
	}
	all := ""
	for _, r := range rows {
		all += strings.Join(r, " | ") + "\n"
	}
	for _, want := range []string{"00000-1", "examplin", "yellow nutsedge", "2 Fern Way", "Lee Alder", "COMAR 15.05.01.12"} {
		if !strings.Contains(all, want) {
			t.Errorf("the workbook says nothing of %q:\n%s", want, all)
		}
	}
}
