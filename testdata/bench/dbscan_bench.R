# Times R's dbscan on the points the Go benchmark wrote, same eps and min points.
#   go test ./geo/cluster -run NONE -bench Dense -args -write DIR
#   Rscript testdata/bench/dbscan_bench.R DIR
# Prints size, best of 5 in ms, clusters, noise. Needs the R package dbscan
# (Debian: r-cran-dbscan); no test depends on it.
suppressPackageStartupMessages(library(dbscan))
folder <- commandArgs(trailingOnly = TRUE)[1]
for (n in c(10000, 100000, 1000000)) {
  x <- as.matrix(read.csv(file.path(folder, sprintf("field-%d.csv", n))))
  best <- Inf
  for (i in 1:5) best <- min(best, system.time(r <- dbscan(x, eps = 3, minPts = 5))[["elapsed"]])
  cat(sprintf("%8d %9.1f ms  %d clusters  %d noise\n", n, best * 1000, max(r$cluster), sum(r$cluster == 0)))
}
