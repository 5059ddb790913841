# Comparisons of published data by emmeans and multcomp.
# usage: Rscript compare.R OUT_FOLDER
suppressPackageStartupMessages({ library(jsonlite); library(emmeans); library(multcomp); library(MASS) })
out <- commandArgs(trailingOnly = TRUE)[1]
set.seed(20261125)
pairs_of <- function(e, adjust) {
  p <- as.data.frame(summary(pairs(e), infer = c(TRUE, TRUE), adjust = adjust))
  list(estimate = p$estimate, se = p$SE, df = p$df, p = p$p.value, low = p$lower.CL, high = p$upper.CL)
}
case <- function(name, fit, spec, control) {
  e <- emmeans(fit, spec)
  s <- as.data.frame(e)
  v <- vcov(e)
  labels <- as.character(s[[spec]])
  result <- list(case = name, names = labels, means = s$emmean, covariance = as.numeric(t(as.matrix(v))),
    df = s$df[1])
  for (a in c("none", "tukey", "bonferroni", "holm")) result[[a]] <- pairs_of(e, a)
  # Letters by multcomp's insert and absorb over the same Tukey comparisons.
  k <- do.call(mcp, setNames(list("Tukey"), spec))
  letters <- cld(glht(fit, linfct = k), decreasing = TRUE, level = 0.05)
  result$letters <- unname(trimws(letters$mcletters$Letters)[labels])
  f <- update(fit, data = within(fit$model, assign(spec, relevel(get(spec), ref = control))))
  for (alternative in c("two.sided", "greater", "less")) {
    g <- glht(f, linfct = do.call(mcp, setNames(list("Dunnett"), spec)), alternative = alternative)
    alg <- GenzBretz(maxpts = 1e6, abseps = 1e-6)
    t <- summary(g, test = adjusted("single-step", algorithm = alg))$test
    ci <- confint(g, algorithm = alg)$confint
    result[[alternative]] <- list(names = sub(paste0(" - ", control, "$"), "", names(t$coefficients)),
      estimate = as.numeric(t$coefficients), se = as.numeric(t$sigma), p = as.numeric(t$pvalues),
      low = ci[, 2], high = ci[, 3])
  }
  result$control <- control
  result
}
warp <- within(warpbreaks, cell <- factor(paste0(wool, tension)))
damaged <- warp[-c(1, 2, 3, 10, 20, 21, 40), ]
o <- within(as.data.frame(oats), { N <- factor(N); })
lost <- o[-c(2, 3, 17, 18, 19, 33, 47, 48, 60, 71), ]
cases <- list(
  case("warpbreaks cells", lm(breaks ~ cell, warp), "cell", "AL"),
  case("warpbreaks cells, seven rows lost", lm(breaks ~ cell, damaged), "cell", "BL"),
  case("recovery of multcomp (blankets)", lm(minutes ~ blanket, recovery), "blanket", "b0"),
  case("InsectSprays, square root", lm(root ~ spray, within(InsectSprays, root <- sqrt(count))), "spray", "C"),
  # Incomplete blocks: means are correlated, so Dunnett's product form is an approximation.
  case("oats by blocks and nitrogen, ten plots lost", lm(Y ~ B + N, lost), "N", "0.0cwt"))
write_json(list(source = paste("R", getRversion(), "emmeans", packageVersion("emmeans"), "multcomp",
  packageVersion("multcomp")), cases = cases), file.path(out, "compare.json"), digits = I(17),
  auto_unbox = TRUE)
