package quantity_test

import (
	"errors"
	"fmt"

	"fettle/schema/quantity"
)

func ExampleParse() {
	v, err := quantity.Parse(quantity.DimSpeed, "3.4 m/min")
	if err != nil {
		fmt.Println(err)
		return
	}
	inches, _ := v.In("in/min")
	fmt.Println(v.Text(), "|", v.Canonical(), "|", inches)
	// Output: 3.4 m/min | 17/300 m/s | 133.9 in/min
}

func ExampleError() {
	_, err := quantity.Parse(quantity.DimSpeed, "3,4 m/min")
	fmt.Println(err)
	var e *quantity.Error
	if errors.As(err, &e) {
		fmt.Println(e.Kind, "|", e.Fix)
	}
	// Output:
	// "3,4 m/min" is a number with a decimal comma; write "3.4 m/min"
	// decimal comma | 3.4 m/min
}

func ExampleOf_Above() {
	power := quantity.MustParseOf[quantity.Power]("8 kW")
	rated := quantity.MustParseOf[quantity.Power]("6000 W")
	fmt.Println(power.Above(rated))
	// Output: true
}

func ExampleValue_Format() {
	display := quantity.Prefs{quantity.DimLength: "mm"}
	fmt.Println(quantity.MustParse(quantity.DimLength, "1/8 in").Format(display))
	fmt.Println(quantity.MustParse(quantity.DimLength, "1/8in").Format(nil))
	// Output:
	// 3.175 mm
	// 1/8 in
}
