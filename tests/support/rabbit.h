/// The scanned rabbit: npm package `bunny` (public domain; the Stanford rabbit, thinned), fetched by tests/run.sh. An
/// open scan of some thousand triangles, taken at ten millimetres to its unit.

#ifndef RLV_TESTS_RABBIT_H
#define RLV_TESTS_RABBIT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/// Read it, in mm: 3 * points positions and 3 * cells corners, which the caller frees. RLV_OUTSIDE names the folder
/// that run.sh filled. False where it is not there.
bool rabbit_read(double** position, size_t* points, uint32_t** corner, size_t* cells);

#endif
