# Trials over seasons on the same plots whose season lies between two sets of blocks, or beside a control:
# simulated (seed and truth here) and analysed by aov, lme4 with pbkrtest and emmeans. usage: Rscript crossed_seasons.R FOLDER
suppressPackageStartupMessages({ library(lme4); library(pbkrtest); library(emmeans); library(jsonlite) })
folder <- commandArgs(TRUE)[1]
options(contrasts = c("contr.sum", "contr.poly"))
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e5))
write <- function(d, name) write.csv(d, file.path(folder, name), row.names = FALSE, quote = FALSE)
fac <- function(d, ...) { for (v in c(...)) d[[v]] <- factor(d[[v]]); d }
lmm <- function(formula, data) lmer(formula, data, control = control)
# Tests of terms by Kenward and Roger, and all pairs of means of `terms`.
describe <- function(fit, terms) {
  assign <- attr(model.matrix(fit), "assign"); labels <- attr(terms(fit), "term.labels")
  tests <- lapply(terms, function(t) {
    k <- KRmodcomp(fit, diag(length(assign))[assign == which(labels == t), , drop = FALSE])$test["Ftest", ]
    list(term = t, df = k$ndf, df_denominator = k$ddf, f = k$stat, p = k$p.value)
  })
  comparisons <- lapply(terms, function(t) {
    e <- emmeans(fit, strsplit(t, ":")[[1]], lmer.df = "kenward-roger")
    grid <- as.data.frame(e); name <- apply(grid[strsplit(t, ":")[[1]]], 1, function(r) paste(trimws(r), collapse = " / "))
    p <- as.data.frame(pairs(e, adjust = "none")); ij <- combn(length(name), 2)
    list(means = list(term = t, name = unname(name), mean = grid$emmean, se = grid$SE), first = unname(name[ij[1, ]]),
      second = unname(name[ij[2, ]]), difference = p$estimate, se = p$SE, df = p$df)
  })
  v <- as.data.frame(VarCorr(fit))
  list(tests = tests, comparisons = comparisons, components = setNames(as.list(v$vcov), v$grp))
}
strata <- function(fit) {
  s <- summary(fit)
  do.call(c, lapply(names(s), function(n) {
    t <- s[[n]][[1]]
    lapply(seq_len(nrow(t)), function(i) list(stratum = n, source = trimws(rownames(t)[i]),
      df = t$Df[i], ss = t$`Sum Sq`[i], ms = t$`Mean Sq`[i], f = t$`F value`[i], p = t$`Pr(>F)`[i]))
  }))
}
out <- list(source = paste("R", getRversion(), "lme4", packageVersion("lme4"), "pbkrtest", packageVersion("pbkrtest"),
  "emmeans", packageVersion("emmeans")))
