# Counts, shares, percentages and measurements by glmmTMB, MASS::boxcox and lm, means by emmeans.
# usage: Rscript traits.R OUT_FOLDER (after extract.py)
suppressPackageStartupMessages({ library(jsonlite); library(glmmTMB); library(emmeans); library(MASS) })
out <- commandArgs(trailingOnly = TRUE)[1]
means <- function(fit) {
  s <- as.data.frame(summary(emmeans(fit, "trt", df = Inf)))
  list(names = as.character(s$trt), estimate = s$emmean, se = s$SE)
}
pearson <- function(g) list(dispersion = sum(residuals(g, "pearson")^2) / df.residual(g),
  p = pchisq(sum(residuals(g, "pearson")^2), df.residual(g), lower.tail = FALSE))
sprays <- transform(InsectSprays, trt = spray)
count <- c(list(values = sprays$count, treatment = as.character(sprays$trt)),
  pearson(glm(count ~ trt, poisson, sprays)), means(glmmTMB(count ~ trt, sprays, family = nbinom2)))
carrot <- read.csv(file.path(out, "carrot_insecticide.csv"), stringsAsFactors = TRUE)
# T11, the control, stands twice in every block.
carrot <- droplevels(subset(carrot, treatment != "T11"))
carrot$trt <- carrot$treatment; carrot$plot <- factor(seq_len(nrow(carrot)))
share <- c(pearson(glm(cbind(damaged, total - damaged) ~ trt + rep, binomial, carrot)),
  means(glmmTMB(cbind(damaged, total - damaged) ~ trt + rep + (1 | plot), carrot, family = binomial)))
canker <- read.csv(file.path(out, "apple_canker.csv"), stringsAsFactors = TRUE)
# Block B4 has no canker at all and tells nothing of the treatments.
canker <- droplevels(subset(canker, inoculum == 200 & block != "B4"))
canker$trt <- canker$gen
binomial_ <- glm(cbind(y, n - y) ~ trt + block, binomial, canker)
plain <- c(list(inoculum = 200), pearson(binomial_), means(binomial_))
scab <- read.csv(file.path(out, "potato_scab_sulfur.csv"), stringsAsFactors = TRUE)
percent <- means(lm(logit ~ trt, transform(scab, logit = log(inf / (100 - inf)))))
orchard <- transform(OrchardSprays, trt = treatment)
b <- boxcox(lm(decrease ~ trt, orchard), lambda = seq(-2, 2, 0.05), plotit = FALSE)
inside <- range(b$x[b$y >= max(b$y) - qchisq(0.95, 1) / 2])
measured <- c(list(values = orchard$decrease, treatment = as.character(orchard$trt), best = b$x[which.max(b$y)],
  low = inside[1], high = inside[2]), means(lm(log_decrease ~ trt, transform(orchard, log_decrease = log(decrease)))))
write_json(list(source = paste("R", getRversion(), "glmmTMB", packageVersion("glmmTMB"), "MASS",
  packageVersion("MASS"), "emmeans", packageVersion("emmeans")), count = count, share = share,
  plain = plain, percent = percent, measured = measured), file.path(out, "traits.json"), digits = I(17), auto_unbox = TRUE)
