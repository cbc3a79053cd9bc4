#include "rejoining.h"

#include "rejoin_parts.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static void error_of(double error[6], const rlv_pose* pose, const rlv_pose* truth)
{
    const rlv_pose back = rlv_pose_inverse(truth);
    const rlv_vec3 t = rlv_vec3_sub(rlv_pose_apply(pose, rlv_pose_apply(&back, pose->centre_mm)), pose->centre_mm),
                   w = rlv_rotation_to_vector(rlv_mat3_multiply(pose->rotation, rlv_mat3_transpose(truth->rotation)));
    const double parts[6] = {t.x, t.y, t.z, w.x, w.y, w.z};
    memcpy(error, parts, sizeof parts);
}

void rejoining_apart(const rlv_pose* pose, const rlv_pose* truth, double* mm, double* deg)
{
    double e[6];
    error_of(e, pose, truth);
    *mm = sqrt(e[0] * e[0] + e[1] * e[1] + e[2] * e[2]);
    *deg = sqrt(e[3] * e[3] + e[4] * e[4] + e[5] * e[5]) * 180.0 / M_PI;
}

double rejoining_chi2(const rlv_pose* pose, const rlv_pose* truth)
{
    double e[6], c[36], sum = 0.0;
    error_of(e, pose, truth);
    for (int i = 0; i < 36; i++)
        c[i] = pose->covariance[7 * (i / 6) + i % 6];
    gsl_matrix_view m = gsl_matrix_view_array(c, 6, 6);
    double x[6];
    memcpy(x, e, sizeof x);
    gsl_vector_view v = gsl_vector_view_array(x, 6);
    gsl_linalg_cholesky_decomp1(&m.matrix);
    gsl_linalg_cholesky_svx(&m.matrix, &v.vector);
    for (int i = 0; i < 6; i++)
        sum += e[i] * x[i];
    return sum;
}

double rejoining_seconds(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/// The 95 % width of the true parts in the true place, over what is face with the stage from before, or without it.
static double true_p95(const breaking* made, bool with_before)
{
    rlv_error error = {0};
    const rlv_rejoin_input input = {.block = &made->true_block,
                                    .piece = &made->true_piece,
                                    .before = with_before ? &made->before : NULL,
                                    .block_in_before = with_before ? &made->from_block : NULL};
    rlv_rejoin_gap gap;
    if (rlv_rejoin_gap_at(&gap, &input, &made->closed, &error) != RLV_DONE)
    {
        fprintf(stderr, "the true gap could not be measured: %s\n", error.what);
        exit(EXIT_FAILURE);
    }
    return gap.p95_mm.value;
}

rejoining rejoining_try(const breaking_plan* plan, bool with_before)
{
    breaking made = breaking_make(plan, true);
    rejoining out = {.true_gap_mm3 = made.gap_mm3, .plan_mm2 = made.plan_mm2};
    rlv_rejoin rejoin = {0};
    rlv_error error = {0};
    const rlv_rejoin_input input = {
        .block = &made.block, .piece = &made.piece, .before = with_before ? &made.before : NULL, .seed = plan->seed};
    const double start = rejoining_seconds();
    out.status = rlv_rejoin_measure(&rejoin, &input, &error);
    out.seconds = rejoining_seconds() - start;
    out.verdict = rejoin.verdict;
    out.fit = rejoin.fit;
    out.found_known = rejoin.found_known;
    if (out.status == RLV_DONE)
    {
        rejoining_apart(&rejoin.closed, &made.closed, &out.closed_mm, &out.closed_deg);
        out.closed_chi2 = rejoining_chi2(&rejoin.closed, &made.closed);
        out.gap_mm3 = rejoin.gap_after.volume_mm3;
        out.p95_mm = rejoin.gap_after.p95_mm;
        out.true_p95_mm = true_p95(&made, with_before);
    }
    if (out.status == RLV_DONE && out.found_known)
    {
        rejoining_apart(&rejoin.found, &made.as_found, &out.found_mm, &out.found_deg);
        out.found_chi2 = rejoining_chi2(&rejoin.found, &made.as_found);
    }
    rlv_rejoin_free(&rejoin);
    breaking_free(&made);
    return out;
}

static int rising(const void* a, const void* b)
{
    const double x = *(const double*)a, y = *(const double*)b;
    return (x > y) - (x < y);
}

double rejoining_quantile(double* list, int count, double share)
{
    qsort(list, (size_t)count, sizeof *list, rising);
    const int at = (int)(share * count);
    return count > 0 ? list[at < count ? at : count - 1] : NAN;
}

void rejoining_bend(rlv_mesh* mesh, const rlv_pose* place, const rlv_rejoin* one, const rlv_rejoin* two, double deg)
{
    const rlv_vec3 axis = rlv_vec3_unit(rlv_vec3_cross(one->joint_normal, two->joint_normal));
    // The place on both planes nearest to the first joint's middle, along that plane.
    const rlv_vec3 along = rlv_vec3_unit(rlv_vec3_cross(axis, one->joint_normal));
    const double far = rlv_vec3_dot(rlv_vec3_sub(two->joint_mm, one->joint_mm), two->joint_normal) /
                       rlv_vec3_dot(along, two->joint_normal);
    const rlv_vec3 at = rlv_vec3_along(one->joint_mm, far, along);
    const rlv_vec3 first = rlv_vec3_unit(rlv_vec3_sub(one->joint_mm, at)), across = rlv_vec3_cross(axis, first);
    const rlv_vec3 other = rlv_vec3_sub(two->joint_mm, at);
    const double whole = atan2(rlv_vec3_dot(other, across), rlv_vec3_dot(other, first));
    const rlv_pose back = rlv_pose_inverse(place);
    for (size_t v = 0; v < mesh->vertex_count; v++)
    {
        const rlv_vec3 arm = rlv_vec3_sub(rlv_pose_apply(place, rlv_mesh_vertex(mesh, v)), at);
        const double share = atan2(rlv_vec3_dot(arm, across), rlv_vec3_dot(arm, first)) / whole,
                     t = fmin(1.0, fmax(0.0, (share - 0.25) / 0.5));
        const rlv_mat3 turn =
            rlv_rotation_from_vector(rlv_vec3_scale(axis, t * t * (3.0 - 2.0 * t) * deg * M_PI / 180.0));
        const rlv_vec3 to =
            rlv_vec3_sub(rlv_pose_apply(&back, rlv_vec3_add(at, rlv_mat3_apply(turn, arm))), mesh->origin_mm);
        float* position = mesh->position_mm + 3 * v;
        position[0] = (float)to.x, position[1] = (float)to.y, position[2] = (float)to.z;
    }
}
