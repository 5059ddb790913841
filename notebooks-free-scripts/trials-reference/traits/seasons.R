# Counts of the same plots in two seasons by pseudo-likelihood: the working response and its weights by lme4::lmer (REML)
# over and over (Wolfinger and O'Connell 1993), with m + clumping m^2 as the variance of a count and the clumping at which
# the residual variance is 1, or none where counts are no more variable than chance has it: then no error is below that
# of glm with plots and years left out, and of the two Wald statistics the smaller stands. Wald's tests of treatment, season and their
# interaction with contrasts that sum to 0, and treatments over the seasons compared by emmeans with the 12 degrees of
# freedom of their error: all pairs by Tukey, with the first by Dunnett (mvtnorm). usage: Rscript seasons.R OUT_FOLDER
suppressPackageStartupMessages({ library(jsonlite); library(lme4); library(emmeans) })
out <- commandArgs(trailingOnly = TRUE)[1]
options(contrasts = c("contr.sum", "contr.poly"))
set.seed(20240517)
simulated <- function(of_treatment, moving) {
  d <- expand.grid(treatment = c("0", "15", "30", "45"), block = as.character(1:5), season = c("2024", "2025"),
    stringsAsFactors = TRUE)
  d$plot <- interaction(d$block, d$treatment)
  plot <- setNames(rnorm(20, 0, 0.15), levels(d$plot)); yard <- rnorm(10, 0, 0.1)
  d$year <- interaction(d$block, d$season)
  d$exposure <- round(runif(40, 1.5, 2.5), 2)
  level <- as.numeric(as.character(d$treatment)) / 45
  eta <- log(22) + 0.4 * (d$season == "2025") + of_treatment * level + moving * level * (d$season == "2025") +
    plot[as.character(d$plot)] + yard[as.integer(d$year)]
  d$count <- rpois(40, d$exposure * exp(eta))
  d
}
fitted_ <- function(d) {
  settled <- function(clumping) {
    eta <- log((d$count + 0.5) / d$exposure)
    for (round in 1:200) {
      m <- d$exposure * exp(eta)
      d$z <- eta + (d$count - m) / m; d$w <- m / (1 + clumping * m)
      g <- suppressMessages(lmer(z ~ treatment * season + block + (1 | plot) + (1 | year), d, weights = w,
        control = lmerControl("bobyqa", optCtrl = list(rhoend = 1e-12, maxfun = 1e5), check.conv.singular = "ignore")))
      new <- fitted(g); moved <- max(abs(new - eta) * sqrt(d$w)); eta <- new
      if (moved < 1e-9) break
    }
    g
  }
  clumping <- 0; g <- settled(0)
  if (sigma(g) > 1) {
    clumping <- exp(uniroot(function(log) sigma(settled(exp(log)))^2 - 1, log(c(1e-6, 10)), tol = 1e-10)$root)
    g <- settled(clumping)
  }
  b <- fixef(g); V <- as.matrix(vcov(g)); at <- attr(model.matrix(g), "assign")
  Vs <- list(V)
  if (clumping == 0) {
    # Fitted to the working response's own limit: Fisher scoring is the same rounds without random strata.
    chance <- glm(count ~ treatment * season + block + offset(log(exposure)), poisson, d, control = glm.control(1e-14, 200))
    Vs[[2]] <- vcov(chance)[names(b), names(b)]
  }
  wald <- function(term) { j <- which(at == term); min(sapply(Vs, function(V) sum(b[j] * solve(V[j, j], b[j])))) / length(j) }
  # Treatments over seasons: intercept and the treatment's own effect.
  L <- cbind(1, contr.sum(4)); j <- c(1, which(at == 1))
  covariances <- lapply(Vs, function(V) L %*% V[j, j] %*% t(L))
  # The variances of all differences added up.
  pairs_of <- sapply(covariances, function(C) nrow(C) * sum(diag(C)) - sum(C))
  V <- Vs[[which.max(pairs_of)]]
  # It notes the interaction with season.
  e <- suppressMessages(emmeans(g, "treatment", lmer.df = "asymptotic", vcov. = V, df = 12))
  compared <- function(x) { s <- summary(x, infer = TRUE, level = 0.95); n <- names(s)
    list(pair = as.character(s$contrast), estimate = s$estimate, se = s$SE, low = s[[grep("LCL|lower", n)]],
      high = s[[grep("UCL|upper", n)]], p = s$p.value) }
  # Dunnett's probabilities are drawn: with draws of their own, so that the next trial is the same.
  seed <- .Random.seed; set.seed(1)
  tukey <- compared(pairs(e, adjust = "tukey")); dunnett <- compared(contrast(e, "trt.vs.ctrl", adjust = "mvt"))
  assign(".Random.seed", seed, globalenv())
  # Given as the rest of the model stands: blocks sum to 0, seasons too.
  list(treatment = as.character(d$treatment), block = as.character(d$block), season = as.integer(as.character(d$season)),
    exposure = d$exposure, count = d$count, f = c(wald(1), wald(2), wald(4)), clumping = clumping,
    over_seasons = as.vector(L %*% b[j]), se = sqrt(do.call(pmax, lapply(covariances, diag))),
    tukey = tukey, dunnett = dunnett)
}
write_json(list(source = paste("R", getRversion(), "lme4", packageVersion("lme4"), "emmeans", packageVersion("emmeans")),
  season_alone = fitted_(simulated(0, 0)), moving = fitted_(simulated(0.1, 0.6))),
  file.path(out, "seasons.json"), digits = I(17), auto_unbox = TRUE)
