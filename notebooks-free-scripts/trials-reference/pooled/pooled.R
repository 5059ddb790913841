# Combined analyses of the corn trial by aov, lme4 with pbkrtest and emmeans; stability by lm.
# usage: Rscript pooled.R OUT_FOLDER (after extract.py)
suppressPackageStartupMessages({ library(jsonlite); library(lme4); library(pbkrtest); library(emmeans) })
out <- commandArgs(trailingOnly = TRUE)[1]
d <- read.csv(file.path(out, "antigua.csv"), stringsAsFactors = TRUE)
d$trt <- factor(d$trt)
table_of <- function(f) { a <- anova(f); list(source = rownames(a), df = a$Df, ss = a[["Sum Sq"]]) }
exact <- table_of(lm(harvwt ~ site + site:block + trt + site:trt, d))
# The eight sites taken as four places in two years, for the arithmetic alone.
d$place <- factor((as.integer(d$site) - 1) %% 4); d$year <- factor((as.integer(d$site) - 1) %/% 4)
crossed <- table_of(lm(harvwt ~ place * year + site:block + trt + place:trt + year:trt + place:year:trt, d))
ms <- lapply(split(d, d$site), function(x) { a <- anova(lm(harvwt ~ block + trt, x)); c(a["Residuals", "Mean Sq"], a["Residuals", "Df"]) })
ms <- do.call(rbind, ms)
# Bartlett from mean squares (the formula of bartlett.test with given variances).
b <- (sum(ms[, 2]) * log(sum(ms[, 2] * ms[, 1]) / sum(ms[, 2])) - sum(ms[, 2] * log(ms[, 1]))) /
  (1 + (sum(1 / ms[, 2]) - 1 / sum(ms[, 2])) / (3 * (nrow(ms) - 1)))
means <- with(d, tapply(harvwt, list(trt, site), mean))
index <- colMeans(means) - mean(means)
slopes <- apply(means, 1, function(y) { s <- summary(lm(y ~ index)); c(coef(s)[2, 1:2], s$sigma^2) })
t <- nrow(means); e <- ncol(means)
w <- rowSums((means - rowMeans(means) - rep(colMeans(means), each = t) + mean(means))^2)
shukla <- (t * (t - 1) * w - sum(w)) / ((e - 1) * (t - 1) * (t - 2))
lost <- d[-c(3, 17, 18, 40, 55, 71, 96), ]
f <- lmer(harvwt ~ trt + (1 | site) + (1 | site:trt) + (1 | site:block), lost)
kr <- KRmodcomp(f, lmer(harvwt ~ 1 + (1 | site) + (1 | site:trt) + (1 | site:block), lost))$stats
p <- as.data.frame(pairs(emmeans(f, "trt", lmer.df = "kenward-roger"), adjust = "none"))
fixed <- lmer(harvwt ~ trt * site + (1 | site:block), lost)
pf <- as.data.frame(pairs(emmeans(fixed, "trt", lmer.df = "kenward-roger"), adjust = "none"))
fi <- KRmodcomp(fixed, lmer(harvwt ~ trt + site + (1 | site:block), lost))$stats
weight <- min(ms[, 1]) / ms[as.character(d$site), 1]
fw <- lmer(harvwt ~ trt + (1 | site) + (1 | site:trt) + (1 | site:block), d, weights = weight)
# Oats (Yates 1935; data Oats of nlme), its three varieties taken as three places, for the arithmetic
# alone: components of nitrogen over all of them, the quadratic of the means and the set of its maximum.
o <- read.csv(file.path(out, "../analysis/oats.csv"), stringsAsFactors = TRUE)
x <- sort(unique(o$N)); o$N <- factor(o$N)
P <- list(x - mean(x)); for (k in 2:3) P[[k]] <- residuals(lm(x^k ~ poly(x, k - 1)))
coefs <- lapply(P, function(p) p / sum(p^2)); names(coefs) <- c("linear", "quadratic", "cubic")
whole <- anova(lm(Y ~ V + V:B + N + V:N, o)); square <- function(row) whole[row, "Mean Sq"]
own <- tapply(o$Y, o$N, mean); value <- sapply(coefs, function(c) sum(c * own))
judged <- function(ms, df, n = 18) { # Fieller: slope at z is a combination of the first two coefficients
  se <- sapply(coefs, function(c) sqrt(ms / n * sum(c^2)))
  s <- sum(x^2 * P[[1]]) / sum(P[[1]]^2)
  outside <- function(z) { w <- coefs[[1]] + (2 * z - s) * coefs[[2]]; abs(sum(w * own)) - qt(0.975, df) * sqrt(ms / n * sum(w^2)) }
  grid <- seq(min(x), max(x), length.out = 2001); sign <- sapply(grid, outside) > 0
  at <- which(diff(sign) != 0); ends <- sapply(at, function(i) uniroot(outside, grid[i + 0:1], tol = 1e-12)$root)
  list(estimate = unname(value), se = unname(se), df = df, f = unname((value / se)^2), ends = I(as.numeric(ends)), outside_first = sign[1])
}
quadratic <- unname(coef(lm(own ~ x + I(x^2))))
kept <- o[-c(4, 19, 33, 50, 64), ]
m <- lmer(Y ~ N * V + (1 | V:B), kept)
e <- as.data.frame(contrast(suppressMessages(emmeans(m, "N", lmer.df = "kenward-roger")), coefs))
amounts <- list(quadratic = quadratic, fixed = judged(square("Residuals"), whole["Residuals", "Df"]),
  random = judged(square("V:N"), whole["V:N", "Df"]), lost_rows = c(4, 19, 33, 50, 64) - 1,
  lost = list(estimate = e$estimate, se = e$SE, df = e$df))
