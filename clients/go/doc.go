// Package client is a thin client of a loopdrill server for Go programs. It sees the schema and
// gRPC only, as a client in any other language does.
//
// A watch goes on where it stopped, after a lag and after a broken connection, so that its
// caller sees every event once and in order. A job is watched to its end in the same way.
//
// Left out: TLS and tokens, which the server does not have yet. Dial is for a server on the same
// machine or behind something that protects it.
//
// Validated against the real server.
package client
