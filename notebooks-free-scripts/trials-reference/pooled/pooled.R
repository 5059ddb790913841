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
write_json(list(source = paste("R", getRversion(), "lme4", packageVersion("lme4"), "pbkrtest",
  packageVersion("pbkrtest"), "emmeans", packageVersion("emmeans")),
  exact = exact, crossed = crossed, error_ms = ms[, 1], error_df = ms[, 2], bartlett = b, bartlett_p = pchisq(b, nrow(ms) - 1, lower.tail = FALSE),
  means = unname(rowMeans(means)), slope = unname(slopes[1, ]), slope_se = unname(slopes[2, ]), deviation = unname(slopes[3, ]),
  ecovalence = unname(w), shukla = unname(shukla), lost_rows = c(3, 17, 18, 40, 55, 71, 96) - 1,
  lost = list(f = kr$Fstat, df = kr$ddf, p = kr$p.value, estimate = p$estimate, se = p$SE, pair_df = p$df,
    interaction = as.data.frame(VarCorr(f))$vcov[as.data.frame(VarCorr(f))$grp == "site:trt"]),
  fixed = list(estimate = pf$estimate, se = pf$SE, df = pf$df, interaction_f = fi$Fstat, interaction_df = fi$ddf),
  weighted = list(differences = unname(fixef(fw)[-1]))),
  file.path(out, "pooled.json"), digits = I(17), auto_unbox = TRUE)
