# Noncentral F over a grid by R's pf and qf.
# usage: Rscript noncentral_f.R OUT_FOLDER
library(jsonlite)
out <- commandArgs(trailingOnly = TRUE)[1]
grid <- expand.grid(df1 = c(1, 2, 3, 7, 20, 2.5), df2 = c(1, 2, 5, 12.4, 40, 300, Inf),
  ncp = c(0, 0.1, 1, 5, 20, 80), x = c(0.05, 0.5, 1, 2.5, 4, 10))
cdf <- with(grid, pf(x, df1, df2, ncp))
upper <- with(grid, pf(x, df1, df2, ncp, lower.tail = FALSE))
power <- expand.grid(df1 = c(1, 3, 6), df2 = c(4, 15, 60), ncp = c(2, 10, 30))
power$alpha <- 0.05
power$critical <- with(power, qf(0.95, df1, df2))
power$power <- with(power, pf(critical, df1, df2, ncp, lower.tail = FALSE))
df2 <- ifelse(is.finite(grid$df2), grid$df2, -1)
write_json(list(source = paste("R", getRversion(), "pf, qf; df2 of -1 stands for infinity"),
  df1 = grid$df1, df2 = df2, ncp = grid$ncp, x = grid$x, cdf = cdf, upper = upper,
  power = as.list(power)), file.path(out, "noncentral-f.json"), digits = I(17), auto_unbox = TRUE)
