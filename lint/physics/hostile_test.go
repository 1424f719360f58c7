package physics

import (
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// functions are all that anybody may call with numbers from a file; [TestEveryFunctionIsHeldToBadInput] says if one is missing.
var functions = map[string]any{
	"Absolute": Absolute, "Gauge": Gauge, "AreaRatio": AreaRatio, "ClippedShare": ClippedShare, "CriticalRatio": CriticalRatio,
	"EnergyPerArea": EnergyPerArea, "EnergyPerLength": EnergyPerLength, "ExecutionClass": ExecutionClass, "GasNamed": GasNamed,
	"GasPerMetre": GasPerMetre, "Intensity": Intensity, "JetOf": JetOf, "K0": K0, "KerfShare": KerfShare, "LaserScope": LaserScope,
	"MachNumber": MachNumber, "MaterialNamed": MaterialNamed, "Materials": Materials, "MeanPower": MeanPower, "MeltPower": MeltPower, "Mix": Mix,
	"OxidationPower": OxidationPower, "OxygenNeeded": OxygenNeeded, "PerpendicularityLimit": PerpendicularityLimit,
	"PerpendicularityRange": PerpendicularityRange, "PressureRatio": PressureRatio, "ReferenceAt": ReferenceAt,
	"RoughnessLimit": RoughnessLimit, "RoughnessRange": RoughnessRange, "Spot": Spot, "TimesDiffraction": TimesDiffraction,

	"Balance.Burnt": Balance.Burnt, "Balance.Used": Balance.Used, "Beam.At": Beam.At, "Beam.Diameter": Beam.Diameter,
	"Beam.HalfAngle": Beam.HalfAngle, "Beam.Inside": Beam.Inside, "Beam.Rayleigh": Beam.Rayleigh, "Constant.High": Constant.High,
	"Constant.Low": Constant.Low, "Cost.Total": Cost.Total, "Gas.Constant": Gas.Constant, "Gas.Density": Gas.Density, "Gas.OxygenMass": Gas.OxygenMass,
	"Hole.Energy": Hole.Energy, "Hole.Pierce": Hole.Pierce, "Kerf.Balance": Kerf.Balance, "LineSource.Efficiency": LineSource.Efficiency,
	"LineSource.Power": LineSource.Power, "LineSource.PowerBound": LineSource.PowerBound, "LineSource.Width": LineSource.Width, "Material.Diffusivity": Material.Diffusivity,
	"Material.Enthalpy": Material.Enthalpy, "Material.LineSource": Material.LineSource, "Material.MeltEnergy": Material.MeltEnergy,
	"Nozzle.Flow": Nozzle.Flow, "PierceBalance.Excess": PierceBalance.Excess, "Rates.ForTime": Rates.ForTime, "Rates.PerMetre": Rates.PerMetre,
	"Reference.Volume": Reference.Volume, "Reflectance.String": Reflectance.String, "Stage.Energy": Stage.Energy, "Valve.Flow": Valve.Flow,
	"Valve.Holds": Valve.Holds,
}

func TestEveryFunctionIsHeldToBadInput(t *testing.T) {
	files, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".go") || strings.HasSuffix(f.Name(), "_test.go") {
			continue
		}
		tree, err := parser.ParseFile(token.NewFileSet(), f.Name(), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range tree.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok || !fn.Name.IsExported() {
				continue
			}
			name := fn.Name.Name
			if fn.Recv != nil {
				name = fn.Recv.List[0].Type.(*ast.Ident).Name + "." + name
			}
			if functions[name] == nil {
				t.Errorf("%s in %s is not among the functions held to bad input", name, f.Name())
			}
		}
	}
}

// hostile draws numbers that files may hold and hands may slip: ordinary ones, nought, negative ones, the ends of float64, no number.
var hostile = rapid.OneOf(
	rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 1, -1, 5e-324, 1e-300, 1e-30, 1e30, 1e150, 1e300, math.MaxFloat64, -math.MaxFloat64, math.NaN(), math.Inf(1), math.Inf(-1)}),
	rapid.Float64Range(1e-6, 1e6), rapid.Float64Range(0, 1), rapid.Float64(), rapid.Float64Range(1, 1.7))

// draw fills a value of any type that the functions take.
func draw(t *rapid.T, typ reflect.Type) reflect.Value {
	v := reflect.New(typ).Elem()
	switch typ {
	case reflect.TypeFor[Material]():
		if rapid.Bool().Draw(t, "known material") {
			return reflect.ValueOf(rapid.SampledFrom(Materials()).Draw(t, "material"))
		}
	case reflect.TypeFor[Gas]():
		if rapid.Bool().Draw(t, "known gas") {
			g, _ := GasNamed(rapid.SampledFrom(parts[:]).Draw(t, "gas").name)
			return reflect.ValueOf(g)
		}
	}
	switch typ.Kind() {
	case reflect.Float64:
		v.SetFloat(hostile.Draw(t, "number"))
	case reflect.Int:
		v.SetInt(int64(rapid.IntRange(-2, 8).Draw(t, "count")))
	case reflect.Bool:
		v.SetBool(rapid.Bool().Draw(t, "flag"))
	case reflect.String:
		v.SetString(rapid.SampledFrom([]string{"", "oxygen", "air", "copper", "mithril"}).Draw(t, "name"))
	case reflect.Struct:
		for i := range v.NumField() {
			v.Field(i).Set(draw(t, typ.Field(i).Type))
		}
	case reflect.Slice:
		for range rapid.IntRange(0, 3).Draw(t, "length") {
			v.Set(reflect.Append(v, draw(t, typ.Elem())))
		}
	case reflect.Map:
		v.Set(reflect.MakeMap(typ))
		for range rapid.IntRange(0, 3).Draw(t, "length") {
			v.SetMapIndex(draw(t, typ.Key()), draw(t, typ.Elem()))
		}
	default:
		t.Fatalf("cannot draw a %s", typ)
	}
	return v
}

// sound reports whether no number anywhere in v is NaN or infinite.
func sound(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Float64:
		return finite(v.Float())
	case reflect.Struct:
		for i := range v.NumField() {
			if !sound(v.Field(i)) {
				return false
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			if !sound(v.Index(i)) {
				return false
			}
		}
	}
	return true
}

// Where a function says ok, every number of its answer is finite; where it does not, every number is nought. None panics, whatever it is given.
func TestNoBadAnswers(t *testing.T) {
	for name, f := range functions {
		t.Run(name, func(t *testing.T) {
			fn := reflect.ValueOf(f)
			last := fn.Type().NumOut() - 1
			says := fn.Type().Out(last).Kind() == reflect.Bool && last > 0
			rapid.Check(t, func(t *rapid.T) {
				in := make([]reflect.Value, fn.Type().NumIn())
				for i := range in {
					in[i] = draw(t, fn.Type().In(i))
				}
				out := fn.Call(in)
				if !says {
					return
				}
				ok := out[last].Bool()
				for _, v := range out[:last] {
					if ok && !sound(v) {
						t.Fatalf("%v is called an answer", v)
					}
					if !ok && !v.IsZero() {
						t.Fatalf("%v is given where there is no answer", v)
					}
				}
			})
		})
	}
}
