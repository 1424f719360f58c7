package quantity

import (
	"encoding/json"
	"reflect"
	"testing"
)

func TestTyped(t *testing.T) {
	slow, fast := MustParseOf[Speed]("3.4 m/min"), MustParseOf[Speed]("60 mm/s")
	if !fast.Above(slow) || slow.Above(fast) || !slow.Below(fast) || fast.Below(slow) || slow.Above(slow) || slow.Below(slow) {
		t.Error("3.4 m/min is below 60 mm/s")
	}
	if slow.Cmp(fast) != -1 || slow.Equal(fast) || !slow.Equal(MustParseOf[Speed]("3400 mm/min")) {
		t.Error("order or equality of speeds is wrong")
	}
	if got := fast.Sub(slow).Scale(3, 1).Text(); got != "10 mm/s" {
		t.Errorf("3 × (60 mm/s - 3.4 m/min) = %s", got)
	}
	if got := MustParseOf[Power]("6 kW").Times(MustParseOf[Ratio]("50 %")).Text(); got != "3 kW" {
		t.Errorf("half of 6 kW is %s", got)
	}
	var none Speed
	if none.Above(slow) || none.Below(slow) || slow.Above(none) || slow.Below(none) {
		t.Error("something was said of no value")
	}
	if none.Dim() != DimSpeed || none.Dimension() != DimNone || none.Cmp(slow) != -1 {
		t.Errorf("no speed has dimensions %v, %v", none.Dim(), none.Dimension())
	}
	if _, err := ParseOf[Power]("3.4 m/min"); err == nil {
		t.Error("a speed was read as a power")
	}
	if p, ok := Typed[Power](slow.Value); ok || !p.IsZero() {
		t.Error("a speed was typed as a power")
	}
	if s, ok := Typed[Speed](slow.Value); !ok || !s.Equal(slow) {
		t.Error("a speed was not typed as a speed")
	}
	if s, ok := Typed[Speed](Value{}); !ok || !s.IsZero() {
		t.Error("no value was not typed as no speed")
	}
}

// Each name stands for one dimension, and the compiler keeps them apart: no comparison takes another type than its own.
func TestTypesAreApart(t *testing.T) {
	types := map[Dimension]reflect.Type{
		DimLength: reflect.TypeFor[Length](), DimSpeed: reflect.TypeFor[Speed](), DimPressure: reflect.TypeFor[Pressure](),
		DimPower: reflect.TypeFor[Power](), DimTime: reflect.TypeFor[Duration](), DimFrequency: reflect.TypeFor[Frequency](),
		DimRatio: reflect.TypeFor[Ratio](), DimBeamParameter: reflect.TypeFor[BeamParameter](), DimConductance: reflect.TypeFor[Conductance](),
		DimTemperature: reflect.TypeFor[Temperature](), DimMass: reflect.TypeFor[Mass](), DimVolumeFlow: reflect.TypeFor[VolumeFlow](),
	}
	if len(types) != int(dimCount)-1 {
		t.Fatalf("%d types for %d dimensions", len(types), dimCount-1)
	}
	for d, typ := range types {
		setter, ok := reflect.New(typ).Interface().(Setter)
		if !ok || setter.Dim() != d {
			t.Errorf("%v does not set %v", typ, d)
			continue
		}
		if err := setter.Set(d.Example()); err != nil {
			t.Error(err)
		}
		before := reflect.ValueOf(setter).Elem().Interface()
		if err := setter.Set("1 furlong"); err == nil || reflect.ValueOf(setter).Elem().Interface() != before {
			t.Errorf("%v: a refused text left %v, error %v", d, setter, err)
		}
		for _, name := range []string{"Above", "Below", "Cmp", "Equal", "Sub"} {
			method, _ := typ.MethodByName(name)
			if method.Type.In(1) != typ {
				t.Errorf("%v.%s takes %v", typ, name, method.Type.In(1))
			}
			for other, otherType := range types {
				if other != d && otherType.AssignableTo(method.Type.In(1)) {
					t.Errorf("%v.%s takes %v", typ, name, otherType)
				}
			}
		}
	}
}

func TestJSON(t *testing.T) {
	type cut struct {
		Speed Speed  `json:"speed"`
		Focus Length `json:"focus,omitzero"`
	}
	var c cut
	if err := json.Unmarshal([]byte(`{"speed":"3.40 m/min"}`), &c); err != nil {
		t.Fatal(err)
	}
	if out, err := json.Marshal(c); err != nil || string(out) != `{"speed":"3.40 m/min"}` {
		t.Errorf("written as %s, %v", out, err)
	}
	if err := json.Unmarshal([]byte(`{"speed":"3,4 m/min"}`), &c); err == nil || c.Speed.Text() != "3.40 m/min" {
		t.Errorf("a decimal comma gives %v, %v", c.Speed, err)
	}
	if err := json.Unmarshal([]byte(`{"speed":""}`), &c); err != nil || !c.Speed.IsZero() {
		t.Errorf("an empty text gives %v, %v", c.Speed, err)
	}
}

func TestMustParsePanics(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("no panic")
		}
	}()
	MustParseOf[Speed]("3.4")
}
