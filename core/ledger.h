/// Sums of a specimen's life: what went and came at each step and in all, in millilitres and grams, the balance of what
/// was weighed, the preparator's own rates, and the hours that a volume would take at them. It adds up and compares; it
/// recommends nothing.
///
/// Errors are carried to first order (Evaluation of measurement data: Guide to the expression of uncertainty in
/// measurement, JCGM 100:2008, section 5). An interval's two halves are carried each by itself, so that a lopsided one
/// stays so; half a 95 % interval is 1.96 sd. Grams are volume times density: with relative errors a and b the product
/// is off by a + b, and a b is left out (at 10 % each, 1 %). A density's error is one error in all steps, so that grams
/// in all are volume in all times density, not a sum of steps in quadrature.
///
/// What neighbouring steps share. The scan that is step k's AFTER is step k + 1's BEFORE. Where both steps took from
/// one place, its error enters the two volumes with opposite signs and falls out of their sum; where they did not,
/// noise is independent and long warp has mostly opposite signs again. Halves are therefore added in quadrature, which
/// does not tell less than that.
///
/// Scale. A step's volume is measured at the scale of its own stage BEFORE: a relative error of e makes it 3 e larger.
/// What a person's points on the bars are off by is that stage's own, and independent from step to step; what the bars'
/// certificates are off by (or a scanner, where its scale's sd was given) is one error in all steps. That part is taken
/// out of each half, added up linearly, and put back in quadrature.
///
/// Bounds. What lies below the detection limit is no error: it can only add, and what lies just below it in every step
/// lies so in all of them. So what an upper end allows for it is taken out of the half, and bounds are added up
/// linearly.
///
/// Balances are sums of masses that were weighed independently, their variances added. Rock dries whether that is
/// recorded or not: where it is not, the mass balance leaves it out, and what is unexplained holds it. So much more
/// gone than accounted for contradicts nothing then.
///
/// Rates. A row of the record is a volume of matrix and the hours of each tool that went into it: V = sum(h r) + error,
/// with the variance of the measurement and t^2 per hour beside it, since no two hours are alike; the t that is told
/// makes the weighted misfit equal to its degrees of freedom, or is 0 where it is smaller already (R. C. Paule, J.
/// Mandel, Consensus values and weighting factors, J. Res. NBS 87, 1982). A tool whose rate the rows do not determine
/// (it was only ever used in step with another) is found by the singular values of the hours and given none. No rate is
/// below 0: where least squares says so, it is done again with bounds (C. L. Lawson, R. J. Hanson, Solving Least
/// Squares Problems, 1974, chapter 23). Intervals do not trust the one t: they are those of the normal answers for
/// every t, weighted by the restricted likelihood and Jeffreys' prior (G. E. P. Box, G. C. Tiao, Bayesian Inference in
/// Statistical Analysis, 1973), with no scatter at all given a prior weight of one. Where all variance is scatter that
/// is Student's t with rows - rank degrees of freedom. Simulated with one tool and 3 to 12 rows, intervals held 95 % of
/// truths where scatter outweighs the measurement and more, on three to five rows nearly all, where it is too small to
/// be seen; with the one t instead they held 91 % where the two are alike.
///
/// Hours left are a volume over a rate, both uncertain: their interval is E. C. Fieller's (Some problems in interval
/// estimation, J. R. Stat. Soc. B 16, 1954), with the halves of both intervals for his multiples of the sds. It has no
/// upper end where the rate is not told apart from 0.

#ifndef RLV_LEDGER_H
#define RLV_LEDGER_H

#include "change.h"
#include "error.h"

#include <stdbool.h>

/// A density, or a mass. NaN: not known, not weighed. Both 0: there was nothing to weigh.
typedef struct rlv_density
{
    double g_cm3, sd_g_cm3;
} rlv_density;
typedef struct rlv_mass
{
    double grams, sd_g;
} rlv_mass;

/// What is on both scales together: sds in quadrature, and not weighed where either was not.
rlv_mass rlv_mass_add(rlv_mass a, rlv_mass b);

/// a + b and a - b of what was measured independently: each half of the interval in quadrature.
rlv_interval rlv_interval_add(rlv_interval a, rlv_interval b);
rlv_interval rlv_interval_less(rlv_interval a, rlv_interval b);

/// A share or a multiple of it: `factor`, which is exact and not negative, times the value and both ends.
rlv_interval rlv_interval_times(rlv_interval i, double factor);

/// One step, from one stage to the next.
typedef struct rlv_ledger_step
{
    rlv_interval volume_mm3[RLV_CHANGE_CLASSES]; ///< magnitudes; value NaN where not measured
    double unseen_mm3[RLV_CHANGE_CLASSES];       ///< what of the upper half is a bound on what lies below the detection
                                                 ///< limit
    double shared_scale_sd; ///< relative, of its scale: what all steps have in common; in the intervals already
    rlv_mass spoil;         ///< all its bags together
    bool spoil_damp;        ///< a bag was weighed damp: its water counts as spoil
    rlv_mass pieces_off;    ///< pieces that came off, weighed
    rlv_mass pieces_back;
    rlv_mass drying; ///< what the block lost by drying; NaN: not recorded, which leaves no gap in the balance
    rlv_mass resin;  ///< dry mass of treatments and fills that stayed
} rlv_ledger_step;

