# Reference values of generalised mixed models from glmmTMB, lme4 and MASS.
#
# usage: Rscript generalised.R OUT_FOLDER
#
# Writes per case CASE.csv (y, offset, w, x:NAME, factor codes g:FACTOR from 0,
# slope columns z:NAME) and one values.csv with case,quantity,term,value, at 17
# significant digits. glmmTMB's optimum is polished by Newton steps on its own
# gradient: nlminb alone stops near 1e-6 of a standard error, and warns of
# singular convergence when asked for more than rounding allows.

suppressPackageStartupMessages({
  library(glmmTMB)
  library(lme4)
  library(MASS)
})
out <- commandArgs(trailingOnly = TRUE)[1]
values <- data.frame()
digits <- function(x) trimws(formatC(x, digits = 17, format = "g"))
put <- function(case, quantity, term, value) {
  values <<- rbind(values, data.frame(case = case, quantity = quantity,
    term = term, value = digits(value)))
}
plain <- function(x) gsub("(Intercept)", "intercept", x, fixed = TRUE)

write_case <- function(case, y, offset, w, x, groups, slopes) {
  columns <- data.frame(y = y, offset = offset, w = w)
  for (j in seq_len(ncol(x))) columns[[paste0("x:", plain(colnames(x)[j]))]] <- x[, j]
  for (f in names(groups)) columns[[paste0("g:", f)]] <- as.integer(factor(groups[[f]])) - 1L
  for (s in names(slopes)) columns[[paste0("z:", s)]] <- slopes[[s]]
  for (j in seq_along(columns)) columns[[j]] <- digits(columns[[j]])
  write.csv(columns, file.path(out, paste0(case, ".csv")), row.names = FALSE, quote = FALSE)
}

polish <- function(m) {
  o <- m$obj
  par <- m$fit$par
  for (step in 1:3) {
    o$fn(par)
    h <- optimHess(par, o$fn, o$gr, control = list(ndeps = rep(1e-4, length(par))))
    par <- par - solve(h, as.numeric(o$gr(par)))
  }
  names(par) <- names(m$fit$par)
  value <- o$fn(par)
  m$fit$par <- par
  m$fit$objective <- value
  m$fit$parfull <- o$env$last.par
  o$env$last.par.best <- o$env$last.par
  h <- optimHess(par, o$fn, o$gr, control = list(ndeps = rep(1e-4, length(par))))
  m$sdr <- TMB::sdreport(o, par.fixed = par, hessian.fixed = h)
  m
}

describe <- function(case, formula, data, family, groups, slopes = character(), w = NULL, off = NULL) {
  data$.w <- if (is.null(w)) rep(1, nrow(data)) else w
  data$.off <- if (is.null(off)) rep(0, nrow(data)) else off
  m <- glmmTMB(formula, data, family = family, weights = .w, offset = .off,
    control = glmmTMBControl(optCtrl = list(iter.max = 1e4, eval.max = 1e4, rel.tol = 1e-14)))
  m <- polish(m)
  f <- lapply(groups, function(g) factor(data[[g]]))
  names(f) <- groups
  s <- lapply(slopes, function(n) data[[n]])
  names(s) <- slopes
  write_case(case, model.response(model.frame(m)), data$.off, data$.w, getME(m, "X"), f, s)
  put(case, "loglik", "all", -m$fit$objective)
  b <- fixef(m)$cond
  se <- sqrt(diag(vcov(m)$cond))
  for (n in names(b)) {
    put(case, "estimate", plain(n), b[[n]])
    put(case, "std_error", plain(n), se[[n]])
  }
  fixed <- summary(m$sdr, "fixed")
  if (any(rownames(fixed) == "betad") && family$family != "poisson") {
    k <- which(rownames(fixed) == "betad")
    name <- if (family$family == "tweedie") "dispersion" else "size"
    put(case, "parameter", name, exp(fixed[k, 1]))
    put(case, "parameter_std_error", name, fixed[k, 2])
  }
  if (family$family == "tweedie") {
    k <- which(rownames(fixed) %in% c("thetaf", "psi"))
    put(case, "parameter", "power", 1 + plogis(fixed[k, 1]))
    put(case, "parameter_std_error", "power", fixed[k, 2])
  }
  v <- VarCorr(m)$cond
  theta <- which(rownames(fixed) == "theta")
  blocks <- m$modelInfo$reStruc$condReStruc
  at <- 0
  for (i in seq_along(v)) {
    g <- names(v)[i]
    sd <- attr(v[[i]], "stddev")
    for (j in seq_along(sd)) {
      term <- paste(g, plain(names(sd)[j]), sep = ".")
      put(case, "sd", term, sd[[j]])
      put(case, "sd_std_error", term, fixed[theta[at + j], 2])
    }
    at <- at + blocks[[i]]$blockNumTheta
    if (blocks[[i]]$blockNumTheta == 3) {
      put(case, "correlation", g, attr(v[[i]], "correlation")[1, 2])
    }
  }
  re <- ranef(m, condVar = FALSE)$cond
  for (g in names(re)) for (n in colnames(re[[g]])) for (i in seq_len(nrow(re[[g]]))) {
    put(case, "mode", paste(g, plain(n), i - 1, sep = "/"), re[[g]][i, n])
  }
  p <- predict(m, type = "link", se.fit = TRUE)
  for (i in 1:5) {
    put(case, "link", i - 1, p$fit[i])
    put(case, "link_std_error", i - 1, p$se.fit[i])
  }
  invisible(m)
}

