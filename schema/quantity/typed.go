package quantity

// An Of is a [Value] of one dimension, known to the compiler. Its names are [Length], [Speed] and so on; the parameter
// cannot be named outside this package. The zero Of is "no value", and yet knows its dimension.
type Of[D dim] struct{ Value }

// A dim is a type that stands for a dimension.
type dim interface{ dimension() Dimension }

// Quantities of one dimension each.
type (
	Length        = Of[length]
	Speed         = Of[speed]
	Pressure      = Of[pressure] // gauge, at the cutting head
	Power         = Of[power]
	Duration      = Of[duration]
	Frequency     = Of[frequency]
	Ratio         = Of[ratio]
	BeamParameter = Of[beamParameter] // beam parameter product (ISO 11145)
	Conductance   = Of[conductance]   // sonic conductance (ISO 6358)
	Temperature   = Of[temperature]
	Mass          = Of[mass]
	VolumeFlow    = Of[volumeFlow] // at the reference atmosphere of ISO 8778
)

type (
	length        struct{}
	speed         struct{}
	pressure      struct{}
	power         struct{}
	duration      struct{}
	frequency     struct{}
	ratio         struct{}
	beamParameter struct{}
	conductance   struct{}
	temperature   struct{}
	mass          struct{}
	volumeFlow    struct{}
)

func (length) dimension() Dimension        { return DimLength }
func (speed) dimension() Dimension         { return DimSpeed }
func (pressure) dimension() Dimension      { return DimPressure }
func (power) dimension() Dimension         { return DimPower }
func (duration) dimension() Dimension      { return DimTime }
func (frequency) dimension() Dimension     { return DimFrequency }
func (ratio) dimension() Dimension         { return DimRatio }
func (beamParameter) dimension() Dimension { return DimBeamParameter }
func (conductance) dimension() Dimension   { return DimConductance }
func (temperature) dimension() Dimension   { return DimTemperature }
func (mass) dimension() Dimension          { return DimMass }
func (volumeFlow) dimension() Dimension    { return DimVolumeFlow }

// A Setter is what a decoder sees of a pointer to an [Of]: the dimension, to say what is wanted, and a way to read it.
type Setter interface {
	Set(text string) error
	Dim() Dimension
}

// ParseOf is [Parse] for a typed quantity: ParseOf[quantity.Speed]("3.4 m/min").
func ParseOf[Q interface{ Of[D] }, D dim](text string) (Q, error) {
	var q Of[D]
	err := q.Set(text)
	return Q(q), err
}

// MustParseOf is [ParseOf] for a text that is known to be good. It panics on an error.
func MustParseOf[Q interface{ Of[D] }, D dim](text string) Q {
	var d D
	return Q(Of[D]{MustParse(d.dimension(), text)})
}

// Typed returns v as a typed quantity, if it has that dimension or is no value: Typed[quantity.Speed](v).
func Typed[Q interface{ Of[D] }, D dim](v Value) (Q, bool) {
	var d D
	if !v.IsZero() && v.dim != d.dimension() {
		return Q(Of[D]{}), false
	}
	return Q(Of[D]{v}), true
}

// Dim returns the dimension of the type, also for no value.
func (a Of[D]) Dim() Dimension {
	var d D
	return d.dimension()
}

// Set reads text into a. After an error, which is an [*Error], a is as it was.
func (a *Of[D]) Set(text string) error {
	v, err := Parse(a.Dim(), text)
	if err != nil {
		return err
	}
	a.Value = v
	return nil
}

// UnmarshalText is [Of.Set] for decoders; an empty text is no value.
func (a *Of[D]) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		a.Value = Value{}
		return nil
	}
	return a.Set(string(text))
}

// Above reports whether a > b. It is false if either is no value: nothing can be said of what is not there.
func (a Of[D]) Above(b Of[D]) bool { return !a.IsZero() && !b.IsZero() && a.si.cmp(b.si) > 0 }

// Below reports whether a < b. It is false if either is no value.
func (a Of[D]) Below(b Of[D]) bool { return !a.IsZero() && !b.IsZero() && a.si.cmp(b.si) < 0 }

// Cmp is [Value.Cmp]: no value comes first.
func (a Of[D]) Cmp(b Of[D]) int { return a.Value.Cmp(b.Value) }

// Equal is [Value.Equal].
func (a Of[D]) Equal(b Of[D]) bool { return a.Value.Equal(b.Value) }

// Sub is [Value.Sub].
func (a Of[D]) Sub(b Of[D]) Of[D] { return Of[D]{a.Value.Sub(b.Value)} }

// Scale is [Value.Scale].
func (a Of[D]) Scale(num, den int64) Of[D] { return Of[D]{a.Value.Scale(num, den)} }

// Times is [Value.Times].
func (a Of[D]) Times(r Ratio) Of[D] { return Of[D]{a.Value.Times(r.Value)} }