/// Terms of a balance, for what is missing.
typedef enum rlv_ledger_term
{
    RLV_TERM_BEFORE = 1,
    RLV_TERM_AFTER = 2,
    RLV_TERM_SPOIL = 4,
    RLV_TERM_PIECES_OFF = 8,
    RLV_TERM_PIECES_BACK = 16,
    RLV_TERM_RESIN = 32,
    RLV_TERM_VOLUME = 64,   ///< of matrix or bone
    RLV_TERM_DENSITY = 128, ///< of matrix or bone
} rlv_ledger_term;

/// A balance of grams: what one side says less what the other does.
typedef struct rlv_balance
{
    bool closed;                ///< nothing is missing. Else all numbers here are NaN
    unsigned missing;           ///< rlv_ledger_term, or-ed
    char missing_words[160];    ///< the same in words; empty where nothing is
    double left_g, right_g;     ///< the two sides
    rlv_interval unexplained_g; ///< left - right
    bool within;                ///< 0 lies in that interval, or below it where drying may be what is unexplained
    bool damp;                  ///< spoil was damp: water is in its mass
    bool holds_drying; ///< drying was not recorded (in a sum: in one of its steps): it is in what is unexplained
} rlv_balance;

/// What the mass balance is made of, as it was weighed. NaN: not weighed, or none of the drying recorded, which the
/// balance takes for 0. The interval of what is unexplained is 1.96 of all their sds in quadrature.
typedef struct rlv_weighed
{
    rlv_mass before, after;           ///< the block
    rlv_mass spoil, off, back, resin; ///< off, back: pieces
    rlv_mass drying;                  ///< as much as is recorded
} rlv_weighed;

/// One step, or all up to one.
typedef struct rlv_ledger_row
{
    rlv_interval ml[RLV_CHANGE_CLASSES]; ///< NaN where not measured (in a sum: in one of its steps)
    rlv_interval g[RLV_CHANGE_CLASSES];  ///< NaN where the volume or the density is not known
    rlv_weighed weighed;
    rlv_balance mass;  ///< block before - after (left) = spoil + pieces off - pieces back + drying - resin (right)
    rlv_balance spoil; ///< matrix and bone, measured times density (left) = spoil as weighed (right)
} rlv_ledger_row;

typedef struct rlv_ledger_input
{
    size_t step_count;
    const rlv_ledger_step* step; ///< step_count
    const rlv_mass* block;       ///< the block at each stage: step_count + 1. NULL: never weighed
    rlv_density density[RLV_CHANGE_CLASSES];
} rlv_ledger_input;

/// Sum up: `step` and `cumulative` get step_count rows each, the last of `cumulative` is all. RLV_BAD_INPUT where there
/// is no step, an interval does not hold its value, or an sd is negative or missing; the error names the step, from 1.
rlv_status rlv_ledger_sum(rlv_ledger_row* step, rlv_ledger_row* cumulative, const rlv_ledger_input* input,
                          rlv_error* error);

/// The rate of one tool.
typedef struct rlv_rate
{
    bool determined;          ///< the rows say it. Else all numbers are NaN
    bool at_bound;            ///< least squares would have it below 0, and it is told as 0
    rlv_interval ml_per_h;    ///< with its 95 % interval, none of it below 0
    double low_half_ml_per_h; ///< the interval's halves, as if rates could be below 0
    double high_half_ml_per_h;
} rlv_rate;

typedef struct rlv_rates
{
    size_t rows_used;     ///< rows with a volume and hours
    size_t rank;          ///< how many rates the rows can tell
    double scatter_ml;    ///< t: sd of what one hour takes, beside the measurement
    bool scatter_known;   ///< there were degrees of freedom to tell it. Else intervals hold measurement alone
    double chi_square, p; ///< misfit against measurement alone, with rows_used - rank degrees of freedom; NaN without
} rlv_rates;

/// The rates of `tool_count` tools (`rate`, one each) from `row_count` rows: a volume of matrix each, value NaN where
/// not measured, and row_count * tool_count hours, row by row. A row without hours is not used. For the rate of all
/// work together give one tool and each row's hours in all. RLV_BAD_INPUT where hours are negative or not finite or an
/// interval does not hold its value. Done, with every rate undetermined, where no row can be used.
rlv_status rlv_ledger_rates(rlv_rates* rates, rlv_rate* rate, size_t row_count, size_t tool_count,
                            const rlv_interval* volume_mm3, const double* hours, rlv_error* error);

/// Hours that a volume takes at a rate. `high` is INFINITY where the rate is not told apart from 0; all NaN where the
/// rate or the volume is not known.
rlv_interval rlv_ledger_hours(const rlv_rate* rate, rlv_interval volume_mm3);

#endif
