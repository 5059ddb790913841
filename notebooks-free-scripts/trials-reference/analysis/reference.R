# Values of R for the trials beside them: lm, aov, lme4 with pbkrtest through emmeans.
suppressMessages({library(lme4); library(pbkrtest); library(emmeans); library(jsonlite)})
folder <- commandArgs(TRUE)[1]
emm_options(pbkrtest.limit = 5000)
options(contrasts = c("contr.sum", "contr.poly"))
read <- function(name) read.csv(file.path(folder, paste0(name, ".csv")), comment.char = "#")
fac <- function(d, ...) { for (v in c(...)) d[[v]] <- factor(d[[v]]); d }
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e5))
# Tests of terms and all pairs of means, by whichever degrees of freedom the fit has.
describe <- function(fit, terms, at = NULL) {
  kr <- inherits(fit, "merMod")
  tests <- if (kr) {
    data <- model.frame(fit)
    labels <- attr(terms(fit), "term.labels")
    X <- model.matrix(fit); assign <- attr(X, "assign")
    lapply(terms, function(t) {
      key <- function(s) paste(sort(strsplit(s, ":")[[1]]), collapse = ":")
      at <- which(assign == which(sapply(labels, key) == key(t)))
      L <- diag(ncol(X))[at, , drop = FALSE]
      k <- KRmodcomp(fit, L)$test["Ftest", ]
      list(term = t, df = k$ndf, df_denominator = k$ddf, f = k$stat, p = k$p.value)
    })
  } else {
    j <- car::Anova(fit, type = 3)
    lapply(setdiff(rownames(j), c("(Intercept)", "Residuals")), function(i) list(term = i,
      df = j[i, "Df"], df_denominator = df.residual(fit), ss = j[i, "Sum Sq"], f = j[i, "F value"],
      p = j[i, "Pr(>F)"]))
  }
  pairs <- do.call(c, lapply(terms, function(t) {
    e <- emmeans(fit, strsplit(t, ":")[[1]], lmer.df = "kenward-roger")
    grid <- as.data.frame(e)
    names <- apply(grid[strsplit(t, ":")[[1]]], 1, function(r) paste(trimws(r), collapse = " / "))
    means <- list(term = t, name = unname(names), mean = grid$emmean, se = grid$SE)
    p <- as.data.frame(pairs(e, adjust = "none"))
    ij <- combn(length(names), 2)
    list(list(means = means, first = unname(names[ij[1, ]]), second = unname(names[ij[2, ]]),
      difference = p$estimate, se = p$SE, df = p$df))
  }))
  out <- list(tests = tests, comparisons = pairs)
  if (kr) {
    v <- as.data.frame(VarCorr(fit))
    out$components <- setNames(as.list(v$vcov), v$grp)
  } else out$residual_ms <- sigma(fit)^2
  out
}
strata <- function(fit) {
  s <- summary(fit)
  do.call(c, lapply(names(s), function(n) {
    t <- s[[n]][[1]]
    lapply(seq_len(nrow(t)), function(i) list(stratum = n, source = trimws(rownames(t)[i]),
      df = t$Df[i], ss = t$`Sum Sq`[i], f = t$`F value`[i], p = t$`Pr(>F)`[i]))
  }))
}
lmm <- function(formula, data) lmer(formula, data, control = control)
out <- list()
oats <- fac(read("oats"), "B", "V", "N")
vn <- c("V", "N", "V:N")
out$oats <- describe(lmm(Y ~ B + V * N + (1 | B:V), oats), vn)
out$oats_lost <- describe(lmm(Y ~ B + V * N + (1 | B:V), oats[-c(6, 39, 62), ]), vn)
out$oats_lost_main_plot <- describe(lmm(Y ~ B + V * N + (1 | B:V), oats[-(5:8), ]), vn)
npk <- fac(read("npk"), "block", "N", "P", "K")
out$npk <- list(strata = strata(aov(yield ~ N * P * K + Error(block), npk)))
cake <- fac(read("cake"), "replicate", "recipe", "temp")
out$cake <- list(strata = strata(aov(angle ~ recipe * temp + Error(replicate / recipe), cake)))
out$cake <- c(out$cake, describe(lmm(angle ~ replicate + recipe * temp + (1 | replicate:recipe), cake),
  c("recipe", "temp", "recipe:temp")))
