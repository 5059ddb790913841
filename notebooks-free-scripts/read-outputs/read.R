# Reads the outputs of a run: Rscript read.R REPORT_FOLDER. Needs jsonlite, and reticulate with a
# Python (RETICULATE_PYTHON) that has pyarrow.
report <- commandArgs(trailingOnly = TRUE)[[1]]
at <- function(name) file.path(report, name)

pq <- reticulate::import("pyarrow.parquet")
ipc <- reticulate::import("pyarrow.ipc")

# Columns one by one, so that Python needs no pandas.
frame <- function(table) {
  names <- unlist(table$column_names)
  columns <- lapply(names, function(name) {
    values <- table$column(name)$to_pylist()
    values[vapply(values, is.null, logical(1))] <- NA
    # Dates come one by one, and unlist would lose what they are.
    if (any(vapply(values, inherits, logical(1), "Date"))) do.call(c, values) else unlist(values)
  })
  structure(columns, names = names, class = "data.frame", row.names = seq_len(table$num_rows))
}
parquet <- function(name) frame(pq$read_table(at(name)))
draws <- function(name) frame(ipc$open_file(at(name))$read_all())
meaning <- function(name, column) {
  metadata <- pq$read_schema(at(name))$field(column)$metadata
  # Keys are Python's bytes and are named as Python prints them.
  list(unit = metadata[["b'unit'"]]$decode(), doc = metadata[["b'doc'"]]$decode())
}

# The linked table: one row per tree and season. Units and meanings are in each column's metadata.
told <- meaning("tree_seasons.parquet", "yield_kg")
cat(sprintf("yield_kg [%s]: %s\n", told$unit, told$doc))
trees <- parquet("tree_seasons.parquet")
trees <- trees[!trees$young, ]
trees$cut <- round(trees$intensity * 100) %/% 15 * 15
classes <- aggregate(yield_kg ~ cut + region, trees, function(kg) c(length(kg), mean(kg)))
cat(sprintf(
  "%s: %.0f to %.0f %% removed, %.0f tree-seasons, %.3f kg per tree\n",
  classes$region, classes$cut, classes$cut + 14, classes$yield_kg[, 1], classes$yield_kg[, 2]
), sep = "")

# The advice: one row per region, names as in dictionary.html.
advice <- parquet("advice.parquet")
cat(sprintf(
  "%s: %s, remove %s, gain %.3f to %.3f kg per tree\n", advice$name, advice$verdict,
  advice$advised_intensity, advice$gain_over_present_kg_low, advice$gain_over_present_kg_high
), sep = "")

# Posterior draws of the coefficients; absent when a book is too small for a fit.
sigma <- draws("draws.arrow")$sigma
values <- sprintf("%.5f", quantile(sigma, c(0.025, 0.5, 0.975)))
cat(sprintf("residual sd: %s (%d draws)\n", paste(values, collapse = " "), length(sigma)))

# Designed trials, where the book declares some.
if (file.exists(at("trials.json"))) {
  for (trial in jsonlite::read_json(at("trials.json"))) {
    for (season in trial$together) {
      for (mean in season$combined$Ok$means) {
        cat(sprintf("%s: %s, %.3f %s\n", trial$trial, mean$treatment, mean$mean, season$observed$unit))
      }
    }
  }
}
