# Prints order.tsv: isotonic regressions by R's isoreg. Rows: values, fit; numbers of a column apart by spaces.
numbers <- function(v) paste(formatC(v, digits = 12, format = "g", width = 1), collapse = " ")
set.seed(9)
cat("# values\tfit\n")
for (n in c(1, 2, 4, 7, 12, 30)) for (lean in c(0, 0.4, 1)) {
  y <- round(lean * seq_len(n) + rnorm(n), 2)
  cat(numbers(y), "\t", numbers(isoreg(y)$yf), "\n", sep = "")
}