ticks <- grouseticks
ticks$height <- (ticks$HEIGHT - mean(ticks$HEIGHT)) / 100
describe("ticks-poisson", TICKS ~ YEAR + height + (1 | BROOD) + (1 | LOCATION), ticks,
  poisson(), c("BROOD", "LOCATION"))
describe("ticks-negative-binomial", TICKS ~ YEAR + height + (1 | BROOD) + (1 | LOCATION), ticks,
  nbinom2(), c("BROOD", "LOCATION"))
describe("epil-negative-binomial", y ~ lbase * trt + lage + V4 + (1 | subject), epil,
  nbinom2(), "subject")
epil2$Visit01 <- epil2$Visit
describe("epil-slope", y ~ Base * trt + Age + Visit + (Visit01 | subject), epil2,
  nbinom2(), "subject", "Visit01")
owls <- Owls
describe("owls-offset", SiblingNegotiation ~ FoodTreatment * SexParent + ArrivalTime + (1 | Nest),
  transform(owls, ArrivalTime = ArrivalTime - 24), nbinom2(), "Nest", off = log(owls$BroodSize))
owls$arrival <- owls$ArrivalTime - 24
owls$satiated <- as.numeric(owls$FoodTreatment == "Satiated")
describe("owls-slopes", SiblingNegotiation ~ FoodTreatment + arrival + diag(1 + satiated | Nest),
  owls, poisson(), "Nest", "satiated", off = log(owls$BroodSize))
describe("owls-correlated", SiblingNegotiation ~ FoodTreatment + arrival + (1 + satiated | Nest),
  owls, poisson(), "Nest", "satiated", off = log(owls$BroodSize))
describe("salamanders-weighted", count ~ spp + mined + (1 | site), Salamanders,
  poisson(), "site", w = rep(c(1, 2, 3), length.out = nrow(Salamanders)))
describe("salamanders-negative-binomial", count ~ spp * mined + (1 | site), Salamanders,
  nbinom2(), "site")
claims <- Insurance
claims$Group <- factor(claims$Group, ordered = FALSE)
claims$Age <- factor(claims$Age, ordered = FALSE)
describe("insurance-offset", Claims ~ Group + Age + (1 | District), claims, poisson(),
  "District", off = log(claims$Holders))
describe("salamanders-tweedie", count ~ spp + mined + (1 | site), Salamanders, tweedie(), "site")
describe("owls-tweedie", NegPerChick ~ FoodTreatment * SexParent + arrival + (1 | Nest), owls,
  tweedie(), "Nest")
# Counts with an offset, nested factors and a two-level factor within them: the
# form of frame counts on two sides of a tree in several seasons.
owls$night <- interaction(owls$Nest, owls$FoodTreatment, drop = TRUE)
describe("owls-nested", SiblingNegotiation ~ FoodTreatment + SexParent + arrival + (1 | Nest) +
  (1 | night), owls, nbinom2(), c("Nest", "night"), off = log(owls$BroodSize))
# Shares of trials, with one factor and with a second level of it below.
cows <- transform(cbpp, share = incidence / size, visit = interaction(herd, period, drop = TRUE))
describe("cbpp-binomial", share ~ period + (1 | herd), cows, binomial(), "herd", w = cows$size)
describe("cbpp-nested", share ~ period + (1 | herd) + (1 | visit), cows, binomial(),
  c("herd", "visit"), w = cows$size)

