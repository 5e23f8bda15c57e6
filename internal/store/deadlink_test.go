package store_test

import (
	"fmt"
	"io"
	"net"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"isohaline/internal/store"
	"isohaline/internal/store/pgtest"
)

// link is a network to a server that can swallow everything from one moment on: what
// is sent does not arrive, and nobody is told. Connections that are made later are
// sound.
type link struct {
	host string

	mu    sync.Mutex
	conns []*carried
	trap  *trap
}

// carried is a connection over the link.
type carried struct {
	near, far net.Conn
	mu        sync.Mutex
	dead      bool
}

// trap is what is swallowed.
type trap struct {
	// word is in what the client sends when the link dies.
	word string
	// with says what becomes of that itself: it arrives, or late, or not.
	with fate
}

type fate int

const (
	lost fate = iota
	arrived
	late
)

// The commit's deadline in the test; how late something comes, after it is asked what
// became of the commit; and how long the server waits for more of a transaction.
const (
	testDeadline = time.Second
	lateBy       = 1500 * time.Millisecond
	testIdle     = 3 * time.Second
)

// newLink leads to a server's socket.
func newLink(t *testing.T, socket string) *link {
	t.Helper()
	l := got(net.Listen("tcp", "127.0.0.1:0"))(t)
	k := &link{host: l.Addr().String()}
	var group sync.WaitGroup
	group.Go(func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("unix", socket)
			if err != nil {
				near.Close()
				continue
			}
			c := &carried{near: near, far: far}
			k.mu.Lock()
			k.conns = append(k.conns, c)
			k.mu.Unlock()
			group.Go(func() { k.carry(c, c.far, c.near, k.springs) })
			group.Go(func() { k.carry(c, c.near, c.far, nil) })
		}
	})
	t.Cleanup(func() {
		must(t, l.Close())
		k.mu.Lock()
		for _, c := range k.conns {
			c.near.Close()
			c.far.Close()
		}
		k.mu.Unlock()
		group.Wait()
	})
	return k
}

// carry takes what comes from one side to the other. A dead connection swallows it,
// its end too.
func (k *link) carry(c *carried, to, from net.Conn, springs func(string) (fate, bool)) {
	buffer := make([]byte, 1<<16)
	for {
		n, err := from.Read(buffer)
		how, sprung := lost, false
		if springs != nil {
			how, sprung = springs(string(buffer[:n]))
		}
		switch {
		case sprung && how == late:
			time.Sleep(lateBy)
			to.Write(buffer[:n])
		case sprung && how == arrived, !sprung && !c.isDead():
			to.Write(buffer[:n])
		}
		if err != nil {
			if err == io.EOF && !c.isDead() {
				to.Close()
			}
			return
		}
	}
}

func (c *carried) isDead() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.dead
}

// springs says whether this is what the link dies of.
func (k *link) springs(sent string) (fate, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.trap == nil || !strings.Contains(sent, k.trap.word) {
		return lost, false
	}
	how := k.trap.with
	k.trap = nil
	for _, c := range k.conns {
		c.mu.Lock()
		c.dead = true
		c.mu.Unlock()
	}
	return how, true
}

// TestDeadLink: where the network to PostgreSQL swallows what is sent, a commit ends in
// time; what became of it is asked on a new connection and stays so: kept where only
// the answer was lost, or where the server has it late, and else not.
func TestDeadLink(t *testing.T) {
	t.Parallel()
	server := ownPostgres(t, pgtest.Options{})
	at := got(url.Parse(server.Address))(t).Query()
	k := newLink(t, at.Get("host")+"/.s.PGSQL."+at.Get("port"))
	// Such a transaction ends at the server sooner than usual, for the test.
	address := as("postgres://"+k.host, "keeper", geheim, "reef", "sslmode", "disable", "idle_in_transaction_session_timeout", fmt.Sprint(testIdle.Milliseconds()))
	s := got(store.Open(t.Context(), address, store.Kill))(t)
	defer s.Close()
	store.Hurry(s, testDeadline, 2*testIdle)
	furnish(t, s)
	// The protocol ends a query with a zero byte.
	const inside, commit = "INSERT INTO checkpoints", "commit\x00"
	for i, row := range []struct {
		what string
		trap trap
		kept bool
	}{
		{"in the middle", trap{inside, lost}, false},
		{"in the middle, and the server has it", trap{inside, arrived}, false},
		{"at the commit", trap{commit, lost}, false},
		{"before the answer", trap{commit, arrived}, true},
		{"at the commit, which comes late", trap{commit, late}, true},
	} {
		c := store.Commit{Log: &store.LogPosition{Log: "log", Sequence: uint64(i + 1)}}
		k.mu.Lock()
		k.trap = &row.trap
		k.mu.Unlock()
		if err := s.Commit(t.Context(), c); err == nil {
			t.Fatalf("%s: the answer came", row.what)
		}
		var kept bool
		var err error
		const tries = 10 // as a monitor does, until it is said
		for range tries {
			if kept, err = s.Committed(t.Context(), c); err == nil {
				break
			}
		}
		if err != nil || kept != row.kept {
			t.Fatalf("%s: kept %v, %v", row.what, kept, err)
		}
		if !kept {
			must(t, s.Commit(t.Context(), c))
		}
		if again := got(s.Committed(t.Context(), c))(t); !again {
			t.Errorf("%s: in the end it is not kept", row.what)
		}
	}
}
