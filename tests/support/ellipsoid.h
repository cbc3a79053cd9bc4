/// How far an estimate lies from the truth, in terms of the covariance that is told with it.

#ifndef RLV_TESTS_ELLIPSOID_H
#define RLV_TESTS_ELLIPSOID_H

#include <stddef.h>

/// d' C^-1 d of the first `count` (at most 7) of seven parameters; `covariance` is 7 x 7, row-major, as a pose has it.
/// Where the covariance is right it is chi-squared with `count` degrees of freedom.
double ellipsoid_distance(size_t count, const double off[7], const double covariance[49]);

#endif
