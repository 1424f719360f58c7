package main

import (
	"bufio"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history/git"
	"fettle/history/signature"
	"fettle/hooks"
	"fettle/schema"
)

// initFlags are the answers that init asks for.
type initFlags struct {
	yes, key  bool
	name      string
	machines  []string
	power     string
	nozzles   []string
	gases     []string
	approvals int
	own       string
	known     []newMachine // as they were asked for
}

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var f initFlags
		cmd := &cobra.Command{Use: "init [DIR]", Short: "a new library, or this clone made ready for work", Args: cobra.MaximumNArgs(1),
			Long: "Makes a library: settings, machine profiles to fill in, the file approvers with your key, and the hooks that check each save.\n" +
				"In a clone of a library it only does what a clone lacks: the hooks, and with --key a signing key.",
			RunE: func(cmd *cobra.Command, args []string) error {
				if len(args) == 1 {
					a.dir = args[0]
				}
				return a.initialise(f)
			}}
		fl := cmd.Flags()
		fl.BoolVar(&f.yes, "yes", false, "ask nothing, take what is given here")
		fl.BoolVar(&f.key, "key", false, "make a signing key where this PC has none")
		fl.StringVar(&f.name, "name", "", "the shop, as screens show it")
		fl.StringSliceVar(&f.machines, "machine", nil, "machines to make profiles for")
		fl.StringVar(&f.power, "power", "6 kW", "rated power for their profiles, to be corrected there")
		fl.StringSliceVar(&f.nozzles, "nozzle", []string{"single 1.5 mm", "double 1.2 mm"}, "nozzles in their racks, likewise")
		fl.StringSliceVar(&f.gases, "gas", []string{"oxygen 6 bar", "nitrogen 20 bar"}, "gas lines and their pressure, likewise")
		fl.IntVar(&f.approvals, "approvals", 1, "how many persons must approve a change")
		fl.StringVar(&f.own, "own-change", "refuse", "may somebody approve what they changed themselves: refuse or allow")
		return cmd
	})
}

func (a *app) initialise(f initFlags) (failed error) {
	if a.dir == "" {
		a.dir = "."
	}
	if err := os.MkdirAll(a.dir, 0o755); err != nil {
		return cannotWrite(a.dir, err)
	}
	repo, err := git.Open(a.dir)
	if errors.Is(err, git.ErrNotRepository) {
		if repo, err = git.Init(a.dir, "main"); err == nil {
			defer func() { // what was begun and came to nothing leaves nothing
				if failed != nil && repo.GitDir == filepath.Join(repo.Dir, ".git") {
					os.RemoveAll(repo.GitDir)
					os.Remove(a.dir) // where nothing else is in it
				}
			}()
		}
	}
	if err != nil {
		return err
	}
	if s, err := a.open(); err == nil {
		return s.readyClone(f)
	}
	in := bufio.NewReader(a.in)
	if _, _, err := repo.Identity(); err != nil {
		if f.yes || !a.terminal {
			return err
		}
		if err := (&questions{&shop{app: a}, in}).askWho(repo); err != nil {
			return err
		}
	}
	abs, err := filepath.Abs(a.dir)
	if err != nil {
		return err
	}
	if abs, err = filepath.EvalSymlinks(abs); err != nil {
		return err
	}
	s := &shop{app: a, repo: repo, root: abs}
	if rel, err := filepath.Rel(repo.Dir, abs); err == nil && rel != "." {
		s.sub = filepath.ToSlash(rel)
	}
	if err := s.askInit(in, &f); err != nil {
		return err
	}
	return s.newLibrary(f)
}

// machine is a profile to begin with, by the flags.
func (f *initFlags) machine(name string) newMachine {
	return newMachine{name: name, power: f.power, nozzles: f.nozzles, gases: f.gases}
}

func (s *shop) newLibrary(f initFlags) error {
	id := make([]byte, 16)
	rand.Read(id)
	settings := schema.Settings{Head: schema.Head{Kind: schema.Of("library"), Format: schema.Of(1)}, ID: schema.Of(hex.EncodeToString(id)), Name: schema.Of(f.name),
		Display: schema.Of(schema.Display{Length: schema.Of("mm"), Speed: schema.Of("m/min"), Pressure: schema.Of("bar")}),
		Policy: schema.Of(schema.Policy{Protected: schema.Of([]string{"main"}), Approvals: schema.Of(max(1, f.approvals)), OwnChange: schema.Of(f.own),
			Trial: schema.Of("require"), Reason: schema.Of("require")})}
	files := map[string][]byte{schema.SettingsFile: schema.Layout(schema.Encode(&settings))}
	if len(f.known) == 0 {
		for _, name := range f.machines {
			f.known = append(f.known, f.machine(name))
		}
	}
	for _, m := range f.known {
		files["machines/"+m.name+".json"] = m.profile()
	}
	for path, data := range files {
		file := schema.ReadFile(path, data)
		if len(file.Problems) > 0 {
			return troublef(file.Problems[0].Help, "%s: %s; nothing was made", path, file.Problems[0].Message)
		}
		files[path] = schema.Layout(file.Root())
	}
	var key signature.Signer
	if have, err := s.signer(); err == nil {
		key = have
		s.say("key      %s", have.Describe())
	} else if f.key {
		if key, err = s.makeKey(); err != nil {
			return err
		}
	}
	if key != nil {
		email, err := s.keyOwner()
		if err != nil {
			return err
		}
		line, err := signature.FormatLine(email, key.PublicKey(), "")
		if err != nil {
			return err
		}
		files[schema.RosterFile] = []byte(line + "\n")
	}
	err := s.whole(func() error {
		for path, data := range files {
			if err := s.write(path, data); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	s.say("made     %s with %s", s.root, counted(len(f.machines), "machine profile"))
	if key != nil {
		s.say("         approvers names you as the one who may approve; add others there")
	} else {
		s.say("         there is no signing key yet, so nobody may approve; fettle init --key makes one")
	}
	if err := s.installHooks(); err != nil {
		return err
	}
	s.say("next     correct the profiles in machines/: rated power, nozzles, line pressures")
	s.say("         fettle import FILE     reads your spreadsheet, saved as CSV   (--template shows one)")
	s.say("         fettle save            saves it all")
	s.say("         fettle adopt --because \"what we cut with today\"")
	return nil
}

func (s *shop) installHooks() error {
	report, err := hooks.Install(s.repo)
	good := 0
	for _, line := range report {
		if strings.HasSuffix(line, " installed") || strings.HasSuffix(line, " is in place") {
			good++
			continue
		}
		s.say("hook     %s", line)
	}
	if good == len(report) && err == nil {
		s.say("hooks    %d in place: from now on every save is checked (fettle hooks status)", good)
	}
	if errors.Is(err, hooks.ErrPassing) { // the library is made all the same
		s.say("hook     not installed: %s", clean(err.Error()))
		err = nil
	}
	if err != nil {
		return err
	}
	_, err = hooks.InstallDrivers(s.repo, "")
	return err
}
