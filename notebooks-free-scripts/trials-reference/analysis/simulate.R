# Trials of designs for which no published data were at hand: simulated, with seed and truth here.
out <- commandArgs(TRUE)[1]
write <- function(d, name) write.csv(d, file.path(out, name), row.names = FALSE, quote = FALSE)
set.seed(20260)
# Strip plot: 5 replicates, 3 intensities across 4 dates; sd of strips 0.8 and 0.6, of crossings 0.5.
d <- expand.grid(replicate = 1:5, intensity = c(0, 25, 50), date = c("Jan", "Feb", "Mar", "Apr"))
a <- matrix(rnorm(15, 0, 0.8), 5); b <- matrix(rnorm(20, 0, 0.6), 5)
d$y <- round(6 + c(0, 0.6, 0.3)[match(d$intensity, c(0, 25, 50))] +
  a[cbind(d$replicate, match(d$intensity, c(0, 25, 50)))] +
  b[cbind(d$replicate, as.integer(d$date))] + rnorm(nrow(d), 0, 0.5), 3)
write(d, "simulated_strip.csv")
# Alpha lattice: 24 treatments, 3 replicates of 6 blocks of 4; sd of blocks 0.7, of plots 0.5.
arrays <- list(c(0, 0, 0, 0), c(0, 1, 2, 3), c(0, 2, 4, 1))
d <- do.call(rbind, lapply(1:3, function(r) do.call(rbind, lapply(0:5, function(s)
  data.frame(replicate = r, block = s + 1, treatment = (s + arrays[[r]]) %% 6 + 6 * (0:3) + 1)))))
d$y <- round(5 + rnorm(24, 0, 0.6)[d$treatment] +
  rnorm(18, 0, 0.7)[(d$replicate - 1) * 6 + d$block] + rnorm(nrow(d), 0, 0.5), 3)
d$treatment <- sprintf("t%02d", d$treatment)
write(d, "simulated_alpha.csv")
# Four treatments in 5 blocks over 3 seasons on the same plots; sd of plots 0.6, block x season 0.4.
d <- expand.grid(replicate = 1:5, treatment = c("A", "B", "C", "D"), season = 2021:2023)
d$y <- round(7 + c(0, 0.4, 0.8, 0.2)[d$treatment] + c(0, 0.5, -0.3)[d$season - 2020] +
  rnorm(20, 0, 0.6)[(as.integer(d$treatment) - 1) * 5 + d$replicate] +
  rnorm(15, 0, 0.4)[(d$season - 2021) * 5 + d$replicate] + rnorm(nrow(d), 0, 0.5), 3)
write(d, "simulated_seasons.csv")
# Augmented: 3 checks in each of 5 blocks, 20 new entries once.
d <- do.call(rbind, lapply(1:5, function(b)
  data.frame(block = b, entry = c("C1", "C2", "C3", sprintf("n%02d", 4 * (b - 1) + 1:4)))))
d$y <- round(8 + rnorm(5, 0, 0.5)[d$block] + rnorm(23, 0, 0.7)[as.integer(factor(d$entry))] +
  rnorm(nrow(d), 0, 0.4), 3)
write(d, "simulated_augmented.csv")
# Factorial plus control: 3 intensities x 2 dressings and an untreated control in 4 blocks.
d <- rbind(expand.grid(replicate = 1:4, intensity = c("10", "20", "40"), dressing = c("paste", "spray")),
  data.frame(replicate = 1:4, intensity = "none", dressing = ""))
d$y <- round(5 + rnorm(4, 0, 0.4)[d$replicate] + 0.8 * (d$intensity != "none") +
  0.01 * ifelse(d$intensity == "none", 0, suppressWarnings(as.numeric(as.character(d$intensity)))) +
  rnorm(nrow(d), 0, 0.4), 3)
d$y[is.na(d$y)] <- 5
write(d, "simulated_control.csv")
