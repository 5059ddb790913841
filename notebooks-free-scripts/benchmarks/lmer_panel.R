# lmer on the columns that `panel TREES FOLDER` wrote: Rscript lmer_panel.R FOLDER ROWS THETA...
# With theta given, also evaluates lmer's own criterion there.
suppressMessages(library(lme4))
args <- commandArgs(TRUE)
folder <- args[1]; n <- as.numeric(args[2]); theta <- as.numeric(args[-(1:2)])
real <- function(name) readBin(file.path(folder, name), "double", n, endian = "little")
code <- function(name) factor(readBin(file.path(folder, name), "integer", n, endian = "little"))
d <- data.frame(y = real("y.f64"), tree = code("tree.u32"), block = code("block.u32"),
                cell = code("cell.u32"), region = code("region.u32"))
for (j in 1:11) d[[paste0("x", j)]] <- real(paste0("x", j, ".f64"))
model <- y ~ x1 + x2 + x3 + x4 + x5 + x6 + x7 + x8 + x9 + x10 + x11 +
  (1 | tree) + (1 | block) + (1 | cell) + (0 + x1 + x2 + x3 | region)
cat(format(Sys.time(), "%Y-%m-%d"), R.version.string, "lme4", as.character(packageVersion("lme4")),
    "BLAS", extSoftVersion()["BLAS"], "\n")
if (length(theta) > 0) {
  # Order of lmer's terms by number of levels: tree, block, cell, region here too.
  dev <- lmer(model, d, devFunOnly = TRUE)
  cat(sprintf("lmer's criterion at the given theta: %.9f\n", dev(theta)))
}
t <- system.time(fit <- lmer(model, d))
print(t)
cat(sprintf("lmer's criterion at its own optimum: %.9f after %d evaluations\n",
            REMLcrit(fit), fit@optinfo$feval))
cat("theta", format(getME(fit, "theta"), digits = 10), "\n")
cat("convergence messages:", unlist(fit@optinfo$conv$lme4$messages), "\n")
