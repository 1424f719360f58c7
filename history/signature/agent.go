package signature

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"os"
	"runtime"
	"time"

	"golang.org/x/crypto/ssh"
	"golang.org/x/crypto/ssh/agent"
)

// agentPatience bounds the questions that an agent answers by itself. Signing has no bound: a person may have to touch or confirm.
const agentPatience = 5 * time.Second

// errNoAgent says that there is no agent to ask, which is ordinary.
var errNoAgent = errors.New("no ssh-agent is running (SSH_AUTH_SOCK)")

// errNotHeld says that the agent is there and does not hold the key.
var errNotHeld = errors.New("the ssh-agent does not hold the key")

// held is a key in the agent of the session. The connection lasts for one question only, so that a Signer needs no closing.
type held struct{ key ssh.PublicKey }

// inAgent looks for key in the agent; the error is errNoAgent or errNotHeld where that is so.
func inAgent(key ssh.PublicKey) (*held, error) {
	conn, err := dialAgent()
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	_ = conn.SetDeadline(time.Now().Add(agentPatience))
	keys, err := agent.NewClient(conn).List()
	if err != nil {
		return nil, fmt.Errorf("the ssh-agent does not list its keys: %w", err)
	}
	wire := key.Marshal()
	for _, k := range keys {
		if bytes.Equal(k.Blob, wire) {
			return &held{key}, nil
		}
	}
	return nil, errNotHeld
}

func dialAgent() (net.Conn, error) {
	path := os.Getenv("SSH_AUTH_SOCK")
	if path == "" {
		return nil, errNoAgent
	}
	conn, err := net.DialTimeout("unix", path, agentPatience)
	if err != nil {
		return nil, fmt.Errorf("%w: %v", errNoAgent, err)
	}
	return conn, nil
}

func (h *held) PublicKey() ssh.PublicKey { return h.key }
func (h *held) Describe() string         { return describe(h.key, "held by the ssh-agent") }

func (h *held) Sign(message []byte) (string, error) {
	conn, err := dialAgent()
	if err != nil {
		return "", err
	}
	defer conn.Close()
	_ = conn.SetDeadline(time.Now().Add(agentPatience))
	signers, err := agent.NewClient(conn).Signers()
	_ = conn.SetDeadline(time.Time{})
	if err != nil {
		return "", fmt.Errorf("the ssh-agent does not answer: %w", err)
	}
	for _, s := range signers {
		if sameKey(s.PublicKey(), h.key) {
			armored, err := signWith(s, message)
			if err != nil {
				return "", fmt.Errorf("the ssh-agent did not sign with %s: %w", Fingerprint(h.key), err)
			}
			return armored, nil
		}
	}
	return "", fmt.Errorf("%w %s any more; ssh-add puts it back", errNotHeld, Fingerprint(h.key))
}

// agentByProgram says whether ssh-keygen may reach an agent that this process cannot: on Windows it is no socket.
func agentByProgram() bool { return runtime.GOOS == "windows" }
