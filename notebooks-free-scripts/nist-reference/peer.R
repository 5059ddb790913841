# What R's lm and aov make of the NIST sets; usage: Rscript peer.R FOLDER
# Writes peer.csv with set,quantity,term,value (17 digits).
folder <- commandArgs(trailingOnly = TRUE)[1]
values <- data.frame()
put <- function(set, quantity, term, value) {
  values <<- rbind(values, data.frame(set = set, quantity = quantity, term = term,
    value = trimws(formatC(value, digits = 17, format = "g"))))
}
anova_sets <- read.csv(file.path(folder, "anova.csv"))
for (set in unique(anova_sets$set)) {
  d <- anova_sets[anova_sets$set == set, ]
  d <- d[rep(seq_len(nrow(d)), d$count), ]
  s <- summary(aov(response ~ factor(treatment), d))[[1]]
  put(set, "ss_between", "all", s[1, "Sum Sq"])
  put(set, "ss_within", "all", s[2, "Sum Sq"])
  put(set, "f", "all", s[1, "F value"])
  put(set, "r_squared", "all", s[1, "Sum Sq"] / sum(s[, "Sum Sq"]))
  put(set, "residual_sd", "all", sqrt(s[2, "Mean Sq"]))
}
sets <- read.csv(file.path(folder, "regression.csv"))
for (set in unique(sets$set)) {
  d <- sets[sets$set == set, -1]
  d <- d[, colSums(!is.na(d)) > 0]
  formula <- switch(set,
    pontius = y ~ x1 + I(x1^2),
    filip = as.formula(paste("y ~", paste0("I(x1^", 1:10, ")", collapse = " + "))),
    noint1 = , noint2 = y ~ 0 + x1,
    y ~ .
  )
  # The default tolerance of 1e-7 leaves columns of filip out.
  m <- lm(formula, d, tol = 1e-12)
  s <- coef(summary(m))
  for (i in seq_len(nrow(s))) {
    term <- if (set %in% c("noint1", "noint2")) i else i - 1
    put(set, "estimate", term, s[i, 1])
    put(set, "std_error", term, s[i, 2])
  }
  put(set, "ss_residual", "all", sum(resid(m)^2))
}
write.csv(values, file.path(folder, "peer.csv"), row.names = FALSE, quote = FALSE)
cat(R.version.string, "\n")
