# Counts of the same plots in two seasons by lme4::glmer: Wald's tests of treatment, season and their
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
  g <- glmer(count ~ treatment * season + block + offset(log(exposure)) + (1 | plot) + (1 | year), d, poisson,
    control = glmerControl("bobyqa", optCtrl = list(maxfun = 1e5), tolPwrss = 1e-10))
  b <- fixef(g); V <- as.matrix(vcov(g)); at <- attr(model.matrix(g), "assign")
  wald <- function(term) { j <- which(at == term); sum(b[j] * solve(V[j, j], b[j])) / length(j) }
  m <- coef(summary(g))
  # Treatments over seasons: intercept and the treatment's own effect.
  L <- cbind(1, contr.sum(4)); j <- c(1, which(at == 1))
  e <- suppressMessages(emmeans(g, "treatment", df = 12)) # It notes the interaction with season.
  compared <- function(x) { s <- summary(x, infer = TRUE, level = 0.95); n <- names(s)
    list(pair = as.character(s$contrast), estimate = s$estimate, se = s$SE, low = s[[grep("LCL|lower", n)]],
      high = s[[grep("UCL|upper", n)]], p = s$p.value) }
  # Dunnett's probabilities are drawn: with draws of their own, so that the next trial is the same.
  seed <- .Random.seed; set.seed(1)
  tukey <- compared(pairs(e, adjust = "tukey")); dunnett <- compared(contrast(e, "trt.vs.ctrl", adjust = "mvt"))
  assign(".Random.seed", seed, globalenv())
  # Given as the rest of the model stands: blocks sum to 0, seasons too.
  list(treatment = as.character(d$treatment), block = as.character(d$block), season = as.integer(as.character(d$season)),
    exposure = d$exposure, count = d$count, f = c(wald(1), wald(2), wald(4)),
    over_seasons = as.vector(L %*% b[j]), se = sqrt(diag(L %*% V[j, j] %*% t(L))),
    tukey = tukey, dunnett = dunnett)
}
write_json(list(source = paste("R", getRversion(), "lme4", packageVersion("lme4"), "emmeans", packageVersion("emmeans")),
  season_alone = fitted_(simulated(0, 0)), moving = fitted_(simulated(0.1, 0.6))),
  file.path(out, "seasons.json"), digits = I(17), auto_unbox = TRUE)
