# power.t.test (strict: both tails) and power.anova.test of a completely randomised trial, power by
# pf with a noncentrality for randomised blocks.
out <- commandArgs(trailingOnly = TRUE)[1]
cat(R.version.string, "\n")
t <- list(); f <- list(); b <- list(); n <- list()
for (r in c(2, 3, 5, 10, 40)) for (d in c(0.3, 1, 2.5)) for (a in c(0.05, 0.01)) {
  p <- power.t.test(n = r, delta = d, sd = 1, sig.level = a, strict = TRUE)$power
  t[[length(t) + 1]] <- list(replicates = r, difference = d, alpha = a, power = p)
}
for (g in c(2, 3, 6, 12)) for (r in c(2, 4, 9)) for (v in c(0.2, 0.7)) {
  p <- power.anova.test(groups = g, n = r, between.var = v, within.var = 1)$power
  means <- seq_len(g); means <- means / sd(means) * sqrt(v)
  f[[length(f) + 1]] <- list(treatments = g, replicates = r, means = means, power = p)
}
for (g in c(2, 4, 8)) for (r in c(2, 3, 6)) for (d in c(0.5, 1.5)) {
  df <- (g - 1) * (r - 1); ncp <- d^2 * r / 2
  p <- pf(qf(0.95, g - 1, df), g - 1, df, ncp = ncp, lower.tail = FALSE)
  q <- pf(qf(0.95, 1, df), 1, df, ncp = ncp, lower.tail = FALSE)
  b[[length(b) + 1]] <- list(treatments = g, replicates = r, difference = d, any = p, two = q)
}
for (d in c(0.4, 0.75, 1, 2)) for (p in c(0.8, 0.9)) {
  n[[length(n) + 1]] <- list(difference = d, power = p,
    replicates = power.t.test(delta = d, sd = 1, power = p, strict = TRUE)$n)
}
jsonlite::write_json(list(source = paste(R.version.string, "stats"), t_test = t, anova = f,
  blocks = b, replicates = n), file.path(out, "power_r.json"), auto_unbox = TRUE, digits = NA,
  pretty = TRUE)