# Latin squares of four: sd of rows and of columns in a season, of plots and of plots in a season. `squares` of them
# with the same rows and columns of ids of their own.
square <- function(seed, seasons, rows, columns, plots, rest) {
  set.seed(seed)
  d <- expand.grid(row = 1:4, column = 1:4, season = seasons)
  d$treatment <- c("0", "30", "60", "90")[(d$row + d$column) %% 4 + 1]
  at <- match(d$season, seasons)
  d$y <- round(7 + 0.01 * as.numeric(d$treatment) + c(0, 1.5, 0.6)[at] + rnorm(4, 0, 0.5)[d$row] + rnorm(4, 0, 0.5)[d$column] +
    matrix(rnorm(12, 0, rows), 4)[cbind(d$row, at)] + matrix(rnorm(12, 0, columns), 4)[cbind(d$column, at)] +
    rnorm(16, 0, plots)[d$row + 4 * (d$column - 1)] + rnorm(nrow(d), 0, rest), 3)
  d
}
latin <- function(d, name) {
  write(d, paste0(name, ".csv"))
  d$plot <- d$row + 10 * d$column
  d <- fac(d, "row", "column", "season", "treatment", "plot")
  fit <- lmm(y ~ row + column + treatment * season + (1 | plot) + (1 | row:season) + (1 | column:season), d)
  f <- describe(fit, c("treatment", "season", "treatment:season"))
  f$strata <- strata(aov(y ~ treatment * season + Error(row + column + plot + row:season + column:season), d))
  # The synthesis by hand, from the fixed effects' anova: R folds season into the first stratum that holds it.
  m <- anova(lm(y ~ row + column + season + treatment + plot + row:season + column:season + treatment:season, d))
  ms <- c(m["row:season", 3], m["column:season", 3], -m["Residuals", 3]); df <- c(m["row:season", 1], m["column:season", 1], m["Residuals", 1])
  f$season <- list(ms = m["season", 3], error = sum(ms), df = sum(ms)^2 / sum(ms^2 / df), f = m["season", 3] / sum(ms),
    sed = sqrt(2 * sum(ms) / 16), rows = m["row:season", 3], columns = m["column:season", 3], rest = m["Residuals", 3])
  f
}
out$latin <- latin(square(11, 2027:2028, 0.5, 0.9, 0.4, 0.3), "simulated_latin_seasons")
out$latin_three <- latin(square(5, 2027:2029, 0.7, 0.6, 0.4, 0.3), "simulated_latin_three_seasons")
# Rows and columns that differ no more in a season than plots do: the synthesis is below the plots' mean square.
out$latin_plain <- latin(square(6, 2027:2028, 0, 0, 0.4, 0.6), "simulated_latin_plain_seasons")
# Three depths by two dates and a control in three blocks over two seasons, three trees a plot, which differ
# lastingly (sd 0.8) and in a season (0.5).
set.seed(29)
cells <- rbind(expand.grid(depth = c("15", "30", "45"), date = c("0", "60"), stringsAsFactors = FALSE), c("none", ""))
d <- expand.grid(tree = 1:3, cell = 1:7, replicate = 1:3, season = 2027:2028)
plot <- d$cell + 7 * (d$replicate - 1); d <- cbind(d, cells[d$cell, ])
d$y <- round(6 + 0.02 * ifelse(d$depth == "none", 0, suppressWarnings(as.numeric(d$depth))) + 1.2 * (d$season == 2028) +
  0.6 * (d$depth == "none") * (d$season == 2028) + rnorm(3, 0, 0.5)[d$replicate] +
  rnorm(6, 0, 0.3)[d$replicate + 3 * (d$season == 2028)] + rnorm(21, 0, 0.6)[plot] +
  rnorm(42, 0, 0.4)[plot + 21 * (d$season == 2028)] + rnorm(63, 0, 0.8)[3 * plot + d$tree - 3] + rnorm(nrow(d), 0, 0.5), 3)
write(d[c("replicate", "depth", "date", "tree", "season", "y")], "simulated_control_seasons.csv")
d$plot <- plot; d$treatment <- ifelse(d$depth == "none", "none", paste(d$depth, d$date, sep = "/"))
d$rest <- ifelse(d$depth == "none", "none", "rest")
d <- fac(d, "replicate", "depth", "date", "season", "plot", "treatment", "rest")
m <- aggregate(y ~ replicate + depth + date + season + plot + treatment + rest, d, mean)
model <- y ~ replicate + treatment * season + (1 | plot) + (1 | replicate:season)
out$control <- describe(lmm(model, m), c("season"))
out$control$strata <- strata(aov(y ~ (rest + depth + date + depth:date) * season + Error(replicate / season + plot / season), m))
trees <- as.data.frame(VarCorr(lmm(y ~ replicate + treatment * season + (1 | plot) + (1 | replicate:season) + (1 | plot:season) +
  (1 | plot:tree), d)))
v <- setNames(trees$vcov, trees$grp)
out$control$trees <- list(between_plots = v[["plot"]] + v[["plot:season"]], of_trees = v[["plot:tree"]] + v[["Residual"]])
# The same with one plot lost in one season: no longer balanced.
out$control_lost <- describe(lmm(model, m[-17, ]), c("season"))
out$control_lost$lost <- with(m[17, ], list(replicate = replicate, treatment = treatment, season = season))
write_json(out, file.path(folder, "crossed_seasons.json"), digits = I(15), auto_unbox = TRUE, pretty = TRUE)
