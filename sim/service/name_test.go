package service

import (
	"fmt"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

func TestCheckName(t *testing.T) {
	for name, good := range map[string]bool{
		"drills/a": true, "drills/a-1": true, "drills/0123456789012345678901234567890123456789": true,
		"": false, "drills": false, "drills/": false, "drills/A": false, "drills/-a": false, "drills/a/": false, "jobs/a": false,
		"drills/a/snapshots/b": false, "drills/01234567890123456789012345678901234567890": false,
	} {
		if err := checkName("name", name, "drills"); (err == nil) != good {
			t.Errorf("%q: %v", name, err)
		}
	}
	if err := checkName("name", "drills/a/snapshots/b", "drills", "snapshots"); err != nil || parentOf("drills/a/snapshots/b") != "drills/a" {
		t.Errorf("a snapshot's name: %v, parent %q", err, parentOf("drills/a/snapshots/b"))
	}
	if a, b := orNewID(""), orNewID(""); a == b || !idPattern.MatchString(a) || orNewID("mine") != "mine" {
		t.Errorf("ids: %q, %q", a, b)
	}
}

// Pages bring everything once, in the order of names, whatever is made or deleted in between.
func TestPages(t *testing.T) {
	var names []string
	for i := range 7 {
		names = append(names, fmt.Sprintf("drills/%d", (i*3)%7))
	}
	first, token, err := page(names, 3, "")
	if err != nil || fmt.Sprint(first) != "[drills/0 drills/1 drills/2]" || token == "" {
		t.Fatalf("the first page is %v, %q, %v", first, token, err)
	}
	// 2, on which the first page ended, and 4 are deleted; 25 is new.
	rest, next, err := page([]string{"drills/25", "drills/6", "drills/5", "drills/3", "drills/1", "drills/0"}, 3, token)
	if err != nil || fmt.Sprint(rest) != "[drills/25 drills/3 drills/5]" || next == "" {
		t.Fatalf("the second page is %v, %q, %v", rest, next, err)
	}
	last, end, err := page([]string{"drills/6", "drills/5"}, 3, next)
	if err != nil || fmt.Sprint(last) != "[drills/6]" || end != "" {
		t.Errorf("the last page is %v, %q, %v", last, end, err)
	}
	if exact, end, _ := page(first, 3, ""); len(exact) != 3 || end != "" {
		t.Errorf("a page that is just full is %v, %q", exact, end)
	}
	if _, _, err := page(names, 3, "?"); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a bad token: %v", err)
	}
	many := make([]string, 2000)
	for i := range many {
		many[i] = fmt.Sprintf("drills/%04d", i)
	}
	if usual, _, _ := page(many, 0, ""); len(usual) != defaultPage {
		t.Errorf("a page without a size has %d", len(usual))
	}
	if large, _, _ := page(many, 5000, ""); len(large) != mostPage {
		t.Errorf("a page of 5000 has %d", len(large))
	}
}

// Lists of the API have pages; deleted things are gone from them.
func TestLists(t *testing.T) {
	r := newRig(t, nil)
	for _, id := range []string{"c", "a", "b"} {
		r.create(id, kioskFiles(), 0)
	}
	for _, id := range []string{"sb", "sa"} {
		if _, err := r.drills.CreateSnapshot(t.Context(), &pb.CreateSnapshotRequest{Parent: "drills/a", SnapshotId: id}); err != nil {
			t.Fatal(err)
		}
	}
	var got []string
	token := ""
	for range 5 {
		answer, err := r.drills.ListDrills(t.Context(), &pb.ListDrillsRequest{PageSize: 2, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range answer.GetDrills() {
			got = append(got, d.GetName())
		}
		if token = answer.GetNextPageToken(); token == "" {
			break
		}
	}
	if fmt.Sprint(got) != "[drills/a drills/b drills/c]" {
		t.Errorf("the drills are %v", got)
	}
	answer, err := r.drills.ListSnapshots(t.Context(), &pb.ListSnapshotsRequest{Parent: "drills/a"})
	if err != nil || len(answer.GetSnapshots()) != 2 || answer.GetSnapshots()[0].GetName() != "drills/a/snapshots/sa" || answer.GetSnapshots()[0].GetInstant() != nil {
		t.Errorf("the snapshots are %v, %v", answer, err)
	}
	_, err = r.drills.ListSnapshots(t.Context(), &pb.ListSnapshotsRequest{Parent: "drills/z"})
	want(t, err, codes.NotFound, "NOT_FOUND", "name", "drills/z")
	_, err = r.drills.DeleteSnapshot(t.Context(), &pb.DeleteSnapshotRequest{Name: "drills/a/snapshots/z"})
	want(t, err, codes.NotFound, "NOT_FOUND", "name", "drills/a/snapshots/z")
}
