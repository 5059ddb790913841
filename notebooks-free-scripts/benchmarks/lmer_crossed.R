# lmer on the columns that `crossed ROWS FOLDER` wrote: Rscript lmer_crossed.R FOLDER ROWS THETA...
suppressMessages(library(lme4))
args <- commandArgs(TRUE)
folder <- args[1]; n <- as.numeric(args[2]); theta <- as.numeric(args[-(1:2)])
real <- function(name) readBin(file.path(folder, name), "double", n, endian = "little")
code <- function(name) factor(readBin(file.path(folder, name), "integer", n, endian = "little"))
d <- data.frame(y = real("y.f64"), x1 = real("x1.f64"), rater = code("rater.u32"),
                subject = code("subject.u32"), group = code("group.u32"))
model <- y ~ x1 + (1 | rater) + (1 | subject) + (1 | group)
cat(format(Sys.time(), "%Y-%m-%d"), R.version.string, "lme4", as.character(packageVersion("lme4")),
    "BLAS", extSoftVersion()["BLAS"], "\n")
if (length(theta) > 0) {
  dev <- lmer(model, d, devFunOnly = TRUE)
  cat(sprintf("lmer's criterion at the given theta: %.9f\n", dev(theta)))
}
t <- system.time(fit <- lmer(model, d))
print(t)
cat(sprintf("lmer's criterion at its own optimum: %.9f after %d evaluations\n",
            REMLcrit(fit), fit@optinfo$feval))
cat("theta", format(getME(fit, "theta"), digits = 10), "\n")
cat("convergence messages:", unlist(fit@optinfo$conv$lme4$messages), "\n")
