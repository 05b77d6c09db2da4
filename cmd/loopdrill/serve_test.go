package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	client "loopdrill.dev/loopdrill/clients/go"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// process is a server in a process of its own.
type process struct {
	cmd    *exec.Cmd
	out    *bufio.Scanner
	stderr bytes.Buffer
}

// startServe runs this binary as `loopdrill serve`: TestMain turns it into the program when it
// is called by that name.
func startServe(t *testing.T, args ...string) *process {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p := &process{cmd: exec.CommandContext(t.Context(), self)}
	p.cmd.Args = append([]string{"loopdrill", "serve", "--listen", "127.0.0.1:0"}, args...)
	p.cmd.Stderr = &p.stderr
	stdout, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	p.out = bufio.NewScanner(stdout)
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return p
}

// line reads the next line of standard output, which begins with a word, and returns the rest.
func (p *process) line(t *testing.T, word string) string {
	t.Helper()
	if !p.out.Scan() {
		_ = p.cmd.Wait()
		t.Fatalf("no line %s on standard output; standard error:\n%s", word, p.stderr.String())
	}
	rest, ok := strings.CutPrefix(p.out.Text(), word+" ")
	if !ok {
		t.Fatalf("the line is %q, want %s", p.out.Text(), word)
	}
	return rest
}

// The server says where it listens, is healthy, runs the demo, shows metrics, and stops with
// status 0 at either signal.
func TestServe(t *testing.T) {
	for _, signal := range []os.Signal{os.Interrupt, syscall.SIGTERM} {
		p := startServe(t, "--metrics-listen", "127.0.0.1:0")
		address, metrics := p.line(t, "grpc"), p.line(t, "metrics")
		conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
		if err != nil {
			t.Fatal(err)
		}
		health, err := healthpb.NewHealthClient(conn).Check(t.Context(), &healthpb.HealthCheckRequest{})
		if err != nil || health.GetStatus() != healthpb.HealthCheckResponse_SERVING {
			t.Errorf("health is %v, %v", health, err)
		}
		files, err := client.ReadFiles("../../testdata/alder-quay")
		if err != nil {
			t.Fatal(err)
		}
		job, err := client.New(conn).RunJob(t.Context(), files, &pb.Work{Kind: &pb.Work_Play{Play: &pb.PlayWork{}}}, nil)
		if err != nil || job.GetVerdict() != pb.JobVerdict_JOB_VERDICT_PASSED {
			t.Errorf("the demo's scenarios: %v, %v", job.GetVerdict(), err)
		}
		if page := get(t, metrics); !strings.Contains(page, `loopdrill_jobs{state="done"} 0`) || !strings.Contains(page, "go_goroutines") ||
			!strings.Contains(page, `loopdrill_rpc_handled_total{code="OK",rpc_method="CreateJob",rpc_service="loopdrill.v1.JobService"} 1`) {
			t.Errorf("the metrics are\n%s", page)
		}
		if err := errors.Join(conn.Close(), p.cmd.Process.Signal(signal), p.cmd.Wait()); err != nil {
			t.Errorf("stopped by %v: %v", signal, err)
		}
		p.checkRemarks(t)
	}
}

func get(t *testing.T, url string) string {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	page, err := io.ReadAll(answer.Body)
	if err = errors.Join(err, answer.Body.Close()); err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s, %v", url, answer.Status, err)
	}
	return string(page)
}

// checkRemarks looks at standard error: the log as JSON, which begins with the caution and ends
// with a stop.
func (p *process) checkRemarks(t *testing.T) {
	t.Helper()
	var last struct{ Level, Logger, Msg, Text string }
	first := true
	for line := range strings.Lines(p.stderr.String()) {
		last.Text = ""
		if err := json.Unmarshal([]byte(line), &last); err != nil {
			t.Errorf("the log has a line that is no JSON: %s", line)
		}
		if first != (last.Text == sim.Caution) {
			t.Errorf("the caution is not the first line, and no other one: %s", line)
		}
		first = false
		if last.Level != "info" {
			t.Errorf("the log has %s", line)
		}
	}
	if last.Msg != "stopped" || last.Logger != "service" {
		t.Errorf("the log ends with %+v", last)
	}
}

// An address that is taken, and one that is none, are errors before anything is served.
func TestServeCannotListen(t *testing.T) {
	taken, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = taken.Close() })
	for _, args := range [][]string{
		{"serve", "--listen", taken.Addr().String()},
		{"serve", "--listen", "127.0.0.1:0", "--metrics-listen", taken.Addr().String()},
		{"serve", "--listen", "nowhere"},
	} {
		var out, remarks bytes.Buffer
		std := stdio{Out: &out, Err: &remarks, Getenv: func(string) string { return "" }}
		err := run(t.Context(), args, std)
		if got := status(t.Context(), err, &remarks); got != statusRefused || out.Len() > 0 || !strings.Contains(remarks.String(), "listening") {
			t.Errorf("%v: status %d, %s%s", args, got, out.String(), remarks.String())
		}
	}
}
