# Counts, shares, percentages and measurements by glm, MASS::boxcox and lm, means by emmeans. What plots vary beyond
# chance is such that Pearson's chi-squared is its degrees of freedom: Breslow 1984 for counts, Williams 1982 (method II)
# for shares. usage: Rscript traits.R OUT_FOLDER (after extract.py)
suppressPackageStartupMessages({ library(jsonlite); library(emmeans); library(MASS) })
out <- commandArgs(trailingOnly = TRUE)[1]
means <- function(fit) {
  s <- as.data.frame(summary(emmeans(fit, "trt", df = Inf)))
  list(names = as.character(s$trt), estimate = s$emmean, se = s$SE)
}
# Variance m + m^2 clumping. The dispersion of the summary is told to be 1.
clumped_counts <- function(formula, data) {
  fit <- function(clumping) glm(formula, negative.binomial(1 / clumping), data, control = glm.control(1e-14, 200))
  over <- function(log) { g <- fit(exp(log)); sum(residuals(g, "pearson")^2) / df.residual(g) - 1 }
  clumping <- exp(uniroot(over, log(c(1e-6, 10)), tol = 1e-13)$root)
  g <- fit(clumping)
  c(means_by_chance(g), list(clumping = clumping))
}
# Variance n p (1 - p) (1 + (n - 1) clumping), by weights.
clumped_shares <- function(formula, data, n) {
  fit <- function(clumping) { data$w <- 1 / (1 + (n - 1) * clumping)
    suppressWarnings(glm(formula, binomial, data, weights = w, control = glm.control(1e-14, 200))) }
  over <- function(log) { g <- fit(exp(log)); sum(residuals(g, "pearson")^2) / df.residual(g) - 1 }
  clumping <- exp(uniroot(over, log(c(1e-6, 1)), tol = 1e-13)$root)
  c(means_by_chance(fit(clumping)), list(clumping = clumping))
}
# Means over equally weighted blocks with the covariance at dispersion 1, and the F of all treatments.
means_by_chance <- function(g) {
  v <- summary(g, dispersion = 1)$cov.scaled
  s <- as.data.frame(summary(emmeans(g, "trt", vcov. = v, df = Inf)))
  at <- which(attr(model.matrix(g), "assign") == 1)
  list(names = as.character(s$trt), estimate = s$emmean, se = s$SE,
    f = sum(coef(g)[at] * solve(v[at, at], coef(g)[at])) / length(at), df = df.residual(g))
}
pearson <- function(g) list(dispersion = sum(residuals(g, "pearson")^2) / df.residual(g),
  p = pchisq(sum(residuals(g, "pearson")^2), df.residual(g), lower.tail = FALSE))
sprays <- transform(InsectSprays, trt = spray)
count <- c(list(values = sprays$count, treatment = as.character(sprays$trt)),
  pearson(glm(count ~ trt, poisson, sprays)), clumped_counts(count ~ trt, sprays))
carrot <- read.csv(file.path(out, "carrot_insecticide.csv"), stringsAsFactors = TRUE)
# T11, the control, stands twice in every block.
carrot <- droplevels(subset(carrot, treatment != "T11"))
carrot$trt <- carrot$treatment
share <- c(pearson(glm(cbind(damaged, total - damaged) ~ trt + rep, binomial, carrot)),
  clumped_shares(cbind(damaged, total - damaged) ~ trt + rep, carrot, carrot$total))
canker <- read.csv(file.path(out, "apple_canker.csv"), stringsAsFactors = TRUE)
# Block B4 has no canker at all and tells nothing of the treatments.
canker <- droplevels(subset(canker, inoculum == 200 & block != "B4"))
canker$trt <- canker$gen
binomial_ <- glm(cbind(y, n - y) ~ trt + block, binomial, canker)
plain <- c(list(inoculum = 200), pearson(binomial_), means(binomial_))
scab <- read.csv(file.path(out, "potato_scab_sulfur.csv"), stringsAsFactors = TRUE)
percent <- means(lm(logit ~ trt, transform(scab, logit = log(inf / (100 - inf)))))
orchard <- transform(OrchardSprays, trt = treatment)
b <- boxcox(lm(decrease ~ trt, orchard), lambda = seq(-2, 2, 0.05), plotit = FALSE)
# boxcox has n where the likelihood of what the columns leave has the residual degrees of freedom.
by_df <- b$y * df.residual(lm(decrease ~ trt, orchard)) / nrow(orchard)
inside <- range(b$x[by_df >= max(by_df) - qchisq(0.95, 1) / 2])
measured <- c(list(values = orchard$decrease, treatment = as.character(orchard$trt), best = b$x[which.max(b$y)],
  low = inside[1], high = inside[2]), means(lm(log_decrease ~ trt, transform(orchard, log_decrease = log(decrease)))))
# Plots of four replicates over two seasons with errors in proportion: plots and replicates by season take most df.
set.seed(1)
plots <- expand.grid(replicate = factor(1:4), trt = factor(1:7), season = factor(2025:2026))
plots$plot <- factor(paste(plots$replicate, plots$trt))
plots$kg <- round(exp(c(2.1, 2.3, 2.2, 2.5, 2.4, 2.6, 2.2)[plots$trt] + rnorm(4, 0, 0.1)[plots$replicate] +
  rnorm(28, 0, 0.3)[plots$plot] + rnorm(56, 0, 0.4) + 0.1 * (plots$season == 2026)), 3)
own <- lm(kg ~ plot + season * replicate + season * trt, plots)
b <- boxcox(own, lambda = seq(-2, 2, 0.05), plotit = FALSE)
by_df <- b$y * df.residual(own) / nrow(plots)
inside <- range(b$x[by_df >= max(by_df) - qchisq(0.95, 1) / 2])
seasons <- list(values = plots$kg, treatment = as.character(plots$trt), replicate = as.character(plots$replicate),
  season = as.integer(as.character(plots$season)), best = b$x[which.max(by_df)], low = inside[1], high = inside[2])
write_json(list(source = paste("R", getRversion(), "MASS", packageVersion("MASS"), "emmeans", packageVersion("emmeans")), count = count, share = share,
  plain = plain, percent = percent, measured = measured,
  seasons = seasons), file.path(out, "traits.json"), digits = I(17), auto_unbox = TRUE)