kiwi <- fac(read("kiwishade"), "block", "shade", "plot")
out$kiwishade <- list(strata = strata(aov(yield ~ shade + Error(block / shade), kiwi)))
means <- aggregate(yield ~ block + shade, kiwi, mean)
out$kiwishade_means <- describe(lm(yield ~ block + shade, means), "shade")
out$kiwishade_lost <- describe(lmm(yield ~ block + shade + (1 | plot), kiwi[-c(3, 17, 18, 40), ]), "shade")
latin <- fac(read("fungicide_latin_square"), "row", "col", "trt")
out$latin <- describe(lm(yield ~ row + col + trt, latin), "trt")
a <- anova(lm(yield ~ row + col + trt, latin))
out$latin$anova <- list(source = rownames(a), ss = a$`Sum Sq`, df = a$Df)
out$latin_lost <- describe(lm(yield ~ row + col + trt, latin[-c(4, 19), ]), "trt")
wheat <- fac(read("wheat_splitsplit"), "block", "gen", "trt", "inoc")
out$splitsplit <- list(strata = strata(aov(yield ~ gen * trt * inoc + Error(block / gen / trt), wheat)))
ss <- c("gen", "trt", "inoc", "gen:trt", "gen:inoc", "trt:inoc", "gen:trt:inoc")
small <- droplevels(wheat[wheat$trt %in% c(1, 4, 7), ])
out$splitsplit_lost <- describe(lmm(yield ~ block + gen * trt * inoc + (1 | block:gen) +
  (1 | block:gen:trt), small[-c(2, 30), ]), ss)
strip <- fac(read("simulated_strip"), "replicate", "intensity", "date")
id <- c("intensity", "date", "intensity:date")
model <- y ~ replicate + intensity * date + (1 | replicate:intensity) + (1 | replicate:date)
out$strip <- describe(lmm(model, strip), id)
out$strip_lost <- describe(lmm(model, strip[-c(7, 33), ]), id)
alpha <- fac(read("simulated_alpha"), "replicate", "block", "treatment")
out$alpha <- describe(lmm(y ~ replicate + treatment + (1 | replicate:block), alpha), "treatment")
seasons <- fac(read("simulated_seasons"), "replicate", "treatment", "season")
ts <- c("treatment", "season", "treatment:season")
model <- y ~ replicate + treatment * season + (1 | replicate:treatment) + (1 | replicate:season)
out$seasons <- describe(lmm(model, seasons), ts)
out$seasons_lost <- describe(lmm(model, seasons[-c(11, 47, 52), ]), ts)
pigs <- fac(read("pig_weight_gain"), "pen", "treatment", "sex")
fit <- lm(g ~ pen + treatment * sex + w0, pigs)
out$pigs <- describe(fit, c("treatment", "sex", "treatment:sex"))
cf <- coef(summary(fit))["w0", ]
out$pigs$slope <- list(estimate = cf[[1]], se = cf[[2]], p = cf[[4]])
equal <- anova(fit, lm(g ~ pen + treatment * sex + w0 + w0:(treatment * sex), pigs))
out$pigs$equal_slopes <- list(f = equal$F[2], df = equal$Df[2], df_denominator = equal$Res.Df[2], p = equal$`Pr(>F)`[2])
orange <- fac(read("orange_rootstocks"), "bloco", "trat")
out$orange <- describe(lm(resp ~ bloco + trat, orange), "trat")
aug <- fac(read("simulated_augmented"), "block", "entry")
out$augmented <- describe(lm(y ~ block + entry, aug), "entry")
ctl <- fac(read("simulated_control"), "replicate", "intensity", "dressing")
ctl$treatment <- factor(ifelse(ctl$intensity == "none", "none", paste(ctl$intensity, ctl$dressing, sep = " / ")))
fit <- lm(y ~ replicate + treatment, ctl)
out$control <- describe(fit, "treatment")
ctl$rest <- factor(ctl$intensity != "none")
nested <- anova(lm(y ~ replicate + rest + rest:treatment, ctl[, c("y", "replicate", "rest", "treatment")]))
part <- droplevels(ctl[ctl$intensity != "none", ])
inside <- anova(lm(y ~ replicate + intensity * dressing, part))
out$control$ss <- list(control = anova(lm(y ~ replicate + rest, ctl))["rest", "Sum Sq"],
  intensity = inside["intensity", "Sum Sq"], dressing = inside["dressing", "Sum Sq"],
  both = inside["intensity:dressing", "Sum Sq"], error = anova(fit)["Residuals", "Sum Sq"])
cat(toJSON(out, auto_unbox = TRUE, digits = 15, na = "null", pretty = TRUE))
