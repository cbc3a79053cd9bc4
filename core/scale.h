/// The scale of a stage from its scale bars: how many millimetres one unit of its mesh is, and how sure that is.
///
/// A bar of certified length L measures m in the mesh's own unit, with k units to the millimetre: m = k L + an error of
/// sd k s, where s^2 is the sum of the variances along the bar of its two end points and of its certificate, in mm.
/// Weighted least squares through the origin gives k = sum(w L m) / sum(w L^2) with w = 1 / s^2. Since the sds are in
/// millimetres, the unknown scale multiplies all weights alike: it drops out of k, and nothing need be iterated. The
/// relative sd, 1 / sqrt(sum(w L^2)), does not depend on it either. Taking the certified lengths as the regressor, not
/// the measured ones, avoids the attenuation of a noisy regressor (W. A. Fuller, Measurement Error Models, 1987); that
/// of the certificates' own errors, (sd / L)^2, is left. What the points' errors across a bar add to its length is of
/// the same small order.
///
/// Chi-square is taken against the sds as they were given. Where its p-value is below 0.05 the sds are too small for
/// what the bars do, and the scale's sd is multiplied by the Birge ratio, sqrt(chi-square / degrees of freedom) (R. T.
/// Birge, The calculation of errors by the method of least squares, Phys. Rev. 40, 1932).
///
/// A bar raises the alarm where it lies farther from what the others say (leave-one-out: its residual over that
/// residual's own sd) than one of as many good bars does in 5 % of cases (two-sided, Bonferroni). The farthest is
/// tested first and, where it alarms, laid aside before the next is tested among the rest, so that one bad bar does not
/// accuse good ones. Of two bars, which make one test, none can say which is wrong: both alarm. One bar cannot be
/// tested. A bar that alarms is not left out of the scale; what the scale would be without it is told beside it.

#ifndef RLV_SCALE_H
#define RLV_SCALE_H

#include "error.h"

#include <stdbool.h>

/// The sd of a point that a person placed, along any one direction, where none is given (from memory).
#define RLV_SCALE_POINT_SD_MM 0.3

/// Level of every test here: of chi-square before the sd is inflated, and of an alarm.
#define RLV_SCALE_LEVEL 0.05

typedef struct rlv_scale_bar
{
    double measured_units;  ///< between its two points, in the mesh's own unit
    double point_sd_mm[2];  ///< of each point, along the bar; NaN where not given: RLV_SCALE_POINT_SD_MM
    double certified_mm;    ///< its length
    double certified_sd_mm; ///< 0: exact
} rlv_scale_bar;

/// What one bar has to say.
typedef struct rlv_scale_residual
{
    double residual_mm; ///< measured at the scale found, less certified
    double sd_mm;       ///< of the bar: its points and its certificate, before any inflation
    double sds;         ///< the residual over its own sd (leave-one-out); NaN for a single bar
    bool alarm;         ///< does not fit the others: see above
    bool default_sd;    ///< a point's sd was not given
} rlv_scale_residual;

typedef struct rlv_scale
{
    double mm_per_unit;
    double relative_sd;         ///< of mm_per_unit, and of its log; inflated where `inflated`
    double certificate_sd;      ///< the part of it that the certificates make, uninflated: the same bars have it again
    double chi_square;          ///< of the residuals, with bars - 1 degrees of freedom; NaN for a single bar
    double p;                   ///< of as much or more, were the sds right; NaN for a single bar
    double birge_ratio;         ///< sqrt(chi-square / degrees of freedom); NaN for a single bar
    bool inflated;              ///< relative_sd has been multiplied by birge_ratio
    size_t alarms;              ///< bars that alarm
    double mm_per_unit_without; ///< without the bars that alarm; NaN where all do. The same where none does
    double relative_sd_without; ///< its sd, inflated by the rest's own Birge ratio where their p is below 0.05
} rlv_scale;

/// The scale from `count` bars; `residual` gets one a bar. RLV_BAD_INPUT where there is no bar, or a length is not a
/// positive number, or an sd is negative or not finite, or a bar has no uncertainty at all; the error names the bar by
/// its place, from 1.
rlv_status rlv_scale_from_bars(rlv_scale* scale, rlv_scale_residual* residual, size_t count, const rlv_scale_bar* bar,
                               rlv_error* error);

#endif
