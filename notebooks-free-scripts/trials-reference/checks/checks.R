# Residual checks of published data by stats, car and spdep.
# usage: Rscript checks.R OUT_FOLDER
suppressPackageStartupMessages({ library(jsonlite); library(car); library(MASS); library(spdep); library(lme4); library(pbkrtest) })
out <- commandArgs(trailingOnly = TRUE)[1]
test <- function(statistic, df, p) list(statistic = as.numeric(statistic), df = I(as.numeric(df)), p = as.numeric(p))
htest <- function(h, df = h$parameter) test(h$statistic, df, h$p.value)
# Groups: equal variances, with unequal sizes too.
groups <- function(name, y, g) {
  g <- factor(g)
  l <- function(center) { a <- leveneTest(y, g, center = center); test(a[1, 2], a[, 1], a[1, 3]) }
  list(case = name, groups = unname(lapply(split(y, g), I)), bartlett = htest(bartlett.test(y, g)),
    median = l(median), mean = l(mean))
}
lost <- PlantGrowth[-c(1, 2, 15), ]
variances <- list(groups("InsectSprays", InsectSprays$count, InsectSprays$spray),
  groups("PlantGrowth, three lost", lost$weight, lost$group),
  groups("warpbreaks by tension", warpbreaks$breaks, warpbreaks$tension))
# Normality.
samples <- list(cars$dist, PlantGrowth$weight, rivers, precip, InsectSprays$count[1:12], women$height,
  cars$dist[1:3], cars$dist[1:4], cars$dist[1:5], cars$speed[c(3, 9, 20, 33, 41, 50)], rivers[1:11],
  c(1, 1, 1, 1, 1, 1, 30), as.numeric(discoveries))
normality <- lapply(samples, function(x) { h <- shapiro.test(x); list(values = I(x), w = as.numeric(h$statistic), p = h$p.value) })
# Linear models with their columns.
model <- function(name, fit, row = NULL, column = NULL) {
  x <- model.matrix(fit); y <- model.response(model.frame(fit))
  squares <- fitted(fit)^2
  a <- anova(fit, update(fit, . ~ . + squares, data = cbind(model.frame(fit), squares)))
  result <- list(case = name, y = I(as.numeric(y)), x = unname(lapply(seq_len(ncol(x)), function(j) I(x[, j]))),
    nonadditivity = if (a$Df[2] == 1 && length(attr(terms(fit), "term.labels")) > 1) test(a$F[2], c(1, a$Res.Df[2]), a[["Pr(>F)"]][2]) else NULL,
    rstandard = I(unname(rstandard(fit))), rstudent = I(unname(rstudent(fit))), cook = I(unname(cooks.distance(fit))),
    hat = I(unname(hatvalues(fit))))
  o <- outlierTest(fit, cutoff = Inf, n.max = 1)
  result$outlier <- list(row = as.integer(match(names(o$rstudent)[1], rownames(model.frame(fit)))) - 1L,
    p = as.numeric(min(1, o$p[1] * length(y))))
  if (!is.null(row)) {
    d <- as.matrix(dist(cbind(row, column), method = "manhattan"))
    nb <- apply(d, 1, function(v) as.integer(which(abs(v - 1) < 1e-9)), simplify = FALSE)
    class(nb) <- "nb"
    attr(nb, "region.id") <- as.character(seq_along(nb))
    m <- lm.morantest(fit, nb2listw(nb, style = "B", zero.policy = TRUE), zero.policy = TRUE)
    t <- anova(fit, update(fit, . ~ . + row + column, data = cbind(model.frame(fit), row, column)))
    result <- c(result, list(row = I(row), column = I(column), moran = test(m$statistic, numeric(0), m$p.value),
      trend = test(t$F[2], c(t$Df[2], t$Res.Df[2]), t[["Pr(>F)"]][2])))
  }
  result
}
o <- as.data.frame(oats)
s <- transform(OrchardSprays, y = log(decrease), r = factor(rowpos), c = factor(colpos))
models <- list(
  model("npk: blocks and treatments", lm(yield ~ block + N + P + K, npk)),
  model("OrchardSprays: rows and columns", lm(decrease ~ treatment, OrchardSprays), OrchardSprays$rowpos, OrchardSprays$colpos),
  model("OrchardSprays: latin square, log", lm(y ~ treatment + r + c, s)),
  model("oats: blocks, varieties, nitrogen", lm(Y ~ B + V + N, o)))
# OrchardSprays with random rows and columns.
f <- lmer(decrease ~ treatment + (1 | r) + (1 | c), s)
plain <- lm(decrease ~ treatment, s)
x <- model.matrix(plain); k <- ncol(x)
# -2 REML log-likelihood of the plain model in lme4's form (no X'X constant).
n <- nrow(x); rss <- sum(resid(plain)^2); v <- rss / (n - k)
reml0 <- (n - k) * (log(2 * pi * v) + 1) + as.numeric(determinant(crossprod(x))$modulus)
b <- c(0, 1, rep(0, k - 2))
vc <- as.data.frame(VarCorr(f))
adjusted <- vcovAdj(f)
spatial <- list(case = "OrchardSprays, random rows and columns", y = I(s$decrease),
  x = unname(lapply(seq_len(k), function(j) I(x[, j]))), row = I(s$rowpos), column = I(s$colpos),
  aic_before = reml0 + 2, aic_after = REMLcrit(f) + 6, row_variance = vc$vcov[vc$grp == "r"],
  column_variance = vc$vcov[vc$grp == "c"], residual_variance = vc$vcov[vc$grp == "Residual"],
  sed_before = sqrt(vcov(plain)[2, 2]), sed_after = sqrt(adjusted[2, 2]),
  estimate = unname(fixef(f)[2]), df = as.numeric(Lb_ddf(b, vcov(f), adjusted)))
write_json(list(source = paste("R", getRversion(), "stats; car", packageVersion("car"), "spdep",
  packageVersion("spdep"), "lme4", packageVersion("lme4"), "pbkrtest", packageVersion("pbkrtest")),
  variances = variances, normality = normality, models = models, spatial = spatial),
  file.path(out, "checks.json"), digits = I(17), auto_unbox = TRUE)
