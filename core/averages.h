/// Averages of depth over cells of one size, with and without their neighbours.

#ifndef RLV_AVERAGES_H
#define RLV_AVERAGES_H

#include "cubes.h"
#include "depths.h"
#include "error.h"
#include "sampling.h"

typedef struct rlv_averages
{
    rlv_cubes cells;
    float* own;     ///< mean depth of a cell; NaN where no sample has a verdict
    float* smooth;  ///< with its neighbours, Gaussian weights of one cell's side
    float* support; ///< sum of squared weights over the square of the sum: how noisy the smooth average is
    float* chord;   ///< mean allowance for the tessellation
    float* area;    ///< mm2 of samples with a verdict
} rlv_averages;

/// Average depths over cells of `scale_mm` into zeroed `averages`. `tag` (one a sample, may be NULL) keeps samples of
/// unlike tags apart. Free with rlv_averages_free, which is safe after a failure.
rlv_status rlv_averages_take(rlv_averages* averages, const rlv_depths* depths, const rlv_sampling* sampling,
                             const uint8_t* tag, double scale_mm, rlv_error* error);
void rlv_averages_free(rlv_averages* averages);

/// The 27 cells around one, itself among them (step 13).
static inline uint32_t rlv_averages_near(const rlv_averages* averages, size_t cell, int step)
{
    const int to[3] = {step / 9 - 1, step / 3 % 3 - 1, step % 3 - 1};
    return rlv_cubes_near(&averages->cells, (uint32_t)cell, to);
}

/// The median of `count` values, of about 20,000 of them where there are more; NaN with `error` filled where memory is
/// short.
double rlv_median_of(size_t count, const float* value, rlv_error* error);

#endif
