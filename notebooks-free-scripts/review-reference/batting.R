# Shrinkage of the batting averages by lme4: every at-bat a row of 0 or 1, players random.
# Usage: Rscript batting.R FOLDER (with batting.csv)
suppressPackageStartupMessages(library(lme4))
folder <- commandArgs(TRUE)[1]
averages <- read.csv(file.path(folder, "batting.csv"))
rows <- do.call(rbind, lapply(seq_len(nrow(averages)), function(i) {
  hits <- averages$hits_of_45[i]
  data.frame(player = averages$player[i], hit = rep(c(1, 0), c(hits, 45 - hits)))
}))
fit <- lmer(hit ~ 1 + (1 | player), rows, control = lmerControl(
  optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10)))
modes <- ranef(fit)$player[averages$player, 1]
write.csv(data.frame(player = averages$player, mode = sprintf("%.10g", modes)),
          file.path(folder, "batting-lme4.csv"), row.names = FALSE, quote = FALSE)
spreads <- as.data.frame(VarCorr(fit))$sdcor
write.csv(data.frame(quantity = c("player_sd", "residual_sd", "mean"),
                     value = sprintf("%.10g", c(spreads, fixef(fit)))),
          file.path(folder, "batting-lme4-spreads.csv"), row.names = FALSE, quote = FALSE)
cat("lme4", as.character(packageVersion("lme4")), R.version.string, "\n")
