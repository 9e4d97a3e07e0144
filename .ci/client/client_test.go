// Package client proves against the running program what needs more than a handler: that a client which
// a common generator makes from openapi/openapi.json can be built and used, and that the institute's quick
// start of /docs, which makes keys with the program itself, does what the page says. The generated code is made here each time and never kept: it would be 20,000 lines
// that nobody reads. It is a module of its own, so that the program needs none of what the generated
// code needs.
package client

//go:generate go -C ../tools tool oapi-codegen -generate types,client -package client -o ../client/statorbook.gen.go ../../openapi/openapi.json

import (
	"bufio"
	"context"
	"encoding/json"
	"html"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// running is the program, started on a free port with a private Postgres, and ready.
type running struct{ address, program, data string }

func startServer(t *testing.T) running {
	t.Helper()
	folder, err := os.MkdirTemp("", "statorbook-client-") // not t.TempDir: under root Postgres runs as another user, who must get in
	if err == nil {
		err = os.Chmod(folder, 0o755)
	}
	if err != nil {
		t.Fatal(err)
	}
	program, data := filepath.Join(folder, "statorbook"), filepath.Join(folder, "data")
	if out, err := exec.Command("go", "-C", "../..", "build", "-o", program, "./api").CombinedOutput(); err != nil {
		t.Fatalf("the program does not build: %v\n%s", err, out)
	}
	server := exec.Command(program)
	server.Env = append(os.Environ(), "STATORBOOK_ADDR=127.0.0.1:0", "STATORBOOK_DATA_DIR="+data, "DATABASE_URL=", "DATABASE_OWNER_URL=")
	said, err := server.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	server.Stdout = server.Stderr
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = server.Process.Signal(os.Interrupt)
		_ = server.Wait()
		_ = os.RemoveAll(folder)
	})
	address := make(chan string, 1)
	go func() {
		defer close(address)
		for lines := bufio.NewScanner(said); lines.Scan(); {
			t.Log(lines.Text())
			if _, at, found := strings.Cut(lines.Text(), "listening on "); found {
				address <- strings.TrimSpace(at)
			}
		}
	}()
	select {
	case at, said := <-address:
		if !said {
			t.Fatal("the program stopped before it listened")
		}
		waitReady(t, at)
		return running{at, program, data}
	case <-time.After(2 * time.Minute):
		t.Fatal("the program did not say where it listens")
	}
	return running{}
}

func waitReady(t *testing.T, at string) {
	t.Helper()
	for range 480 { // two minutes: the machine may be crowded
		if resp, err := http.Get(at + "/readyz"); err == nil {
			resp.Body.Close()
			if resp.StatusCode == http.StatusOK {
				return
			}
		}
		time.Sleep(250 * time.Millisecond)
	}
	t.Fatal("the program did not become ready")
}

// near holds a figure against a published or reckoned one.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v within %v", what, got, want, tolerance)
	}
}

// open gives a client of a running server.
func open(t *testing.T, server running) *ClientWithResponses {
	t.Helper()
	client, err := NewClientWithResponses(server.address)
	if err != nil {
		t.Fatal(err)
	}
	return client
}

func swg24() Wire {
	system, size, build := WireSystem("swg"), "24", WireBuild("grade_2")
	return Wire{System: &system, Size: &size, Conductor: "copper", Build: &build, Strands: 1}
}

func TestRunningProgram(t *testing.T) {
	server := startServer(t)
	t.Run("institute", func(t *testing.T) { useAsInstitute(t, server) })
	client := open(t, server)
	for name, use := range map[string]func(*testing.T, *ClientWithResponses){
		"wires": useWires, "batch": useBatch, "match": useMatch, "problem": useProblem,
	} {
		t.Run(name, func(t *testing.T) { use(t, client) })
	}
}

// SWG 24 is 0.022 inch by the legal table of 1883/84 (BS 3737): 0.5588 mm, 0.24525 mm2.
func useWires(t *testing.T, client *ClientWithResponses) {
	system, size := ListWiresParamsSystem("swg"), "24"
	answer, err := client.ListWiresWithResponse(context.Background(), &ListWiresParams{System: &system, Size: &size})
	if err != nil || answer.JSON200 == nil || len(answer.JSON200.Items) != 1 {
		t.Fatalf("%v: %s", err, answer.Body)
	}
	wire := answer.JSON200.Items[0]
	if wire.Id != "swg-24" {
		t.Errorf("got wire %s", wire.Id)
	}
	near(t, "diameter", wire.Conductor.DiameterMm, 0.022*25.4, 1e-9)
	near(t, "area", wire.Conductor.AreaMm2, math.Pi/4*0.5588*0.5588, 1e-6)
}

