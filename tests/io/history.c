#include "history_parts.h"

#include <criterion/criterion.h>
#include <gsl/gsl_blas.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>

enum
{
    MOST = 700,
};

/// A block's surface in patches: places, outward normals.
typedef struct surface
{
    size_t count;
    rlv_vec3 at[MOST], normal[MOST];
} surface;

/// Half lengths of a block of 350 x 250 x 120 mm.
static const double HALF_MM[3] = {175.0, 125.0, 60.0};

static void make_box(surface* s)
{
    const double side = 25.0;
    s->count = 0;
    for (int face = 0; face < 6; face++)
    {
        const int n = face / 2, u = (n + 1) % 3, v = (n + 2) % 3;
        for (double a = -HALF_MM[u] + side / 2; a < HALF_MM[u]; a += side)
            for (double b = -HALF_MM[v] + side / 2; b < HALF_MM[v]; b += side)
            {
                double at[3], normal[3] = {0};
                at[n] = face % 2 ? HALF_MM[n] : -HALF_MM[n];
                at[u] = a, at[v] = b;
                normal[n] = face % 2 ? 1.0 : -1.0;
                s->at[s->count] = rlv_vec3_of(at[0], at[1], at[2]);
                s->normal[s->count++] = rlv_vec3_of(normal[0], normal[1], normal[2]);
            }
    }
}

/// The 6 x count matrix by which least squares makes a motion of depths on the patches with `in` set; turns times the
/// block's half length, so that all is in mm.
static gsl_matrix* solver_of(const surface* s, const bool* in)
{
    gsl_matrix *a = gsl_matrix_calloc(s->count, 6), *p = gsl_matrix_alloc(6, s->count),
               *normal = gsl_matrix_alloc(6, 6);
    for (size_t i = 0; i < s->count; i++)
    {
        const rlv_vec3 turn = rlv_vec3_scale(rlv_vec3_cross(s->at[i], s->normal[i]), 1.0 / HALF_MM[0]);
        const double row[6] = {s->normal[i].x, s->normal[i].y, s->normal[i].z, turn.x, turn.y, turn.z};
        for (size_t k = 0; k < 6; k++)
            gsl_matrix_set(a, i, k, in[i] ? row[k] : 0.0);
    }
    gsl_blas_dgemm(CblasTrans, CblasNoTrans, 1.0, a, a, 0.0, normal);
    gsl_linalg_cholesky_decomp1(normal);
    gsl_linalg_cholesky_invert(normal);
    gsl_blas_dgemm(CblasNoTrans, CblasTrans, 1.0, normal, a, 0.0, p);
    gsl_matrix_free(a);
    gsl_matrix_free(normal);
    return p;
}

/// The trace of p C p', with C that of a warp of independent Gaussian components.
static double spread_of(const surface* s, const gsl_matrix* p, double length_mm)
{
    double sum = 0.0;
    for (size_t i = 0; i < s->count; i++)
        for (size_t j = 0; j < s->count; j++)
        {
            const rlv_vec3 apart = rlv_vec3_sub(s->at[i], s->at[j]);
            const double c = rlv_vec3_dot(s->normal[i], s->normal[j]) *
                             exp(-rlv_vec3_dot(apart, apart) / (2.0 * length_mm * length_mm));
            for (size_t k = 0; k < 6; k++)
                sum += c * gsl_matrix_get(p, k, i) * gsl_matrix_get(p, k, j);
        }
    return sum;
}

/// The trace of the difference of two.
static double spread_between(const surface* s, const gsl_matrix* p, const gsl_matrix* q, double length_mm)
{
    gsl_matrix* off = gsl_matrix_alloc(6, s->count);
    gsl_matrix_memcpy(off, p);
    gsl_matrix_sub(off, q);
    const double spread = spread_of(s, off, length_mm);
    gsl_matrix_free(off);
    return spread;
}

Test(history, a_loop_closes_to_what_its_edges_have_to_themselves)
{
    // The bound goes by area; an end left out bears more on a turn than its area. Of warp of 40 mm the loop is off by
    // 1.25 of it (measured here), longer warp by less and less.
    //
    // Three stages: of the upper half one end was taken off before the second, the other before the third. Each
    // stage's warp enters the loop as the difference of what its two edges make of it. It is as long as a misfit can
    // tell it on such a block.
    static surface s;
    bool still[3][MOST];
    make_box(&s);
    for (int cut = 0; cut < 2; cut++)
    {
        gsl_matrix* p[3];
        double own[3];
        for (int e = 0; e < 3; e++)
        {
            size_t count = 0;
            for (size_t i = 0; i < s.count; i++)
            {
                const double beyond = 100.0 - 60.0 * cut;
                const bool first = s.at[i].z > 0.0 && s.at[i].x > beyond,
                           second = s.at[i].z > 0.0 && s.at[i].x < -beyond;
                still[e][i] = !(first && e != 1) && !(second && e != 0);
                count += still[e][i];
            }
            p[e] = solver_of(&s, still[e]);
            const history_edge edge = {.alignment = {.pose = {.covariance = {1.0}, .scale = 1.0},
                                                     .stable_fraction = (double)count / (double)s.count}};
            own[e] = history_graph_edge(&edge, 1e9).own_covariance[0] - 0.0009;
        }
        for (double length = 40.0; length < 400.0; length *= 2.0)
        {
            const double truly = spread_between(&s, p[0], p[1], length) + spread_between(&s, p[1], p[2], length) +
                                 spread_between(&s, p[2], p[0], length);
            double told = 0.0, whole = 0.0;
            for (int e = 0; e < 3; e++)
            {
                const double both = 2.0 * spread_of(&s, p[e], length); // of the edge's two stages
                told += own[e] * both;
                whole += both;
            }
            cr_log_info("cut %d, warp of %3.0f mm: %.4f told %.4f whole %.4f", cut, length, truly, told, whole);
            cr_expect_lt(truly, (length < 80.0 ? 1.3 : 1.0) * told, "cut %d, warp of %.0f mm: %.4f told %.4f", cut,
                         length, truly, told);
            cr_expect_lt(truly, 0.5 * whole, "the edges' whole covariances excuse twice as much and more");
        }
        for (int e = 0; e < 3; e++)
            gsl_matrix_free(p[e]);
    }
}

