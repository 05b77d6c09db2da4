// Package service serves drills, jobs and checks of sites over gRPC. It is where concurrency,
// the wall clock, the log of the process and its metrics begin; everything below is pure.
//
// A drill has one writer: the goroutine of its keeper, to which handlers hand closures. The
// keeper executes in slices, publishes the log after each and then looks at its mail, so that
// nobody waits long for a running drill. Watchers read what is published and never meet the
// keeper: however slow, they cannot hold a drill up.
//
// Invariants: site, seed and acts decide a drill's log, whether it is advanced, run free or paced,
// forked, or watched; an act without a time gets one before it is entered, and the answer
// says which. A drill that crashes ends alone. Everything a client can make big has a limit
// with a name, and an answer that says so.
//
// Left out: durable drills, TLS and roles, streams that hide what a trainee must not see.
//
// Validated over real gRPC: digests against drills run without a service, forks and snapshots
// among them; the wall clock by testing/synctest; races by a hundred drills at once.
package service
