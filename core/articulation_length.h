/// Length of a vector of one to three parts that was measured with normal errors: an estimate, and an interval.
///
/// A measured length is too long on the mean, the more so the shorter the vector is: of nothing something is measured.
/// Both ends and the estimate therefore come from one distribution, the non-central chi. The interval is that of
/// likelihood ratios (G. J. Feldman, R. D. Cousins, Unified approach to the classical statistical analysis of small
/// signals, Phys. Rev. D 57, 1998): for each true length, the measured ones of the greatest ratio to the best true
/// length for them are accepted, up to 95 %. It begins at 0 where nothing may be there, is never empty, and always
/// holds the estimate, which is that best true length (the greatest marginal likelihood): 0 up to the root of the parts
/// in sds.
///
/// Errors that are not alike in all directions: the square of a measured length is too long by the sum of all
/// variances, of which the distribution knows only that along the vector, as often as it has parts. The rest is taken
/// off, and what it scatters is added to the sd. Where that leaves 0 in the interval, though a test of each part in its
/// own sds (chi-square, or F) rejects 0 at 5 %, the interval begins at the least length that is so many sds off: so
/// that none holds 0 of what a test says is not there. (To widen the intervals of what was selected by the share of
/// tests that reject, after Y. Benjamini, D. Yekutieli, J. Am. Statist. Assoc. 100, 2005, would not mend that: the
/// tests are of all parts, and the plain interval of a length is not theirs turned round.)

#ifndef RLV_ARTICULATION_LENGTH_H
#define RLV_ARTICULATION_LENGTH_H

#include "interval.h"

enum
{
    RLV_LENGTH_PARTS = 3,
    RLV_LENGTH_STEPS = 100, ///< of a true length, up to RLV_LENGTH_FAR
};

/// True length in sds from which the distribution is normal, to a hundredth of the sd.
#define RLV_LENGTH_FAR 10.0

/// What is accepted of measured lengths, at even steps of the true one; in sds.
typedef struct rlv_length_table
{
    double from[RLV_LENGTH_PARTS][RLV_LENGTH_STEPS + 1];
    double to[RLV_LENGTH_PARTS][RLV_LENGTH_STEPS + 1];
} rlv_length_table;

/// Lay the table; some milliseconds.
void rlv_length_lay(rlv_length_table* table);

/// Length of a vector of 1 to 3 `parts` that were measured as `off` with independent errors of the variances given;
/// 95 %. `widen` multiplies all sds.
rlv_interval rlv_length_of(const rlv_length_table* table, int parts, const double* off, const double* variance,
                           double widen);

#endif
