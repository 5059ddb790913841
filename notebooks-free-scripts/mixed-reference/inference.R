# More published data, and reference values for inference: lme4, lmerTest,
# pbkrtest, glmmTMB, emmeans; data of lme4, nlme and MASS.
#
# usage: Rscript inference.R OUT_FOLDER
#
# Writes CASE.csv as reference.R does, grids of estimable means (CASE-grid.csv)
# and inference.csv with case,quantity,term,value.

suppressPackageStartupMessages({
  library(lme4)
  library(lmerTest)
  library(pbkrtest)
  library(MASS)
  library(emmeans)
})
out <- commandArgs(trailingOnly = TRUE)[1]
here <- dirname(sub("--file=", "", grep("--file=", commandArgs(), value = TRUE)))
source(file.path(here, "describe.R"))
data(list = c("Machines", "Orthodont", "Rail", "Pixel", "Oxide", "ergoStool", "BodyWeight", "Assay"),
  package = "nlme")
frame <- function(x) {
  x <- as.data.frame(x)
  # Ordered factors would get polynomial contrasts.
  for (n in names(x)) if (is.ordered(x[[n]])) x[[n]] <- factor(x[[n]], ordered = FALSE)
  x
}

# Criterion and residual spread by another engine: automatic differentiation.
by_tmb <- function(case, formula, data, reml = TRUE) {
  m <- glmmTMB::glmmTMB(formula, data, REML = reml)
  put(case, "tmb_criterion", "all", -2 * as.numeric(logLik(m)))
  put(case, "tmb_sigma", "all", sigma(m))
}

## More published data
pastes <- Pastes
describe("pastes", strength ~ 1 + (1 | sample) + (1 | batch), pastes)
by_tmb("pastes", strength ~ 1 + (1 | sample) + (1 | batch), pastes)
machines <- frame(Machines)
machines$cell <- interaction(machines$Worker, machines$Machine, drop = TRUE)
machines$MB <- as.numeric(machines$Machine == "B")
machines$MC <- as.numeric(machines$Machine == "C")
nested <- score ~ Machine + (1 | cell) + (1 | Worker)
describe("machines", nested, machines)
by_tmb("machines", nested, machines)
describe("machines-three-effects", score ~ Machine + (MB + MC | Worker), machines)
by_tmb("machines-three-effects", score ~ Machine + (MB + MC | Worker), machines)
# Rows left out as in Pinheiro and Bates (2000), section 1.3.
machines_unbalanced <- droplevels(machines[-c(2, 3, 6, 8, 9, 12, 19, 20, 27, 33), ])
describe("machines-unbalanced", nested, machines_unbalanced)
by_tmb("machines-unbalanced", nested, machines_unbalanced)
orthodont <- frame(Orthodont)
orthodont$age11 <- orthodont$age - 11
describe("orthodont", distance ~ Sex * age11 + (age11 | Subject), orthodont)
by_tmb("orthodont", distance ~ Sex * age11 + (age11 | Subject), orthodont)
rail <- frame(Rail)
describe("rail", travel ~ 1 + (1 | Rail), rail)
by_tmb("rail", travel ~ 1 + (1 | Rail), rail)
pixel <- frame(Pixel)
pixel$side <- interaction(pixel$Dog, pixel$Side, drop = TRUE)
describe("pixel", pixel ~ day + I(day^2) + (1 | side) + (day | Dog), pixel)
by_tmb("pixel", pixel ~ day + I(day^2) + (1 | side) + (day | Dog), pixel)
oxide <- frame(Oxide)
oxide$wafer <- interaction(oxide$Lot, oxide$Wafer, drop = TRUE)
describe("oxide", Thickness ~ Source + (1 | wafer) + (1 | Lot), oxide)
by_tmb("oxide", Thickness ~ Source + (1 | wafer) + (1 | Lot), oxide)
stool <- frame(ergoStool)
describe("ergostool", effort ~ Type + (1 | Subject), stool)
by_tmb("ergostool", effort ~ Type + (1 | Subject), stool)
rats <- frame(BodyWeight)
describe("bodyweight", weight ~ Time * Diet + (Time | Rat), rats)
by_tmb("bodyweight", weight ~ Time * Diet + (Time | Rat), rats)
assay <- frame(Assay)
assay$row <- interaction(assay$Block, assay$sample, drop = TRUE)
assay$column <- interaction(assay$Block, assay$dilut, drop = TRUE)
crossed <- logDens ~ sample + dilut + (1 | row) + (1 | column) + (1 | Block)
describe("assay", crossed, assay)
petrol <- MASS::petrol
describe("petrol", Y ~ SG + VP + V10 + EP + (1 | No), petrol)
by_tmb("petrol", Y ~ SG + VP + V10 + EP + (1 | No), petrol)
schools <- MASS::nlschools
describe("nlschools", lang ~ IQ + SES + COMB + (1 | class), schools, kr = FALSE)
by_tmb("nlschools", lang ~ IQ + SES + COMB + (1 | class), schools)
# The two departments with the fewest ratings: students crossed with lecturers.
counts <- sort(table(InstEval$dept))
ratings <- droplevels(InstEval[InstEval$dept %in% names(counts)[1:2], ])
describe("insteval-two-departments", y ~ service + (1 | s) + (1 | d), ratings, kr = FALSE)
by_tmb("insteval-two-departments", y ~ service + (1 | s) + (1 | d), ratings)