// A job list keeps its order, and one bad item spoils no other.
func useBatch(t *testing.T, client *ClientWithResponses) {
	ask := func(from Wire) EquivalentsRequest {
		var r EquivalentsRequest
		body := `{"to":{"systems":["metric"],"max_strands":2},"limit":1}`
		if err := json.Unmarshal([]byte(body), &r); err != nil {
			t.Fatal(err)
		}
		r.From = from
		return r
	}
	unknown, noSize := swg24(), "99"
	unknown.Size = &noSize
	answer, err := client.PostWireEquivalentsBatchWithResponse(context.Background(),
		PostWireEquivalentsBatchJSONRequestBody{Items: []EquivalentsRequest{ask(swg24()), ask(unknown), ask(swg24())}})
	if err != nil || answer.JSON200 == nil || len(answer.JSON200.Results) != 3 {
		t.Fatalf("%v: %s", err, answer.Body)
	}
	for i, want := range []int{200, 422, 200} {
		result := answer.JSON200.Results[i]
		if result.Status != want {
			t.Fatalf("item %d has status %d", i, result.Status)
		}
		if want == 422 {
			if result.Problem == nil || result.Problem.Status != 422 {
				t.Errorf("item %d has no problem", i)
			}
			continue
		}
		best := result.Result.Items[0]
		if size := best.Wires[0].Size; size == nil || *size != "0.560" {
			t.Errorf("the best metric wire for SWG 24 is %v", size)
		}
		near(t, "area error", best.AreaErrorPct, 100*(0.56*0.56/(0.5588*0.5588)-1), 1e-4)
	}
}

// The demo stator of 24 slots and gap 54.2 mm is found by its readings; the probabilities add up.
func useMatch(t *testing.T, client *ClientWithResponses) {
	var request MatchRequest
	body := `{"measurements":{"phases":1,"rotor_position":"inside","slots":24,"gap_diameter_mm":54.3,"back_diameter_mm":93.4,
		"stack_length_mm":27,"tooth_width_mm":{"value":3.6,"uncertainty":0.1}},"supply":{"voltage_v":230,"frequency_hz":50,"phases":1}}`
	if err := json.Unmarshal([]byte(body), &request); err != nil {
		t.Fatal(err)
	}
	answer, err := client.PostMatchWithResponse(context.Background(), request)
	if err != nil || answer.JSON200 == nil || len(answer.JSON200.Candidates) == 0 {
		t.Fatalf("%v: %s", err, answer.Body)
	}
	sum := answer.JSON200.UnlistedProbability + answer.JSON200.None.Winding
	for _, c := range answer.JSON200.Candidates {
		sum += c.Probability
	}
	near(t, "sum of probabilities", sum, 1, 1e-6)
	if len(answer.JSON200.Cautions) == 0 {
		t.Error("a proposal without cautions")
	}
	first := answer.JSON200.Candidates[0]
	record, err := client.GetWindingWithResponse(context.Background(), first.WindingId, nil)
	if err != nil || record.JSON200 == nil || record.JSON200.Slug == nil {
		t.Fatalf("%v: %s", err, record.Body)
	}
	if *record.JSON200.Slug != "demo-air-cooler-01-a" || first.Status != "demo" {
		t.Errorf("found %s, status %s", *record.JSON200.Slug, first.Status)
	}
}

// A refusal arrives as the problem that the contract declares, place and code included.
func useProblem(t *testing.T, client *ClientWithResponses) {
	answer, err := client.GetWireWithResponse(context.Background(), "awg-99", nil)
	if err != nil || answer.ApplicationproblemJSON404 == nil || answer.JSON200 != nil {
		t.Fatalf("%v: %s", err, answer.Body)
	}
	problem := answer.ApplicationproblemJSON404
	if problem.Status != 404 || problem.Errors == nil || len(*problem.Errors) != 1 || (*problem.Errors)[0].Code != "UNKNOWN_ID" {
		t.Errorf("got %s", answer.Body)
	}
}

// A command of the institute's quick start, and what the page says that it prints.
var commandBlock = regexp.MustCompile(`(?s)<code class="command" data-tested="program">(.*?)</code></pre>(?:\s*<pre tabindex="0" class="says"><code>(.*?)</code></pre>)?`)

// useAsInstitute runs the commands of the quick start one after the other in one shell, as a reader would.
func useAsInstitute(t *testing.T, server running) {
	resp, err := http.Get(server.address + "/docs")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	page, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	blocks := commandBlock.FindAllStringSubmatch(string(page), -1)
	if len(blocks) < 4 {
		t.Fatalf("found %d commands", len(blocks))
	}
	const mark = "-- next --"
	script := "program() { \"$PROGRAM\" \"$@\" 2>/dev/null; }\n"
	for _, b := range blocks {
		script += strings.NewReplacer("localhost:8080", server.address, "go run ./api", "program").Replace(html.UnescapeString(b[1])) + "\necho '" + mark + "'\n"
	}
	shell := exec.Command("sh", "-c", script)
	shell.Dir = t.TempDir()
	shell.Env = append(os.Environ(), "PROGRAM="+server.program, "STATORBOOK_DATA_DIR="+server.data, "DATABASE_URL=", "DATABASE_OWNER_URL=")
	out, err := shell.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	printed := strings.Split(string(out), mark+"\n")
	if len(printed) != len(blocks)+1 {
		t.Fatalf("%d of %d commands ran:\n%s", len(printed)-1, len(blocks), out)
	}
	compared := 0
	for i, b := range blocks {
		if b[2] == "" {
			continue
		}
		compared++
		if got, want := strings.TrimRight(printed[i], "\n"), html.UnescapeString(b[2]); got != want {
			t.Errorf("%s\nprints\n%s\nand the page says\n%s", b[1], got, want)
		}
	}
	if compared < 3 {
		t.Errorf("only %d answers were compared", compared)
	}
}
