/// Random fields over space, all of them from a seed: sums of plane waves, and smoothed white noise on a lattice.
///
/// A sum of waves is analytic and slow to repeat, but it is one draw of few numbers: right for relief and warp. Where a
/// field must average out over a block (noise of a scan), it needs as many independent numbers as there are patches of
/// a correlation length: white noise hashed at the points of a lattice and smoothed by a Gaussian. The smoothed field's
/// covariance is a Gaussian of sqrt(2) times the kernel's width. Spectral sampling after M. Shinozuka, Simulation of
/// multivariate and multidimensional random processes, J. Acoust. Soc. Am. 49, 1971.

#ifndef RLV_SAMPLES_NOISE_H
#define RLV_SAMPLES_NOISE_H

#include "vector.h"

#include <stddef.h>
#include <stdint.h>

#define NOISE_WAVES 256 ///< room for waves in one sum

/// A sum of cosines. Wave vectors are in turns a millimetre, phases in turns.
typedef struct noise_waves
{
    size_t count;
    double x[NOISE_WAVES], y[NOISE_WAVES], z[NOISE_WAVES];
    double phase[NOISE_WAVES];
    double strength[NOISE_WAVES];
} noise_waves;

/// 256 waves whose covariance over all seeds is sd^2 exp(-d^2 / (2 length^2)).
noise_waves noise_waves_gaussian(double sd, double length_mm, uint64_t seed);

/// `octaves` (at most 21) of twelve waves each in even directions, the longest of wavelength `longest_mm`, each octave
/// of half the last one's wavelength and `falling` times its strength; sd over all seeds as given.
noise_waves noise_waves_fractal(double sd, double longest_mm, int octaves, double falling, uint64_t seed);

/// The sum at a point.
double noise_waves_at(const noise_waves* waves, rlv_vec3 point_mm);

/// Smoothed lattice noise at a point: mean 0, sd 1 at every point, covariance exp(-d^2 / (2 length^2)) to about a
/// hundredth.
double noise_smooth_at(uint64_t seed, double length_mm, rlv_vec3 point_mm);

/// White noise of mean 0, sd 1 for a whole number (nearly normal: the sum of four bytes of a hash).
double noise_white(uint64_t seed, uint64_t index);

/// A hash of two whole numbers (splitmix64's finish).
uint64_t noise_hash(uint64_t seed, uint64_t index);

#endif
