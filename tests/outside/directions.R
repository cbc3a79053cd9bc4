#!/usr/bin/env Rscript
# Makes directions.txt: what R and its package circular say of the data sets that circular brings, and the sets.
#
# Usage: Rscript directions.R > directions.txt
# Needs Debian's r-cran-circular; its version is written beside the numbers. The sets are those of N. I. Fisher,
# Statistical Analysis of Circular Data, 1993 (appendix B), and the northern cricket frogs, as circular has them.
#
# circular's own kappa is a formula by parts, good to some thousandths; kappa here is the root of I1 / I0 = R by R's
# uniroot. Its p of Rayleigh's test leaves out terms from 50 azimuths on; the exact one is J. C. Kluyver's integral (A
# local probability problem, 1906): the chance that n unit steps in a plane end farther than r is
# 1 - r * integral of J1(r x) J0(x)^n; of steps of unlike lengths w, with the product of J0(w x). Its integrand falls as
# x to minus (n + 1) / 2, and is taken up to 1000.

suppressPackageStartupMessages(library(circular))

number <- function(x) paste(formatC(x, digits = 17, format = "g", width = 1), collapse = " ")

tell <- function(name, deg) {
    x <- circular(deg, units = "degrees", template = "geographics")
    n <- length(deg)
    share <- rho.circular(x)
    kappa <- uniroot(function(k) besselI(k, 1, TRUE) / besselI(k, 0, TRUE) - share, c(1e-6, 1e3), tol = 1e-14)$root
    walk <- function(y) besselJ(n * share * y, 1) * besselJ(y, 0)^n
    exact <- 1 - n * share * sum(sapply(0:199, function(i) integrate(walk, i / 4, (i + 1) / 4, rel.tol = 1e-12)$value))
    cat(name, n, "\n")
    cat(number(c(as.numeric(mean(x)) %% 360, share, kappa, sd.circular(x) * 180 / pi, rayleigh.test(x)$p.value, exact)),
        "\n")
    cat(number(deg), "\n")
}

walk <- function(name, length, share) {
    r <- share * sum(length)
    f <- function(x) sapply(x, function(x) besselJ(r * x, 1) * prod(besselJ(length * x, 0)))
    part <- sapply(0:1999, function(i) integrate(f, i / 2, (i + 1) / 2, rel.tol = 1e-12)$value)
    cat(name, length(length), "\n")
    cat(number(c(r, 1 - r * sum(part))), "\n")
    cat(number(length), "\n")
}

cat("# made by directions.R: circular ", as.character(packageVersion("circular")), ", ", R.version.string, "\n",
    sep = "")
cat("# a set's name and count; then mean in degrees, mean resultant length, kappa, sd.circular in degrees, p of\n")
cat("# rayleigh.test and by Kluyver's integral; then the azimuths in degrees\n")
tell("fisherB3", as.numeric(fisherB3))
tell("fisherB4", as.numeric(fisherB4))
tell("fisherB6_1", as.numeric(fisherB6$set1))
tell("fisherB10_1", as.numeric(fisherB10$set1))
tell("fisherB11", as.numeric(fisherB11))
tell("fisherB12", as.numeric(fisherB12))
tell("ncfrog", as.numeric(ncfrog))
tell("wind_12", as.numeric(wind)[1:12] * 180 / pi)
cat("# a walk's name and count of steps; then how far out, and the chance to end farther; then the steps\n")
walk("walk_5", c(1, 0.9, 0.8, 0.5, 0.95), 0.75)
walk("walk_6", rep(1, 6), 0.69)
walk("walk_8", c(0.3, 1, 1, 0.6, 0.7, 0.98, 0.9, 0.2), 0.6)
walk("walk_12", 1 - 0.05 * (0:11), 0.3)