## Estimable means: grids, means and pairs
# Grid rows in the columns of the fit, with the mean that each belongs to.
means <- function(case, m, specs, ddf, weights = "equal") {
  e <- emmeans(m, specs, lmer.df = ddf, weights = weights)
  s <- as.data.frame(summary(e, infer = TRUE))
  key <- function(d) do.call(paste, c(lapply(specs, function(v) as.character(d[[v]])), sep = " "))
  short <- if (ddf == "satterthwaite") "sat" else "kr"
  row <- function(kind, name, r, value) {
    put(case, paste(short, kind, "estimate", sep = "_"), name, r[[value]])
    put(case, paste(short, kind, "std_error", sep = "_"), name, r$SE)
    put(case, paste(short, kind, "df", sep = "_"), name, r$df)
    put(case, paste(short, kind, "low", sep = "_"), name, r$lower.CL)
    put(case, paste(short, kind, "high", sep = "_"), name, r$upper.CL)
    put(case, paste(short, kind, "p_value", sep = "_"), name, r$p.value)
  }
  for (i in seq_len(nrow(s))) row("mean", key(s)[i], s[i, ], "emmean")
  for (adjust in c("none", "bonferroni")) {
    d <- as.data.frame(summary(pairs(e), infer = TRUE, adjust = adjust))
    for (i in seq_len(nrow(d))) {
      row(paste0("pair_", adjust), as.character(d$contrast[i]), d[i, ], "estimate")
    }
  }
  # The grid over which the means average, in the order of model.matrix.
  g <- ref_grid(m, lmer.df = "asymptotic")
  grid <- g@grid
  columns <- delete.response(terms(m))
  x <- model.matrix(columns, grid, xlev = g@model.info$xlev)
  w <- if (weights == "equal") rep(1, nrow(grid)) else grid$.wgt.
  data.frame(mean = key(grid), weight = w, setNames(as.data.frame(x), plain(colnames(x))),
    check.names = FALSE)
}
write_grid <- function(case, grid) {
  for (j in 2:ncol(grid)) grid[[j]] <- trimws(formatC(grid[[j]], digits = 17, format = "g"))
  write.csv(grid, file.path(out, paste0(case, "-grid.csv")), row.names = FALSE, quote = FALSE)
}
full_columns <- function(case, formula, data) {
  # Columns that lme4 would leave out stay, so that ours has to find them.
  x <- model.matrix(lme4::nobars(formula), data)
  rows <- data.frame(y = data[[as.character(formula[[2]])]], w = 1)
  for (j in seq_len(ncol(x))) rows[[paste0("x:", plain(colnames(x)[j]))]] <- x[, j]
  for (f in sapply(lme4::findbars(formula), function(b) as.character(b[[3]]))) {
    rows[[paste0("g:", f)]] <- as.integer(factor(data[[f]])) - 1L
  }
  for (j in seq_along(rows)) rows[[j]] <- trimws(formatC(rows[[j]], digits = 17, format = "g"))
  write.csv(rows, file.path(out, paste0(case, ".csv")), row.names = FALSE, quote = FALSE)
}
oats <- MASS::oats
oats$plot <- interaction(oats$B, oats$V, drop = TRUE)
split_plot <- Y ~ V * N + (1 | plot) + (1 | B)
m <- lmer(split_plot, oats, control = control)
full_columns("means-oats", split_plot, oats)
grid <- means("means-oats", m, "V", "satterthwaite")
grid <- means("means-oats", m, "V", "kenward-roger")
write_grid("means-oats", grid)
# One cell without rows, and a third of the rest lost.
holes <- droplevels(oats[!(oats$V == "Victory" & oats$N == "0.4cwt") & (seq_len(nrow(oats)) %% 5 != 2), ])
m <- lmer(split_plot, holes, control = control)
full_columns("means-oats-missing-cell", split_plot, holes)
grid <- means("means-oats-missing-cell", m, "V", "satterthwaite")
grid <- means("means-oats-missing-cell", m, "V", "kenward-roger")
write_grid("means-oats-missing-cell", grid)
m <- lmer(split_plot, holes, control = control)
full_columns("means-oats-cells", split_plot, holes)
grid <- means("means-oats-cells", m, c("V", "N"), "satterthwaite")
grid <- means("means-oats-cells", m, c("V", "N"), "kenward-roger")
write_grid("means-oats-cells", grid)
# Additive model, unbalanced, weighted by the rows of each cell.
additive <- Y ~ V + N + (1 | plot) + (1 | B)
m <- lmer(additive, holes, control = control)
full_columns("means-oats-weighted-cells", additive, holes)
grid <- means("means-oats-weighted-cells", m, "V", "satterthwaite", "cells")
grid <- means("means-oats-weighted-cells", m, "V", "kenward-roger", "cells")
write_grid("means-oats-weighted-cells", grid)

