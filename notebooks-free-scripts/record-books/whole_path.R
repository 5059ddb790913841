# Reference values for the trials that run through the whole path as record books.
# Run from the repository root: Rscript notebooks-free-scripts/record-books/whole_path.R
# Writes tests/reference/books/oats.json and kiwishade.json with the versions used.
suppressMessages({library(MASS); library(lme4); library(lmerTest); library(jsonlite)})

tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-12, maxfun = 1e5))
versions <- list(R = R.version.string, lme4 = as.character(packageVersion("lme4")),
                 lmerTest = as.character(packageVersion("lmerTest")))

oats$dose <- as.numeric(sub("cwt", "", as.character(oats$N)))
oats$dose2 <- oats$dose^2
fit <- lmer(Y ~ V + dose + dose2 + (1 | B) + (1 | B:V), oats, REML = TRUE, control = tight)
b <- fixef(fit); v <- as.matrix(vcov(fit))
slope_df <- function(x) {
  # Satterthwaite degrees of freedom of the slope at dose x.
  l <- rep(0, length(b)); l[names(b) == "dose"] <- 1; l[names(b) == "dose2"] <- 2 * x
  contest1D(fit, l)
}
excess <- function(x) { s <- slope_df(x); (s$Estimate / s$`Std. Error`)^2 - qt(0.975, s$df)^2 }
low <- uniroot(excess, c(0.3, 0.87), tol = 1e-12)$root
upper <- tryCatch(uniroot(excess, c(0.87, 1e4), tol = 1e-9)$root, error = function(e) NA)
lower_far <- tryCatch(uniroot(excess, c(-1e4, 0.2), tol = 1e-9)$root, error = function(e) NA)
write_json(list(source = "Yates 1935, data oats of MASS; Y by variety, dose, dose^2; random block and main plot; REML",
  criterion = REMLcrit(fit), coefficients = as.list(b), std_errors = as.list(sqrt(diag(v))),
  sigma = sigma(fit), optimum = unname(-b["dose"] / (2 * b["dose2"])),
  set_low = low, set_high = upper, set_far_low = lower_far,
  gain_at_0.6 = unname(0.6 * b["dose"] + 0.36 * b["dose2"]),
  versions = versions), "tests/reference/books/oats.json", digits = 15, auto_unbox = TRUE, pretty = TRUE)
