package table

import (
	"fmt"
	"strconv"

	"fettle/schema/quantity"
)

// Gauge numbers of sheet, in inches from number 3 on. Sources:
//
//   - carbon steel: Manufacturers' Standard Gauge, the weights of the United States Standard Gauge (15 U.S.C. 206) at 41.82 lb/ft²
//     to the inch of thickness
//   - galvanized: the same with 2.5 oz/ft² of zinc
//   - stainless: United States Standard Gauge (15 U.S.C. 206), 640 oz/ft² to the inch
//   - aluminium: Brown & Sharpe or American Wire Gauge (ASTM B258), 0.005 in × 92^((36−n)/39)
//
// All are rounded to 0.0001 in as tables print them. What a mill delivers has a tolerance of its own.
var sheetGauges = map[string]struct {
	source string
	first  int
	inches []string
}{
	"carbon-steel": {"manufacturers' standard gauge", 3, []string{"0.2391", "0.2242", "0.2092", "0.1943", "0.1793", "0.1644", "0.1495", "0.1345",
		"0.1196", "0.1046", "0.0897", "0.0747", "0.0673", "0.0598", "0.0538", "0.0478", "0.0418", "0.0359", "0.0329", "0.0299", "0.0269", "0.0239",
		"0.0209", "0.0179", "0.0164", "0.0149", "0.0135", "0.0120"}},
	"galvanized-steel": {"galvanized sheet gauge", 8, []string{"0.1681", "0.1532", "0.1382", "0.1233", "0.1084", "0.0934", "0.0785", "0.0710", "0.0635",
		"0.0575", "0.0516", "0.0456", "0.0396", "0.0366", "0.0336", "0.0306", "0.0276", "0.0247", "0.0217", "0.0202", "0.0187", "0.0172", "0.0157"}},
	"stainless-steel": {"United States standard gauge", 3, []string{"0.2500", "0.2344", "0.2188", "0.2031", "0.1875", "0.1719", "0.1563", "0.1406", "0.1250",
		"0.1094", "0.0938", "0.0781", "0.0703", "0.0625", "0.0563", "0.0500", "0.0438", "0.0375", "0.0344", "0.0313", "0.0281", "0.0250", "0.0219", "0.0188",
		"0.0172", "0.0156", "0.0141", "0.0125"}},
	"aluminium": {"Brown & Sharpe gauge", 3, []string{"0.2294", "0.2043", "0.1819", "0.1620", "0.1443", "0.1285", "0.1144", "0.1019", "0.0907", "0.0808",
		"0.0720", "0.0641", "0.0571", "0.0508", "0.0453", "0.0403", "0.0359", "0.0320", "0.0285", "0.0253", "0.0226", "0.0201", "0.0179", "0.0159",
		"0.0142", "0.0126", "0.0113", "0.0100"}},
}

var (
	gaugeCell  = pattern(`(?i)^#?\s*(\d{1,2})\s*(?:ga|gauge|gage)\.?$`)
	gaugeBare  = pattern(`^#?\s*(\d{1,2})$`)
	otherGauge = pattern(`(?i)^#?\s*\d{1,2}\s*(?:swg|bwg|bg)\.?$`)
)

// gaugeNumber returns the gauge number of a cell such as "16 ga", or "16" where the header says gauge.
func gaugeNumber(cell string, header bool) (string, bool) {
	m := gaugeCell().FindStringSubmatch(cell)
	if m == nil && header {
		m = gaugeBare().FindStringSubmatch(cell)
	}
	if m == nil {
		return "", false
	}
	return m[1], true
}

// sheetGauge returns the thickness of a gauge number for a known material, with the name of the table.
func sheetGauge(number, material string) (quantity.Value, string, error) {
	table, ok := sheetGauges[material]
	if !ok {
		return quantity.Value{}, "", unclearf("Write the thickness in mm or inches.", "there is no one table of gauge numbers for %s", material)
	}
	n, _ := strconv.Atoi(number)
	last := table.first + len(table.inches) - 1
	if n < table.first || n > last {
		return quantity.Value{}, "", unclearf("Write the thickness in mm or inches.", "number %d is not in the %s, which goes from %d to %d", n, table.source, table.first, last)
	}
	v, err := quantity.Parse(quantity.DimLength, table.inches[n-table.first]+" in")
	if err != nil {
		return v, "", fmt.Errorf("gauge table: %w", err)
	}
	return v, table.source, nil
}
