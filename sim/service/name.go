package service

import (
	"crypto/rand"
	"encoding/base64"
	"encoding/hex"
	"regexp"
	"slices"
	"strings"
)

var idPattern = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?$`)

// drillName and the others make resource names.
func drillName(id string) string           { return "drills/" + id }
func jobName(id string) string             { return "jobs/" + id }
func snapshotName(drill, id string) string { return drill + "/snapshots/" + id }

// checkName reports whether a name has the form collection/{id}[/collection/{id}].
func checkName(field, name string, collections ...string) error {
	parts := strings.Split(name, "/")
	ok := len(parts) == 2*len(collections)
	for i := 0; ok && i < len(collections); i++ {
		ok = parts[2*i] == collections[i] && idPattern.MatchString(parts[2*i+1])
	}
	if !ok {
		var form []string
		for _, c := range collections {
			form = append(form, c, "{"+strings.TrimSuffix(c, "s")+"}")
		}
		return badField(field, "NAME_MALFORMED", "want "+strings.Join(form, "/")+" with an id of lower-case letters, digits and hyphens")
	}
	return nil
}

// parentOf cuts the last collection and id off a name: drills/a/snapshots/b becomes drills/a.
func parentOf(name string) string {
	parts := strings.Split(name, "/")
	return strings.Join(parts[:len(parts)-2], "/")
}

// orNewID returns the id that a client chose, or a random one.
func orNewID(id string) string {
	if id != "" {
		return id
	}
	var b [6]byte
	rand.Read(b[:]) // never returns an error
	return hex.EncodeToString(b[:])
}

// Pages: what a client gets without asking, and at most.
const (
	defaultPage = 50
	mostPage    = 1000
)

// page picks the names of one page, in their order, and the token of the next. A token says
// after which name a page begins, so what is made or deleted meanwhile disturbs nothing.
func page(names []string, size int32, token string) (picked []string, next string, err error) {
	after, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil {
		return nil, "", badField("page_token", "PAGE_TOKEN_MALFORMED", "want the next_page_token of an answer")
	}
	if size == 0 {
		size = defaultPage
	}
	slices.Sort(names)
	from, found := slices.BinarySearch(names, string(after))
	if found {
		from++
	}
	names = names[from:]
	if n := min(int(size), mostPage); len(names) > n {
		return names[:n], base64.RawURLEncoding.EncodeToString([]byte(names[n-1])), nil
	}
	return names, "", nil
}
