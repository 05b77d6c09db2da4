package client

import (
	"fmt"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// mostBytes is the largest answer that the client takes: the server's own limit for a report.
const mostBytes = 64 << 20

// attempts is how often a stream is begun again without anything new before its error counts.
const attempts = 3

// Client talks to one server. It is safe for use by several goroutines.
type Client struct {
	// Drills, Jobs and Sites are the whole API, for what the methods here do not cover.
	Drills pb.DrillServiceClient
	Jobs   pb.JobServiceClient
	Sites  pb.SiteServiceClient

	conn *grpc.ClientConn // nil if it is the caller's
}

// New returns a client over a connection of the caller's.
func New(conn grpc.ClientConnInterface) *Client {
	return &Client{Drills: pb.NewDrillServiceClient(conn), Jobs: pb.NewJobServiceClient(conn), Sites: pb.NewSiteServiceClient(conn)}
}

// Dial returns a client of the server at an address such as 127.0.0.1:7070. It connects when the
// first call is made. Options come after the client's own, and so win.
func Dial(address string, options ...grpc.DialOption) (*Client, error) {
	own := []grpc.DialOption{
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(mostBytes), grpc.MaxCallSendMsgSize(mostBytes)),
	}
	conn, err := grpc.NewClient(address, append(own, options...)...)
	if err != nil {
		return nil, fmt.Errorf("connecting to %s: %w", address, err)
	}
	c := New(conn)
	c.conn = conn
	return c, nil
}

// Close closes the connection that Dial made.
func (c *Client) Close() error {
	if c.conn == nil {
		return nil
	}
	return c.conn.Close()
}
