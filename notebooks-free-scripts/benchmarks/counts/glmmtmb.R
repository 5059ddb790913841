# Simulates 50,000 negative binomial rows with two random intercepts, known
# truth, and times glmmTMB on them.
#
# usage: Rscript glmmtmb.R simulate DESIGN FILE | Rscript glmmtmb.R fit DESIGN FILE CORES
# DESIGN is nested (5,000 trees of 10 rows in 250 blocks) or crossed (5,000
# trees, each meeting 10 of 400 site-seasons).

suppressPackageStartupMessages(library(glmmTMB))
args <- commandArgs(trailingOnly = TRUE)
trees <- 5000
rows <- 50000
digits <- function(x) formatC(x, digits = 17, format = "g")
if (args[1] == "simulate") {
  set.seed(20240501)
  tree <- rep(seq_len(trees), each = rows / trees)
  other <- if (args[2] == "nested") {
    rep(rep(1:250, each = trees / 250), each = rows / trees)
  } else {
    as.vector(replicate(trees, sample.int(400, rows / trees)))
  }
  x1 <- rnorm(rows)
  x2 <- runif(rows, -1, 1)
  x3 <- rbinom(rows, 1, 0.5)
  area <- runif(rows, 0.5, 2)
  eta <- log(area) + 0.8 + 0.3 * x1 - 0.25 * x2 + 0.2 * x3 - 0.15 * x1^2 +
    rnorm(trees, 0, 0.5)[tree] + rnorm(max(other), 0, 0.4)[other]
  y <- rnbinom(rows, mu = exp(eta), size = 1.5)
  write.csv(data.frame(y, offset = digits(log(area)), tree = tree - 1, other = other - 1,
    x1 = digits(x1), x2 = digits(x2), x3, x4 = digits(x1^2)),
    args[3], row.names = FALSE, quote = FALSE)
} else {
  d <- read.csv(args[3])
  d$tree <- factor(d$tree)
  d$other <- factor(d$other)
  time <- system.time(m <- glmmTMB(y ~ x1 + x2 + x3 + x4 + offset(offset) + (1 | tree) + (1 | other),
    d, family = nbinom2(), control = glmmTMBControl(parallel = as.integer(args[4]))))
  # The answer, beyond nlminb's tolerance, outside the clock.
  o <- m$obj
  par <- m$fit$par
  for (step in 1:3) {
    o$fn(par)
    par <- par - solve(optimHess(par, o$fn, o$gr, control = list(ndeps = rep(1e-4, length(par)))),
      as.numeric(o$gr(par)))
  }
  se <- sqrt(diag(vcov(m)$cond))
  cat(sprintf("glmmTMB %s, TMB %s, %s, %s core(s), design %s\n", packageVersion("glmmTMB"),
    packageVersion("TMB"), R.version.string, args[4], args[2]))
  cat(sprintf("seconds %.2f\n", time[["elapsed"]]))
  cat(sprintf("loglik as fitted %.9f, after Newton steps %.9f\n", -m$fit$objective, -o$fn(par)))
  cat("coefficients", formatC(fixef(m)$cond, digits = 8, format = "f"), "\n")
  cat("standard errors", formatC(se, digits = 8, format = "f"), "\n")
  cat("sd", formatC(exp(par[names(par) == "theta"]), digits = 8, format = "f"),
    "size", formatC(exp(par[names(par) == "betad"]), digits = 8, format = "f"), "\n")
}