# A generalised linear model, from MASS alone.
q <- glm.nb(Days ~ Eth * Lrn + Sex + Age, quine, control = glm.control(epsilon = 1e-14, maxit = 200))
write_case("quine", quine$Days, rep(0, nrow(quine)), rep(1, nrow(quine)), model.matrix(q), list(), list())
put("quine", "loglik", "all", as.numeric(logLik(q)))
put("quine", "parameter", "size", q$theta)
# MASS: standard error of theta, from its observed information at given means.
put("quine", "size_std_error", "size", q$SE.theta)
for (n in names(coef(q))) {
  put("quine", "estimate", plain(n), coef(q)[[n]])
  # Expected information at a given theta.
  put("quine", "mass_std_error", plain(n), coef(summary(q))[n, 2])
}
g <- polish(glmmTMB(Days ~ Eth * Lrn + Sex + Age, quine, family = nbinom2()))
for (n in names(coef(q))) put("quine", "std_error", plain(n), sqrt(diag(vcov(g)$cond))[[n]])

# Why lme4 and glmmTMB differ for the negative binomial: Laplace's
# approximation by hand, group by group, with observed weights (glmmTMB, the
# engine) and with expected ones (lme4), each at its own optimum.
plain_epil <- transform(epil, subject = factor(subject))
describe("epil-plain", y ~ lbase + trt + lage + V4 + (1 | subject), plain_epil, nbinom2(), "subject")
by_hand <- function(par, observed) {
  eta <- drop(model.matrix(~ lbase + trt + lage + V4, plain_epil) %*% par[1:5])
  size <- exp(par[7])
  weights <- function(y, mu, observed) {
    if (observed) (size + y) * size * mu / (size + mu)^2 else mu * size / (size + mu)
  }
  sum(sapply(split(seq_along(eta), plain_epil$subject), function(i) {
    y <- plain_epil$y[i]
    u <- 0
    for (step in 1:60) {
      mu <- exp(eta[i] + par[6] * u)
      slope <- par[6] * sum((y - mu) * size / (size + mu)) - u
      u <- u + slope / (1 + par[6]^2 * sum(weights(y, mu, TRUE)))
    }
    mu <- exp(eta[i] + par[6] * u)
    u^2 - 2 * sum(dnbinom(y, size = size, mu = mu, log = TRUE)) +
      log(1 + par[6]^2 * sum(weights(y, mu, observed)))
  }))
}
for (observed in c(TRUE, FALSE)) {
  best <- c(1.83, 1.03, -0.32, 0.33, -0.12, 0.48, 2)
  for (round in 1:3) {
    best <- optim(best, by_hand, observed = observed, method = "BFGS",
      control = list(reltol = 1e-15, maxit = 2000, ndeps = rep(1e-5, 7)))$par
  }
  put("epil-plain", "by_hand", if (observed) "observed" else "expected", -by_hand(best, observed) / 2)
  put("epil-plain", "by_hand_intercept", if (observed) "observed" else "expected", best[1])
}

# One-sided 95 % limits of a spread at 0 and of a size at infinity: where the
# deviance, profiled with the parameter held by `map`, has risen by 2.71.
flat <- data.frame(y = c(3, 4, 5, 4, 3, 5, 4, 4, 5, 3, 4, 4), g = factor(rep(1:4, each = 3)))
base <- as.numeric(logLik(glm(y ~ 1, poisson, flat)))
rise <- qchisq(0.9, 1)
at_sd <- function(s) {
  m <- glmmTMB(y ~ 1 + (1 | g), flat, poisson(), start = list(theta = log(s)),
    map = list(theta = factor(NA)))
  2 * (base - as.numeric(logLik(m))) - rise
}
put("limits", "high", "sd", uniroot(at_sd, c(0.05, 1), tol = 1e-8)$root)
at_size <- function(l) {
  2 * (base - as.numeric(logLik(glm(y ~ 1, negative.binomial(exp(l)), flat)))) - rise
}
put("limits", "low", "size", exp(uniroot(at_size, c(0, 6), tol = 1e-8)$root))

write.csv(values, file.path(out, "values.csv"), row.names = FALSE, quote = FALSE)
writeLines(c(R.version.string,
  sapply(c("glmmTMB", "TMB", "lme4", "MASS", "Matrix"), function(p) paste(p, packageVersion(p)))),
  file.path(out, "session.txt"))
