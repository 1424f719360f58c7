package history

import (
	"runtime/debug"
	"strings"
	"testing"
)

// Two programs of one size that were unpacked with one time are told apart by what they were built from.
func TestBuiltFrom(t *testing.T) {
	built := func(version, revision string) *debug.BuildInfo {
		return &debug.BuildInfo{Main: debug.Module{Version: version}, Settings: []debug.BuildSetting{{Key: "GOOS", Value: "linux"}, {Key: "vcs.revision", Value: revision}}}
	}
	seen := map[string]bool{}
	for _, info := range []*debug.BuildInfo{built("v1.0.0", ""), built("v1.0.1", ""), built("(devel)", "aa"), built("(devel)", "bb")} {
		seen[builtFrom(info)] = true
	}
	if len(seen) != 4 {
		t.Errorf("four programs are told apart as %v", seen)
	}
	if !strings.Contains(IndexStamp(), strings.TrimSpace(builtFrom(ownBuild(t)))) {
		t.Errorf("the stamp %q does not say what this program was built from", IndexStamp())
	}
}

func ownBuild(t *testing.T) *debug.BuildInfo {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		t.Skip("this program was built without that")
	}
	return info
}
