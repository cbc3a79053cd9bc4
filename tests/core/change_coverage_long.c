/// The coverage simulation: 2,000 draws of a block, a cut, noise, slow warp and scale, from alignment in any attitude
/// to the interval. Trials run side by side, one thread each. What is printed is the table by depth of cut.

#include "change.h"
#include "support/carving.h"
#include "support/ellipsoid.h"
#include "support/scene.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum
{
    TRIALS = 2000,
    STRATA = 5,
};

static const double stratum_mm[STRATA + 1] = {0.5, 1.0, 2.0, 5.0, 12.0, 40.0};

typedef struct outcome
{
    int stratum;
    bool measured, found, inside;
    double bias;      ///< share of the truth
    bool pose_inside; ///< the true pose lies within the told one's 95 % ellipsoid
} outcome;

/// Whether the truth lies within the 95 % ellipsoid of a pose with free scale (seven degrees of freedom: 14.067).
static bool holds_pose(const rlv_pose* pose, const rlv_pose* truth)
{
    const rlv_pose away = rlv_pose_inverse(truth), off = rlv_pose_compose(pose, &away);
    const rlv_vec3 turn = rlv_rotation_to_vector(off.rotation);
    const rlv_vec3 shift = rlv_vec3_sub(rlv_pose_apply(&off, pose->centre_mm), pose->centre_mm);
    const double delta[7] = {shift.x, shift.y, shift.z, turn.x, turn.y, turn.z, log(off.scale)};
    return ellipsoid_distance(7, delta, pose->covariance) < 14.067;
}

static outcome try_one(uint64_t seed)
{
    carving_plan plan = carving_draw(seed, stratum_mm[0], 40000);
    plan.any_pose = true;
    carving c = carve(&plan);
    outcome o = {0};
    while (o.stratum + 1 < STRATA && plan.depth_mm >= stratum_mm[o.stratum + 1])
        o.stratum++;
    const rlv_change_options options = {
        .before_scale_sd = plan.scan.scale_sd, .after_scale_sd = plan.scan.scale_sd, .seed = seed};
    rlv_change change = {0};
    rlv_error error = {0};
    o.measured = rlv_change_measure(&change, &c.before, &c.after, &options, &error) == RLV_DONE;
    if (o.measured)
    {
        o.found = change.region_count > 0;
        o.inside = c.removed_mm3 >= change.went.volume_mm3.low && c.removed_mm3 <= change.went.volume_mm3.high;
        o.bias = change.went.volume_mm3.value / c.removed_mm3 - 1.0;
        o.pose_inside = holds_pose(&change.alignment.pose, &c.truth);
    }
    if (getenv("RLV_EACH") != NULL) // a line as each trial ends, so that a run that is cut short still tells something
    {
        printf("%llu depth %.2f truth %.1f told %.1f (%.1f %.1f) inside %d found %d pose %d measured %d\n",
               (unsigned long long)seed, plan.depth_mm, c.removed_mm3, change.went.volume_mm3.value,
               change.went.volume_mm3.low, change.went.volume_mm3.high, o.inside, o.found, o.pose_inside, o.measured);
        fflush(stdout);
    }
    rlv_change_free(&change);
    carving_free(&c);
    return o;
}

Test(change_coverage, intervals_hold_the_truth_in_93_to_97_percent)
{
    static outcome out[TRIALS];
    const int trials = scene_trials(TRIALS);
#pragma omp parallel for schedule(dynamic, 1)
    for (int t = 0; t < trials; t++)
        out[t] = try_one(50000 + (uint64_t)t);
    int measured = 0, inside = 0;
    for (int s = 0; s < STRATA; s++)
    {
        int n = 0, m = 0, found = 0, in = 0, poses = 0;
        double bias = 0.0;
        for (int t = 0; t < trials; t++)
        {
            if (out[t].stratum != s)
                continue;
            n++;
            m += out[t].measured;
            found += out[t].found;
            in += out[t].inside;
            poses += out[t].pose_inside;
            bias += out[t].found ? out[t].bias : 0.0;
        }
        printf("cuts of %4.1f to %4.1f mm: %4d trials, %4d measured, %4d with a region, inside %5.1f %%, mean bias "
               "%+.2f %%, pose inside %5.1f %%\n",
               stratum_mm[s], stratum_mm[s + 1], n, m, found, m > 0 ? 100.0 * in / m : 0.0,
               found > 0 ? 100.0 * bias / found : 0.0, m > 0 ? 100.0 * poses / m : 0.0);
        measured += m;
        inside += in;
    }
    const double share = measured > 0 ? (double)inside / measured : 0.0;
    printf("all: inside %.1f %% of %d measured of %d\n", 100.0 * share, measured, trials);
    const double stray = trials < TRIALS ? 2.0 * sqrt(0.05 * 0.95 / trials) : 0.0;
    cr_expect(share >= 0.93 - stray && share <= 0.97 + stray, "inside in %.3f", share);
}
