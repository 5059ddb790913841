# Values of R for the uniformity trials with dummy treatments, and for the cabbages.
suppressMessages({library(lme4); library(pbkrtest); library(jsonlite)})
folder <- commandArgs(TRUE)[1]
options(contrasts = c("contr.sum", "contr.poly"))
read <- function(name) read.csv(file.path(folder, paste0(name, ".csv")), stringsAsFactors = TRUE)
out <- list()
for (name in c("apple", "peach", "grape")) {
  d <- read(paste0(name, "_uniformity"))
  d$block <- factor(d$block)
  # Unequal trees per plot, or a boundary: REML with plots as a random effect.
  fit <- lmer(yield ~ block + treatment + (1 | block:treatment), d,
    control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e5)))
  k <- KRmodcomp(fit, lmer(yield ~ block + (1 | block:treatment), d))$test["Ftest", ]
  v <- as.data.frame(VarCorr(fit))
  m <- aggregate(yield ~ block + treatment, d, mean)
  a <- anova(lm(yield ~ block + treatment, m))
  out[[name]] <- list(f = k$stat, df_denominator = k$ddf, p = k$p.value, plot = v$vcov[1],
    tree = v$vcov[2], trees = sum(!is.na(d$yield)), f_of_plot_means = a["treatment", "F value"],
    df_of_plot_means = a["Residuals", "Df"])
}
cabbages <- read("cabbages")
a <- anova(lm(HeadWt ~ Cult * Date, cabbages))
out$cabbages <- lapply(setNames(rownames(a), rownames(a)), function(i)
  list(df = a[i, "Df"], ss = a[i, "Sum Sq"], f = a[i, "F value"], p = a[i, "Pr(>F)"]))
j <- anova(lm(HeadWt ~ VitC + Cult + Date + Cult:Date, cabbages))
out$cabbages_covariate <- list(interaction_f = j["Cult:Date", "F value"],
  slope = unname(coef(lm(HeadWt ~ VitC + Cult * Date, cabbages))["VitC"]), residual_df = j["Residuals", "Df"])
cat(toJSON(out, auto_unbox = TRUE, digits = 15, na = "null", pretty = TRUE))
