# Reference values of the mixed-model engine from lme4, lmerTest and pbkrtest.
#
# usage: Rscript reference.R OUT_FOLDER   (after extract_kiwishade.py)
#
# Writes per case CASE.csv (the columns that a fit needs: y, w, x:NAME, factor
# codes g:FACTOR from 0, slope columns z:NAME) and one values.csv with
# case,quantity,term,value. Everything is printed with 17 significant digits.
# lme4 is run to a tight optimum: its default stops near 1e-6 in theta.

suppressPackageStartupMessages({
  library(lme4)
  library(lmerTest)
  library(pbkrtest)
  library(MASS)
})
out <- commandArgs(trailingOnly = TRUE)[1]
here <- dirname(sub("--file=", "", grep("--file=", commandArgs(), value = TRUE)))
source(file.path(here, "describe.R"))

oats <- MASS::oats
oats$nitrogen <- as.numeric(sub("cwt", "", as.character(oats$N)))
oats$plot <- interaction(oats$B, oats$V, drop = TRUE)
describe("oats", Y ~ V * N + (1 | B) + (1 | plot), oats)
describe("oats-linear-ml", Y ~ V + nitrogen + (1 | B) + (1 | plot), oats, reml = FALSE)
describe("oats-weighted", Y ~ V + nitrogen + (1 | B) + (1 | plot), oats,
  w = 1 + (seq_len(nrow(oats)) %% 4))
describe("dyestuff", Yield ~ 1 + (1 | Batch), Dyestuff)
describe("dyestuff-ml", Yield ~ 1 + (1 | Batch), Dyestuff, reml = FALSE)
describe("dyestuff2", Yield ~ 1 + (1 | Batch), Dyestuff2)
describe("penicillin", diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin)
describe("sleepstudy", Reaction ~ Days + (Days | Subject), sleepstudy)
describe("sleepstudy-ml", Reaction ~ Days + (Days | Subject), sleepstudy, reml = FALSE)
describe("sleepstudy-independent",
  Reaction ~ Days + (1 | Subject) + (0 + Days | Subject), sleepstudy)
describe("sleepstudy-weighted", Reaction ~ Days + (Days | Subject), sleepstudy,
  w = 0.5 + (seq_len(nrow(sleepstudy)) %% 3))
cake$batch <- interaction(cake$recipe, cake$replicate, drop = TRUE)
describe("cake", angle ~ recipe * temp + (1 | batch), cake)
kiwi <- read.csv(file.path(out, "kiwishade-source.csv"), stringsAsFactors = TRUE)
describe("kiwishade", yield ~ shade + (1 | block) + (1 | plot), kiwi)

# Counts. Standard errors are those at the estimated theta (use.hessian = FALSE).
count_control <- glmerControl(
  optimizer = "bobyqa",
  optCtrl = list(rhobeg = 0.2, rhoend = 1e-10, maxfun = 1e6),
  tolPwrss = 1e-12, boundary.tol = 0, calc.derivs = FALSE
)
describe_counts <- function(case, formula, data, size = FALSE) {
  m <- if (size) {
    # The profile over the size by hand: glmer.nb stops near 5e-5.
    at <- function(log_size) {
      glmer(formula, data, family = MASS::negative.binomial(exp(log_size)),
        control = count_control)
    }
    best <- optimize(function(l) -as.numeric(logLik(at(l))), c(0, 4), tol = 1e-7)$minimum
    at(best)
  } else {
    glmer(formula, data, family = poisson, control = count_control)
  }
  x <- getME(m, "X")
  columns <- data.frame(y = getME(m, "y"), offset = getME(m, "offset"))
  for (j in seq_len(ncol(x))) columns[[paste0("x:", plain(colnames(x)[j]))]] <- x[, j]
  fl <- getME(m, "flist")
  for (f in names(fl)) columns[[paste0("g:", f)]] <- as.integer(fl[[f]]) - 1L
  for (j in seq_along(columns)) {
    columns[[j]] <- trimws(formatC(columns[[j]], digits = 17, format = "g"))
  }
  write.csv(columns, file.path(out, paste0(case, ".csv")), row.names = FALSE, quote = FALSE)
  put(case, "criterion", "all", -2 * as.numeric(logLik(m)))
  if (size) put(case, "size", "all", exp(best))
  th <- getME(m, "theta")
  for (n in names(th)) put(case, "theta", theta_name(n), th[[n]])
  se <- sqrt(diag(as.matrix(vcov(m, use.hessian = FALSE))))
  for (j in seq_len(ncol(x))) {
    put(case, "estimate", plain(colnames(x)[j]), fixef(m)[[j]])
    put(case, "std_error", plain(colnames(x)[j]), se[[j]])
  }
  re <- ranef(m, condVar = FALSE)
  for (f in names(re)) for (n in colnames(re[[f]])) for (i in seq_len(nrow(re[[f]]))) {
    put(case, "mode", paste(f, plain(n), i - 1, sep = "/"), re[[f]][i, n])
  }
}
ticks <- grouseticks
ticks$area <- 1 + (seq_len(nrow(ticks)) %% 3)
describe_counts("ticks-poisson",
  TICKS ~ YEAR + cHEIGHT + offset(log(area)) + (1 | BROOD) + (1 | LOCATION), ticks)
epil <- MASS::epil
epil$subject <- factor(epil$subject)
describe_counts("epil-negative-binomial", y ~ lbase + trt + lage + V4 + (1 | subject), epil, TRUE)

write.csv(values, file.path(out, "values.csv"), row.names = FALSE, quote = FALSE)
sink(file.path(out, "session.txt"))
print(sessionInfo()$R.version$version.string)
for (p in c("lme4", "lmerTest", "pbkrtest", "MASS", "Matrix")) {
  cat(p, as.character(packageVersion(p)), "\n")
}
sink()