Test(history, an_edges_own_covariance_is_settling_and_what_it_does_not_look_at)
{
    history_edge edge = {.into = 1, .from = 2, .alignment = {.pose = rlv_pose_identity(), .stable_fraction = 0.75}};
    double* c = edge.alignment.pose.covariance;
    c[0] = c[8] = c[16] = 0.04;
    c[24] = c[32] = c[40] = 1e-6;
    c[1] = c[7] = 0.01;
    rlv_stage_edge e = history_graph_edge(&edge, 200.0);
    cr_expect(e.into == 1 && e.from == 2 && e.scale_prior_sd == 0.0);
    cr_expect_float_eq(e.pose.covariance[0], 0.04 + 0.0009, 1e-12);
    cr_expect_float_eq(e.own_covariance[0], 0.005 + 0.0009, 1e-12);
    cr_expect_float_eq(e.own_covariance[1], 0.00125, 1e-12);
    cr_expect_float_eq(e.own_covariance[24], 0.125e-6 + pow(0.03 / 200.0, 2), 1e-15);
    cr_expect(e.pose.covariance[48] == 0.0 && e.own_covariance[48] == 0.0, "scale is certain");
    // Scale: as unsure as warp makes it, the root of 3 * 0.04 mm2 over the reach.
    c[48] = 1e-8;
    e = history_graph_edge(&edge, 200.0);
    const double settled = pow(0.03 / 200.0, 2);
    cr_expect_float_eq(e.pose.covariance[48], 1e-8 + 0.12 / 40000.0 + settled, 1e-15);
    cr_expect_float_eq(e.own_covariance[48], 0.125 * (1e-8 + 0.12 / 40000.0) + settled, 1e-15);
}

Test(history, what_is_left_between_tie_points_is_told_and_one_that_is_far_off_is_improbable)
{
    static char s1[] = "s1", s2[] = "s2", block[] = "block", rim[] = "rim", name[4][2] = {"a", "b", "c", "d"};
    rlv_point_record point[8];
    size_t order[8];
    // Half of a mm apart along one direction or another: with an sd of 0.3 mm on both stages chi-square is 4 * 0.25 /
    // 0.18 = 5.56 with 12 degrees of freedom, p 0.937.
    const double off[4][3] = {{0.5, 0, 0}, {0, 0.5, 0}, {0, 0, 0.5}, {-0.5, 0, 0}};
    for (size_t i = 0; i < 8; i++)
    {
        const size_t n = i % 4;
        point[i] = (rlv_point_record){.stage = i < 4 ? s1 : s2, .mesh = block, .object = rim, .point = name[n]};
        for (size_t k = 0; k < 3; k++)
            point[i].at[k] = 10.0 * (double)((n + k) % 4) + (i < 4 ? 0.0 : off[n][k]);
        order[i] = i;
    }
    const rlv_specimen specimen = {.point_count = 8, .point = point, .point_order = order};
    const rlv_stage_record record[2] = {{.id = s1}, {.id = s2}};
    history_stage stage[2] = {{.record = &record[0], .mm_per_unit = 1.0}, {.record = &record[1], .mm_per_unit = 1.0}};
    const rlv_history history = {.specimen = &specimen, .stage_count = 2, .stage = stage};
    history_edge edge = {.into = 0, .from = 1, .alignment = {.pose = rlv_pose_identity()}};
    history_ties ties = history_measure_ties(&history, &edge);
    cr_expect_eq(ties.count, 4);
    cr_expect_float_eq(ties.rms_mm, 0.5, 1e-12);
    cr_expect_float_eq(ties.most_mm, 0.5, 1e-12);
    cr_expect_float_eq(ties.p, 0.937, 0.001);
    // Two names changed over on one stage: 10 mm and more.
    point[4].point = name[1];
    point[5].point = name[0];
    ties = history_measure_ties(&history, &edge);
    cr_expect_gt(ties.most_mm, 10.0);
    cr_expect_lt(ties.p, 1e-6);
    // What the scans leave between surfaces that held still, or the pose itself may be off by there, excuses it.
    edge.alignment.rms_mm = 20.0;
    cr_expect_gt(history_measure_ties(&history, &edge).p, 0.5);
    edge.alignment.rms_mm = 0.0;
    for (int i = 0; i < 3; i++)
        edge.alignment.pose.covariance[8 * i] = 400.0;
    cr_expect_gt(history_measure_ties(&history, &edge).p, 0.5);
}
