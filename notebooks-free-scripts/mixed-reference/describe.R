# How a fit by lme4 becomes a table of reference values; sourced by reference.R
# and inference.R, which set `out`.
values <- data.frame()
put <- function(case, quantity, term, value) {
  values <<- rbind(values, data.frame(case = case, quantity = quantity,
    term = term, value = trimws(formatC(value, digits = 17, format = "g"))))
}
control <- lmerControl(
  optimizer = "bobyqa",
  optCtrl = list(rhobeg = 0.2, rhoend = 1e-11, maxfun = 1e6),
  boundary.tol = 0, calc.derivs = FALSE,
  check.conv.singular = "ignore"
)
plain <- function(x) gsub("(Intercept)", "intercept", x, fixed = TRUE)
theta_name <- function(x) gsub("\\.[0-9]+\\.", ".", plain(x))

describe <- function(case, formula, data, reml = TRUE, w = NULL, kr = TRUE) {
  data$.w <- if (is.null(w)) rep(1, nrow(data)) else w
  m <- lmerTest::lmer(formula, data, REML = reml, control = control, weights = .w)
  x <- getME(m, "X")
  columns <- data.frame(y = getME(m, "y"), w = data$.w)
  for (j in seq_len(ncol(x))) columns[[paste0("x:", plain(colnames(x)[j]))]] <- x[, j]
  fl <- getME(m, "flist")
  for (f in names(fl)) columns[[paste0("g:", f)]] <- as.integer(fl[[f]]) - 1L
  slopes <- setdiff(unique(unlist(m@cnms)), "(Intercept)")
  for (s in slopes) columns[[paste0("z:", s)]] <- data[[s]]
  for (j in seq_along(columns)) {
    if (is.numeric(columns[[j]])) columns[[j]] <- trimws(formatC(columns[[j]], digits = 17, format = "g"))
  }
  write.csv(columns, file.path(out, paste0(case, ".csv")), row.names = FALSE, quote = FALSE)

  put(case, "criterion", "all", -2 * as.numeric(logLik(m)))
  put(case, "sigma", "all", sigma(m))
  put(case, "rows", "all", nobs(m))
  th <- getME(m, "theta")
  for (n in names(th)) put(case, "theta", theta_name(n), th[[n]])
  s <- coef(summary(m, ddf = "Satterthwaite"))
  for (n in rownames(s)) {
    put(case, "estimate", plain(n), s[n, "Estimate"])
    put(case, "std_error", plain(n), s[n, "Std. Error"])
    put(case, "df", plain(n), s[n, "df"])
    put(case, "p_value", plain(n), s[n, "Pr(>|t|)"])
  }
  p <- ncol(x)
  if (p > 1) {
    l <- diag(p)[-1, , drop = FALSE]
    f <- contest(m, l, joint = TRUE, ddf = "Satterthwaite")
    put(case, "joint_f", "all", f[["F value"]])
    put(case, "joint_ndf", "all", f[["NumDF"]])
    put(case, "joint_ddf", "all", f[["DenDF"]])
    put(case, "joint_p", "all", f[["Pr(>F)"]])
  }
  re <- ranef(m, condVar = FALSE)
  for (f in names(re)) for (n in colnames(re[[f]])) for (i in seq_len(nrow(re[[f]]))) {
    put(case, "mode", paste(f, plain(n), i - 1, sep = "/"), re[[f]][i, n])
  }
  # Kenward-Roger needs REML and, in pbkrtest, weights of 1.
  if (kr && reml && is.null(w) && !isSingular(m)) {
    va <- vcovAdj(m)
    for (j in seq_len(p)) {
      put(case, "kr_std_error", plain(colnames(x)[j]), sqrt(va[j, j]))
      put(case, "kr_df", plain(colnames(x)[j]), Lb_ddf(diag(p)[j, ], vcov(m), va))
    }
    if (p > 1) {
      kr <- KRmodcomp(m, diag(p)[-1, , drop = FALSE])
      put(case, "kr_joint_f", "all", kr$stats$Fstat)
      put(case, "kr_joint_ddf", "all", kr$stats$ddf)
    }
  }
  invisible(m)
}
