# Prints statistics-r.tsv: what R makes of the same samples and points, and of designs.
read <- function(name) read.delim(name, comment.char = "#", header = FALSE, colClasses = "character", quote = "")
numbers <- function(text) as.numeric(strsplit(text, " ")[[1]])
out <- function(...) cat(paste(sapply(list(...), function(v) if (is.character(v)) v else sprintf("%.12g", v)), collapse = "\t"), "\n", sep = "")

cat("# welch\tname\tt\tdf\tp\tlow\thigh\n# ranks\tname\tU\tp exact or -\tp approximated\n")
for (i in seq_len(nrow(s <- read("samples.tsv")))) {
  a <- numbers(s[i, 2]); b <- numbers(s[i, 3])
  t <- t.test(b, a)
  out("welch", s[i, 1], t$statistic[[1]], t$parameter[[1]], t$p.value, t$conf.int[1], t$conf.int[2])
  w <- suppressWarnings(wilcox.test(b, a, exact = FALSE, correct = TRUE))
  exact <- if (anyDuplicated(c(a, b))) "-" else wilcox.test(b, a, exact = TRUE)$p.value
  out("ranks", s[i, 1], w$statistic[[1]], exact, w$p.value)
}
cat("# wilson\tgood\tof\tconfidence\tlow\thigh\n")
for (n in c(1, 5, 8, 20, 100)) for (k in unique(c(0, n %/% 2, n))) {
  interval <- suppressWarnings(prop.test(k, n, correct = FALSE))$conf.int
  out("wilson", as.character(k), as.character(n), 0.95, interval[1], interval[2])
}
cat("# at\tname\tdegree\tx\tmean\thalf width\n")
for (i in seq_len(nrow(p <- read("points.tsv")))) {
  x <- numbers(p[i, 3]); y <- numbers(p[i, 4]); degree <- as.integer(p[i, 2])
  model <- lm(y ~ poly(x, degree))
  for (at in c(min(x), mean(x), min(x) + 0.7 * (max(x) - min(x)))) {
    got <- predict(model, data.frame(x = at), interval = "confidence")
    out("at", p[i, 1], as.character(degree), at, got[1], got[3] - got[1])
  }
}
# Designs: points in coded units, sorted, and the determinant of X'X of the full quadratic model, which says how much they tell.
cat("# design\tname\tpoints\tdeterminant\tlargest correlation of two columns of first order\n")
quadratic <- function(d) {
  m <- cbind(1, d, d^2)
  for (i in seq_len(ncol(d) - 1)) for (j in (i + 1):ncol(d)) m <- cbind(m, d[, i] * d[, j])
  m
}
show <- function(name, d, model) {
  d <- d[do.call(order, lapply(seq_len(ncol(d)), function(j) round(d[, j], 9))), , drop = FALSE]
  x <- model(d)
  c <- cor(d); diag(c) <- 0
  out("design", name, paste(apply(d, 1, function(r) paste(sprintf("%.6f", r + 0), collapse = ",")), collapse = " "), det(crossprod(x)), max(abs(c)))
}
composite <- function(k, centres) {
  alpha <- (2^k)^(1 / 4)
  corners <- as.matrix(expand.grid(rep(list(c(-1, 1)), k))) / alpha
  star <- rbind(diag(k), -diag(k))
  unname(rbind(corners, star, matrix(0, centres, k)))
}
show("composite-2-3", composite(2, 3), quadratic)
show("composite-3-5", composite(3, 5), quadratic)
show("factorial-3-3", unname(as.matrix(expand.grid(-1:1, -1:1))), quadratic)
show("factorial-2-2-2", unname(as.matrix(expand.grid(c(-1, 1), c(-1, 1), c(-1, 1)))), function(d) cbind(1, d))
show("factorial-3-2", unname(as.matrix(expand.grid(-1:1, c(-1, 1)))), function(d) cbind(1, d))
# Surfaces over two values, coded from -1 to 1: each term with its deviation and p, and where a quadratic one is flat.
cat("# term\tname\tterm\tvalue\tdeviation\tp\n# surface\tname\tS\tR2\n# flat\tname\tfirst\tsecond\tfigure\n")
for (i in seq_len(nrow(q <- read("surfaces.tsv")))) {
  first <- numbers(q[i, 3]); second <- numbers(q[i, 4]); y <- numbers(q[i, 5])
  code <- function(v) (2 * v - min(v) - max(v)) / (max(v) - min(v))
  a <- code(first); b <- code(second)
  model <- if (q[i, 2] == "quadratic") lm(y ~ a + b + I(a * b) + I(a^2) + I(b^2)) else lm(y ~ a + b + I(a * b))
  k <- summary(model)$coefficients
  names <- c("1", "a", "b", "ab", "aa", "bb")
  for (r in seq_len(nrow(k))) out("term", q[i, 1], names[r], k[r, 1], k[r, 2], k[r, 4])
  out("surface", q[i, 1], summary(model)$sigma, summary(model)$r.squared)
  if (q[i, 2] == "quadratic") {
    bend <- matrix(c(2 * k[5, 1], k[4, 1], k[4, 1], 2 * k[6, 1]), 2)
    u <- solve(bend, -k[2:3, 1])
    plain <- function(u, v) (min(v) + max(v) + u * (max(v) - min(v))) / 2
    out("flat", q[i, 1], plain(u[1], first), plain(u[2], second), predict(model, data.frame(a = u[1], b = u[2])))
  }
}
