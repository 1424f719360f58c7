# Prints spread.tsv: Qn by robustbase with the correction for small samples of its first version, and quantiles of type 7 by quantile.
# Rows: values, Qn, quantiles 0, 0.05, 0.5, 0.9, 1.
suppressMessages(library(robustbase))
numbers <- function(v) paste(formatC(v, digits = 12, format = "g", width = 1), collapse = " ")
set.seed(10)
# Croux and Rousseeuw 1992
factor <- function(n) if (n <= 9) c(.399, .994, .512, .844, .611, .857, .669, .872)[n - 1] else if (n %% 2) n / (n + 1.4) else n / (n + 3.8)
cat("# values\tQn\tquantiles\n")
for (n in c(2:12, 25, 40)) {
  y <- round(rnorm(n), 4)
  if (n > 6) y[n] <- 100
  q <- Qn(y, constant = 2.21914, finite.corr = FALSE) * factor(n)
  cat(numbers(y), "\t", numbers(q), "\t", numbers(quantile(y, c(0, 0.05, 0.5, 0.9, 1))), "\n", sep = "")
}
