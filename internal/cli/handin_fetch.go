package cli

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"singback/internal/handin"
	"singback/internal/plain"
)

// isAddress tells whether what was named is the address of a folder on a server, and no
// path here.
func isAddress(path string) bool {
	scheme, _, ok := strings.Cut(path, "://")
	return ok && (strings.EqualFold(scheme, "https") || strings.EqualFold(scheme, "http"))
}

// fetched fetches what lies in the folders on servers that are among some paths, each
// into a folder here, below another, and returns the paths with that in its place. What has come
// before is not fetched again. It says what came, and what was left and why; an error
// ends it, and the same goes on from there.
func (o *wayOptions) fetched(ctx context.Context, e *env, paths []string, below string) ([]string, error) {
	here := make([]string, len(paths))
	for i, path := range paths {
		if here[i] = path; !isAddress(path) {
			continue
		}
		from, err := handin.ParseAddress(path, o.withoutTLS)
		if err != nil {
			return nil, o.refused("the folder", path, err)
		}
		folder, err := o.enter(ctx, e, from)
		if err != nil {
			return nil, stopped(err)
		}
		here[i] = filepath.Join(below, localFolder(from))
		list, err := folder.Fetch(ctx, here[i], e.progress())
		came, was := 0, 0
		for _, f := range list {
			switch {
			case f.Note != "":
				fmt.Fprintf(e.stderr, "Left: %s.\n", f.Note)
			case f.New:
				came++
			default:
				was++
			}
		}
		fmt.Fprintf(e.stderr, "%s fetched from %s into %s; %d there already.\n", many(came, "file"), from, plain.Line(here[i]), was)
		if err != nil {
			return nil, stopped(err)
		}
	}
	return here, nil
}

// localFolder is what the folder here is called into which one on a server is fetched.
func localFolder(from handin.Address) string {
	_, rest, _ := strings.Cut(from.String(), "://")
	return "from-" + strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '.' || r == '-' || r == '_' {
			return r
		}
		return '-'
	}, rest), "-.")
}
