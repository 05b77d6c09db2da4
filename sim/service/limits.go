package service

import (
	"fmt"
	"sync/atomic"
	"time"

	"loopdrill.dev/loopdrill/sim/site"
)

// Limits bound what clients can make big. A request beyond one is answered with the limit's
// name. Every field must be positive.
type Limits struct {
	Files        site.Limits   // of the files of one site
	RequestBytes int           // one request, all files of a site together
	ResultBytes  int           // one response, so one result of a job
	Results      int           // bytes of the results of all jobs
	Builds       int           // sites compiled at once; further ones wait
	Drills       int           // drills kept
	Points       int           // addressed devices over all drills, snapshots and jobs that are not over
	Snapshots    int           // snapshots of one drill
	DrillActs    int           // acts entered into one drill
	Acts         int           // acts over all drills and snapshots
	DrillEvents  int           // events in the log of one drill
	Events       int           // events over all drills
	Advances     int           // AdvanceDrill requests at work at once
	Horizon      time.Duration // virtual time that a drill can reach
	Watchers     int           // watches of drills and jobs at once
	WatchLag     int           // events that a watcher, once it is up to date, may fall behind
	Jobs         int           // jobs kept
	RunningJobs  int           // jobs worked on at once; further ones wait
}

// DefaultLimits suit one machine of a lab or a build server: with all of them reached at once the
// server keeps about 2 GB, half of it for sites that are being compiled.
func DefaultLimits() Limits {
	return Limits{
		Files:        site.Limits{SiteBytes: 4 << 20, MatrixBytes: 4 << 20, ScenarioBytes: 1 << 20, Scenarios: 200, Findings: 500},
		RequestBytes: 16 << 20,
		ResultBytes:  64 << 20,
		Results:      256 << 20,
		Builds:       2,
		Drills:       500,
		Points:       500_000,
		Snapshots:    64,
		DrillActs:    20_000,
		Acts:         2_000_000,
		DrillEvents:  1_000_000,
		Events:       5_000_000,
		Advances:     256,
		Horizon:      8760 * time.Hour,
		Watchers:     1000,
		WatchLag:     20_000,
		Jobs:         200,
		RunningJobs:  1,
	}
}

// budget counts what is used of one limit.
type budget struct {
	limit string // its name in answers
	most  int64
	used  atomic.Int64
}

func newBudget(limit string, most int) *budget { return &budget{limit: limit, most: int64(most)} }

// take uses n more, or nothing if that goes beyond the limit.
func (b *budget) take(n int) error {
	if b.used.Add(int64(n)) > b.most {
		b.used.Add(-int64(n))
		return exhausted(b.limit, b.most)
	}
	return nil
}

// add uses n more, whatever the limit says: for what has happened already.
func (b *budget) add(n int) { b.used.Add(int64(n)) }

// give gives n back.
func (b *budget) give(n int) {
	if b.used.Add(-int64(n)) < 0 {
		panic(fmt.Sprintf("service: more given back than taken of %s", b.limit))
	}
}