# Simulated with a known truth: five sites of four blocks, four amounts by two dressings, each term varying between the
# sites, two plots lost. Each term is judged by its own interaction with the sites.
set.seed(20261130)
g <- expand.grid(amount = c(0, 15, 30, 45), dressing = c("bare", "paste"), block = 1:4, site = LETTERS[1:5])
u <- function(of, sd) { k <- unique(of); v <- setNames(rnorm(length(k), 0, sd), k); v[of] }
g$yield <- round(8 + 0.06 * g$amount - 0.0012 * g$amount^2 + 0.3 * (g$dressing == "paste") + u(as.character(g$site), 1) +
  u(paste(g$site, g$amount), 0.5) + u(paste(g$site, g$dressing), 0.5) + u(paste(g$site, g$amount, g$dressing), 0.4) +
  u(paste(g$site, g$block), 0.4) + rnorm(nrow(g), 0, 0.8), 3)
g <- g[-c(21, 98), ]
write.csv(g, file.path(out, "factorial.csv"), row.names = FALSE, quote = FALSE)
g$a <- factor(g$amount); g$d <- factor(g$dressing)
rand <- "+ (1 | site) + (1 | site:a) + (1 | site:d) + (1 | site:a:d) + (1 | site:block)"
contr <- list(a = "contr.sum", d = "contr.sum")
mm <- function(fixed) lmer(as.formula(paste("yield ~", fixed, rand)), g, contrasts = contr)
full <- mm("a * d"); X <- model.matrix(full); at <- attr(X, "assign")
term <- function(k) { L <- diag(ncol(X))[at == k, , drop = FALSE]; t <- KRmodcomp(full, L)$stats; c(t$Fstat, t$ndf, t$ddf) }
factorial <- list(a = term(1), d = term(2), ad = term(3), variance = as.data.frame(VarCorr(full))$vcov[
  as.data.frame(VarCorr(full))$grp %in% c("site:a", "site:d", "site:a:d")])
write_json(list(factorial = factorial, amounts = amounts, source = paste("R", getRversion(), "lme4", packageVersion("lme4"), "pbkrtest",
  packageVersion("pbkrtest"), "emmeans", packageVersion("emmeans")),
  exact = exact, crossed = crossed, error_ms = ms[, 1], error_df = ms[, 2], bartlett = b, bartlett_p = pchisq(b, nrow(ms) - 1, lower.tail = FALSE),
  means = unname(rowMeans(means)), slope = unname(slopes[1, ]), slope_se = unname(slopes[2, ]), deviation = unname(slopes[3, ]),
  ecovalence = unname(w), shukla = unname(shukla), lost_rows = c(3, 17, 18, 40, 55, 71, 96) - 1,
  lost = list(f = kr$Fstat, df = kr$ddf, p = kr$p.value, estimate = p$estimate, se = p$SE, pair_df = p$df,
    interaction = as.data.frame(VarCorr(f))$vcov[as.data.frame(VarCorr(f))$grp == "site:trt"]),
  fixed = list(estimate = pf$estimate, se = pf$SE, df = pf$df, interaction_f = fi$Fstat, interaction_df = fi$ddf),
  weighted = list(differences = unname(fixef(fw)[-1]))),
  file.path(out, "pooled.json"), digits = I(17), auto_unbox = TRUE)
