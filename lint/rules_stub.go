package lint

var (
	fileRules, slipRules, machineRules, materialRules, changeRules []Rule
)