## Likelihood-ratio tests of variances (REML)
lrt <- function(case, full, reduced, data, term) {
  a <- lme4::lmer(full, data, control = control)
  b <- lme4::lmer(reduced, data, control = control)
  put(case, "lrt", term, as.numeric(2 * (logLik(a) - logLik(b))))
}
lrt("oats-tests", split_plot, Y ~ V * N + (1 | B), oats, "plot")
lrt("oats-tests", split_plot, Y ~ V * N + (1 | plot), oats, "B")
lrt("sleepstudy-tests", Reaction ~ Days + (Days | Subject), Reaction ~ Days + (1 | Subject),
  sleepstudy, "Subject.Days")
lrt("sleepstudy-tests", Reaction ~ Days + (Days || Subject), Reaction ~ Days + (1 | Subject),
  sleepstudy, "independent")
lrt("machines-tests", score ~ Machine + (MB + MC | Worker), score ~ Machine + (MB | Worker),
  machines, "Worker.MC")
lrt("pastes-tests", strength ~ 1 + (1 | sample) + (1 | batch), strength ~ 1 + (1 | sample),
  pastes, "batch")
one_way <- ranova(lmerTest::lmer(Yield ~ 1 + (1 | Batch), Dyestuff, control = control))
put("dyestuff-tests", "lrt", "Batch", one_way$LRT[2])

## Profile limits on the scale of standard deviations (lme4 profiles ML)
limits <- function(case, formula, data, names, delta) {
  m <- lme4::lmer(formula, data, REML = FALSE, control = control)
  which <- seq_along(names)
  # Small steps: the limits are read off a spline through them.
  p <- profile(m, which = "theta_", delta = delta, signames = FALSE, maxpts = 400)
  ci <- confint(p, level = 0.95)
  for (i in seq_along(names)) {
    row <- ci[names[i], ]
    put(case, "profile_low", names(names)[i], if (is.na(row[1])) 0 else row[[1]])
    put(case, "profile_high", names(names)[i], row[[2]])
  }
}
limits("dyestuff-ml", Yield ~ 1 + (1 | Batch), Dyestuff,
  c("Batch.intercept" = "sd_(Intercept)|Batch", residual = "sigma"), 0.1)
limits("dyestuff2-ml", Yield ~ 1 + (1 | Batch), Dyestuff2,
  c("Batch.intercept" = "sd_(Intercept)|Batch", residual = "sigma"), 0.1)
limits("penicillin-ml", diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin,
  c("plate.intercept" = "sd_(Intercept)|plate", "sample.intercept" = "sd_(Intercept)|sample",
    residual = "sigma"), 0.1)
limits("sleepstudy-ml", Reaction ~ Days + (Days | Subject), sleepstudy,
  c("Subject.intercept" = "sd_(Intercept)|Subject", "Subject.Days" = "sd_Days|Subject",
    residual = "sigma"), 0.1)
limits("pastes-ml", strength ~ 1 + (1 | sample) + (1 | batch), pastes,
  c("sample.intercept" = "sd_(Intercept)|sample", "batch.intercept" = "sd_(Intercept)|batch",
    residual = "sigma"), 0.1)

## Influence of a group at fixed theta: generalised least squares without it
influence_of <- function(case, formula, data, group) {
  m <- lme4::lmer(formula, data, control = control)
  x <- as.matrix(getME(m, "X"))
  y <- getME(m, "y")
  v <- as.matrix(t(getME(m, "Zt")) %*% getME(m, "Lambda") %*% getME(m, "Lambdat") %*% getME(m, "Zt")) +
    diag(nrow(x))
  fit <- function(rows) {
    vi <- solve(v[rows, rows])
    solve(t(x[rows, ]) %*% vi %*% x[rows, ], t(x[rows, ]) %*% vi %*% y[rows])
  }
  b <- fixef(m)
  precision <- solve(as.matrix(vcov(m)))
  codes <- as.integer(getME(m, "flist")[[group]]) - 1L
  for (g in sort(unique(codes))) {
    change <- fit(codes != g) - b
    for (j in seq_along(b)) {
      put(case, "influence_change", paste(g, plain(names(b)[j]), sep = "/"), change[j])
    }
    put(case, "influence_cook", as.character(g),
      as.numeric(t(change) %*% precision %*% change) / length(b))
  }
}
influence_of("sleepstudy", Reaction ~ Days + (Days | Subject), sleepstudy, "Subject")
influence_of("machines-unbalanced", nested, machines_unbalanced, "cell")
influence_of("penicillin", diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin, "plate")

write.csv(values, file.path(out, "inference.csv"), row.names = FALSE, quote = FALSE)
sink(file.path(out, "inference-session.txt"))
print(sessionInfo()$R.version$version.string)
for (p in c("lme4", "lmerTest", "pbkrtest", "glmmTMB", "emmeans", "nlme", "MASS", "Matrix")) {
  cat(p, as.character(packageVersion(p)), "\n")
}
sink()
