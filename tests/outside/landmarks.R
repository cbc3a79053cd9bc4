#!/usr/bin/env Rscript
# Makes landmarks.txt: rigid fits between skulls, with scale and without, by the R package shapes, and the landmarks.
#
# Usage: Rscript landmarks.R > landmarks.txt
# Needs Debian's r-cran-shapes; its version is written beside the numbers. The set is `macaques` (7 landmarks in space on
# 18 skulls): I. L. Dryden, K. V. Mardia, Statistical Shape Analysis, 2016, as shapes has it.

options(rgl.useNULL = TRUE)
suppressPackageStartupMessages(suppressWarnings(library(shapes)))

data(macaques)

number <- function(x) paste(formatC(x, digits = 17, format = "g", width = 1), collapse = " ")

tell <- function(to, from) {
    a <- macaques$x[, , to]
    b <- macaques$x[, , from]
    cat(to, from, "\n")
    for (scale in c(FALSE, TRUE)) {
        fit <- procOPA(a, b, scale = scale, reflect = FALSE)
        # Row vectors: what comes of b is s b R, both about their means.
        cat(number(c(t(fit$R), if (scale) fit$s else 1, fit$OSS)), "\n")
    }
    cat(number(t(a)), "\n")
    cat(number(t(b)), "\n")
}

cat("# made by landmarks.R: shapes ", as.character(packageVersion("shapes")), ", ", R.version.string, "\n", sep = "")
cat("# two skulls; the rotation that acts on row vectors (9 numbers, row-major), the scale and the sum of squares left,\n")
cat("# first without scale, then with it; then 7 landmarks of the one that is fitted to, and of the one that is carried\n")
tell(1, 2)
tell(3, 11)
tell(9, 18)
