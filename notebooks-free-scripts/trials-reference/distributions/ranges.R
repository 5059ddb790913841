# Studentised range by ptukey and qtukey, Dunnett by mvtnorm, over grids.
# usage: Rscript ranges.R OUT_FOLDER
library(jsonlite)
library(mvtnorm)
out <- commandArgs(trailingOnly = TRUE)[1]
set.seed(20261125)
grid <- expand.grid(count = c(2, 3, 5, 10, 30), df = c(2, 3, 7.5, 20, 120, Inf),
  q = c(0.5, 2, 3.5, 5, 9))
quantiles <- expand.grid(count = c(2, 4, 8, 20), df = c(2, 6, 15, 60, Inf), p = c(0.05, 0.01))
coded <- function(df) ifelse(is.finite(df), df, -1)
# Dunnett with general replicates; the algorithm's own absolute error is asked to be 1e-6.
sets <- list(c(4, 4, 4, 4), c(3, 5, 8), c(4, 4, 2), c(6, 6, 6, 6, 6, 6, 3), c(2, 4))
dunnett <- list()
for (set in sets) for (df in c(5, 20, 0)) for (t in c(1.5, 2.5, 4)) {
  l <- sqrt(set[-length(set)] / (set[-length(set)] + set[length(set)]))
  r <- outer(l, l); diag(r) <- 1; k <- length(l)
  alg <- GenzBretz(maxpts = 2e6, abseps = 1e-6)
  both <- 1 - pmvt(-rep(t, k), rep(t, k), df = df, corr = r, algorithm = alg)
  above <- 1 - pmvt(-rep(Inf, k), rep(t, k), df = df, corr = r, algorithm = alg)
  dunnett[[length(dunnett) + 1]] <- list(replicates = I(set), df = df, t = t,
    both = as.numeric(both), above = as.numeric(above))
}
write_json(list(
  source = paste("R", getRversion(), "ptukey, qtukey; mvtnorm", packageVersion("mvtnorm"),
    "pmvt (last replicate is the control; df 0 there and -1 elsewhere stand for infinity)"),
  range = list(count = grid$count, df = coded(grid$df), q = grid$q,
    upper = with(grid, ptukey(q, count, df, lower.tail = FALSE))),
  quantiles = list(count = quantiles$count, df = coded(quantiles$df), p = quantiles$p,
    q = with(quantiles, qtukey(p, count, df, lower.tail = FALSE))),
  dunnett = dunnett), file.path(out, "ranges.json"), digits = I(17), auto_unbox = TRUE)
