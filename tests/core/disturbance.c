/// Tests of the sums of a disturbed skeleton: a straight carcass of two rows whose elements are carried off one by one,
/// as articulation would tell it; and, at the end, an animal that articulation was fitted to.

#include "disturbance.h"

#include "noise.h"
#include "pose.h"
#include "scan.h"
#include "support/skeleton.h"

#include <criterion/criterion.h>
#include <float.h>
#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <string.h>

enum
{
    TRIALS = 2000,
    ELEMENTS = 40,
    POINTS = 101,
    STEP_MM = 4,
    FREEDOM = 60,
};

#define DEG (M_PI / 180.0)

/// Life positions lie along x, 20 mm apart, row 0 on the animal's left (+y); up is z, and north is y.
typedef struct carcass
{
    rlv_articulation told;
    rlv_articulated element[ELEMENTS];
    rlv_placed_element placed[ELEMENTS];
    rlv_articulation_group group[2];
    rlv_vec3 at_mm[POINTS], along[POINTS];
} carcass;

static carcass c;

static const rlv_vec3 up = {0.0, 0.0, 1.0}, north = {0.0, 1.0, 0.0}, nothing = {0.0, 0.0, 0.0};

static void put_variances(double covariance[9], double x, double y, double z)
{
    const double variance[3] = {x, y, z};
    for (int k = 0; k < 9; k++)
        covariance[k] = k % 4 == 0 ? variance[k / 4] : 0.0;
}

/// How surely an element's life position and its place are known, sds along x, y and z; half of the variance is each's.
static void put_sds(size_t i, double x, double y, double z)
{
    put_variances(c.element[i].life_cov_mm2, 0.5 * x * x, 0.5 * y * y, 0.5 * z * z);
    put_variances(c.placed[i].element.position_cov_mm2, 0.5 * x * x, 0.5 * y * y, 0.5 * z * z);
}

static void put_place(size_t i, rlv_vec3 at)
{
    c.placed[i].element.position_mm[0] = at.x;
    c.placed[i].element.position_mm[1] = at.y;
    c.placed[i].element.position_mm[2] = at.z;
}

static void set_up(void)
{
    c = (carcass){.told = {.count = ELEMENTS,
                           .row_count = 2,
                           .part_count = 4,
                           .freedom_along = FREEDOM,
                           .freedom_across = 2 * FREEDOM}};
    c.told.axis = (rlv_body_axis){.count = POINTS, .step_mm = STEP_MM, .at_mm = c.at_mm, .along = c.along};
    c.told.element = c.element;
    c.told.group = c.group;
    for (size_t i = 0; i < POINTS; i++)
    {
        c.at_mm[i] = rlv_vec3_of(STEP_MM * (double)i, 0.0, 0.0);
        c.along[i] = rlv_vec3_of(1.0, 0.0, 0.0);
    }
    for (size_t k = 0; k < 4; k++)
        c.told.part[k] = (rlv_articulation_part){.from_mm = 100.0 * (double)k, .to_mm = 100.0 * (double)(k + 1)};
    for (size_t i = 0; i < ELEMENTS; i++)
    {
        rlv_articulated* e = &c.element[i];
        e->place = (int)(i / 2);
        e->along_mm = 10.0 + 20.0 * (double)(i / 2);
        e->life_mm = rlv_vec3_of(e->along_mm, i % 2 == 0 ? 30.0 : -30.0, 0.0);
        e->body = rlv_mat3_identity();
        c.placed[i] = (rlv_placed_element){.row = i % 2, .place_low = e->place, .place_high = e->place};
        c.placed[i].element.known = RLV_ELEMENT_POLE | RLV_ELEMENT_FACE | RLV_ELEMENT_LONG | RLV_ELEMENT_FRONT;
        memcpy(c.placed[i].element.frame, rlv_mat3_identity().m, sizeof c.placed[i].element.frame);
        put_place(i, e->life_mm);
        put_sds(i, 1.0, 1.0, 1.0);
    }
}

TestSuite(disturbance, .init = set_up);

/// Carry an element off; its shift is told from 0 beyond three sds of the widest.
static void carry(size_t i, rlv_vec3 by)
{
    const double* cov = c.placed[i].element.position_cov_mm2;
    const double far = rlv_vec3_length(by), sd = sqrt(2.0 * fmax(cov[0], fmax(cov[4], cov[8])));
    put_place(i, rlv_vec3_add(c.element[i].life_mm, by));
    c.element[i].state = RLV_SHIFTED;
    c.element[i].motion.shift_mm = (rlv_interval){far, fmax(far - 3.0 * sd, 0.0), far + 2.0 * sd};
}

static rlv_vec3 toward(double azimuth_deg, double mm)
{
    return rlv_vec3_of(mm * sin(DEG * azimuth_deg), mm * cos(DEG * azimuth_deg), 0.0);
}

static rlv_disturbance summed(rlv_vec3 which_up, rlv_vec3 which_north)
{
    rlv_disturbance d = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_disturbance_of(&d, &c.told, c.placed, which_up, which_north, &error), RLV_DONE, "%s", error.what);
    return d;
}

/// A share of `TRIALS` near 95 % has an sd of 0.5 %: 93 to 97 % is four of them.
static void expect_coverage(const char* what, int inside)
{
    const double share = (double)inside / TRIALS;
    cr_log_info("%s: %.4f\n", what, share);
    cr_expect(share > 0.93 && share < 0.97, "%s: %.4f of %d", what, share, (int)TRIALS);
}

// --- against R -------------------------------------------------------------------------------------------------------

// The northern cricket frogs of R's package circular: what circular 0.4.95 makes of them, and p by Kluyver's integral,
// as tests/outside/directions.txt has them. Motions of 40 mm with an sd of a micron leave 1e-9 of trust.
Test(disturbance, motions_known_exactly_are_summed_up_as_r_circular_does)
{
    const double frog[] = {104, 110, 117, 121, 127, 130, 136, 145, 152, 178, 184, 192, 200, 316};
    for (size_t i = 0; i < 14; i++)
    {
        put_sds(i, 1e-3, 1e-3, 1e-3);
        carry(i, toward(frog[i], 40.0));
    }
    rlv_disturbance d = summed(up, north);
    const rlv_disturbance_level* told = &d.all.level;
    cr_expect_eq(told->count, 14);
    cr_expect_null(told->why);
    cr_expect_float_eq(told->trend_deg, 145.97440354969049, 1e-7);
    cr_expect_float_eq(told->resultant_share, 0.72519590441006787, 1e-9);
    cr_expect_float_eq(told->kappa, 2.1797890418802459, 1e-7);
    cr_expect_float_eq(told->uniform_p, 0.00022998425936593403, 1e-8);
    cr_expect_float_eq(rlv_vec3_dot(told->mean, toward(told->trend_deg, 1.0)), 1.0, 8 * DBL_EPSILON);
    rlv_disturbance_free(&d);
}

// --- a current, and none ---------------------------------------------------------------------------------------------

/// Five elements carried 10 to 40 mm, one way within 25 degrees, and measured.
static void let_current_run(scan_random* random, double azimuth_deg)
{
    set_up();
    for (size_t i = 0; i < 5; i++)
    {
        const double far = 10.0 + 30.0 * scan_random_unit(random),
                     way = azimuth_deg + 25.0 * (2.0 * scan_random_unit(random) - 1.0);
        rlv_vec3 by = toward(way, far);
        by.x += scan_random_normal(random), by.y += scan_random_normal(random), by.z += scan_random_normal(random);
        carry(7 * i, by);
    }
}

Test(disturbance, a_current_that_carried_five_is_told_with_its_direction)
{
    scan_random random = {noise_hash(21, 1)};
    int missed = 0, inside = 0, in_cone = 0;
    for (int trial = 0; trial < TRIALS; trial++)
    {
        const double way = 360.0 * scan_random_unit(&random);
        let_current_run(&random, way);
        rlv_disturbance d = summed(up, north);
        missed += !(d.all.level.uniform_p < 0.05) || !(d.all.space.mean.uniform_p < 0.05);
        inside += fabs(remainder(d.all.level.trend_deg - way, 360.0)) <= d.all.level.half_deg;
        in_cone += rlv_vec3_dot(d.all.space.mean.mean, toward(way, 1.0)) >= cos(DEG * d.all.space.cone_deg);
        rlv_disturbance_free(&d);
    }
    // All within 25 degrees have a resultant of 5 cos 25 = 4.53 at least, and the chance of that is 0.0075; errors of
    // 1 mm on 10 mm turn one by some degrees more, now and then.
    cr_expect_eq(missed, 0, "%d of %d", missed, (int)TRIALS);
    expect_coverage("the current's direction inside the interval", inside);
    expect_coverage("the current's direction inside the cone", in_cone);
}

Test(disturbance, a_scatter_every_way_raises_a_false_alarm_in_5_of_100)
{
    const size_t counts[] = {5, 9};
    for (size_t k = 0; k < 2; k++)
    {
        scan_random random = {noise_hash(22, k)};
        int quiet = 0;
        for (int trial = 0; trial < TRIALS; trial++)
        {
            set_up();
            for (size_t i = 0; i < counts[k]; i++)
            {
                // Row ends are known worse along the body: some directions there are good to 16 degrees only.
                const double sd = i % 3 == 0 ? 2.5 : 1.0;
                rlv_vec3 by = toward(360.0 * scan_random_unit(&random), 9.0 + 10.0 * scan_random_unit(&random));
                put_sds(i, sd, 1.0, 1.0);
                by.x += sd * scan_random_normal(&random);
                by.y += scan_random_normal(&random);
                by.z += 5.0 * scan_random_normal(&random);
                carry(i, by);
                c.element[i].motion.shift_mm.low = 1.0;
            }
            rlv_disturbance d = summed(up, north);
            quiet += !(d.all.level.uniform_p < 0.05);
            rlv_disturbance_free(&d);
        }
        expect_coverage("no alarm", quiet);
    }
}

// --- what counts -----------------------------------------------------------------------------------------------------

/// Let the elements of row 0 from place 2 to 9 be a stretch that slid by `mm` along the body, and lies so.
static void slide_a_stretch(double mm)
{
    for (size_t i = 4; i < 20; i += 2)
    {
        carry(i, rlv_vec3_of(mm, 0.0, 0.0));
        c.element[i].group = 1;
    }
    c.told.group_count = 1;
    const double half = gsl_cdf_tdist_Pinv(0.975, FREEDOM) * 0.5; // an sd of half a millimetre
    c.group[0] = (rlv_articulation_group){.row = 0,
                                          .count = 8,
                                          .first = 2,
                                          .last = 9,
                                          .motion = {.along_mm = {mm, mm - half, mm + half},
                                                     .across_mm = {0.0, -half, half},
                                                     .out_mm = {0.0, -half, half},
                                                     .shift_mm = {mm, mm - half, mm + half}}};
}

Test(disturbance, a_stretch_that_moved_together_is_one_motion)
{
    slide_a_stretch(6.0);
    rlv_disturbance d = summed(up, north);
    cr_assert_eq(d.motion_count, 1);
    cr_expect_eq(d.all.displaced, 8);
    cr_expect_eq(d.all.motions, 1);
    cr_expect_eq(d.all.level.count, 1);
    cr_expect_str_eq(d.all.level.why, "fewer than five");
    cr_expect(isnan(d.all.level.uniform_p) && isnan(d.all.level.mean.x) && isnan(d.all.space.mean.kappa));
    const rlv_disturbance_motion* m = &d.motion[0];
    cr_expect_eq(m->group, 1);
    cr_expect_eq(m->row, 0);
    cr_expect(c.element[m->element].place == 5 || c.element[m->element].place == 6);
    cr_expect_float_eq(m->motion_mm.x, 6.0, 16 * DBL_EPSILON);
    cr_expect_float_eq(m->trend_deg, 90.0, 1e-12);
    for (int k = 0; k < 9; k++)
        cr_expect_float_eq(m->covariance_mm2[k], k % 4 == 0 ? 0.25 : 0.0, 1e-12);
    cr_expect_float_eq(m->direction_sd_deg, 0.5 / 6.0 / DEG, 1e-9);
    // Carried unturned, they lie as the body does.
    cr_expect_eq(d.all.poles.tensor.count, 0);
    rlv_disturbance_free(&d);
}

Test(disturbance, what_only_turned_went_nowhere_but_lies_anew)
{
    for (size_t i = 0; i < 6; i++)
    {
        carry(i, rlv_vec3_of(1.0, 1.0, 0.0)); // natural scatter
        c.element[i].state = i < 3 ? RLV_ROTATED : RLV_INVERTED;
    }
    rlv_disturbance d = summed(up, north);
    cr_expect_eq(d.all.displaced, 6);
    cr_expect_eq(d.all.motions, 0);
    cr_expect_eq(d.all.poles.tensor.count, 6);
    cr_expect_null(d.all.poles.why);
    rlv_disturbance_free(&d);
}

Test(disturbance, what_sank_has_a_direction_in_space_and_none_in_the_level)
{
    for (size_t i = 0; i < 6; i++)
        carry(i, rlv_vec3_of(1.0, -1.0, -12.0));
    rlv_disturbance d = summed(up, north);
    cr_expect_eq(d.all.motions, 6);
    cr_expect_eq(d.all.level.count, 0);
    cr_expect_eq(d.motion[0].trust, 0.0);
    cr_expect_float_eq(d.all.space.trend.plunge_deg, atan2(12.0, sqrt(2.0)) / DEG, 1e-9);
    cr_expect_lt(d.all.space.mean.uniform_p, 1e-6);
    rlv_disturbance_free(&d);
}

// T2 of a motion of m sds is m^2, and has a direction beyond 2 F(0.95; 2, 60) = 6.30: m = 2.51.
Test(disturbance, a_direction_is_told_where_its_region_does_not_hold_zero_and_trusted_by_its_error)
{
    carry(0, toward(30.0, 2.5));
    carry(1, toward(30.0, 2.52));
    carry(2, toward(30.0, 20.0));
    for (size_t i = 0; i < 3; i++)
        c.element[i].motion.shift_mm.low = 1.0;
    put_sds(3, 4.0, 1.0, 1.0);
    carry(3, toward(90.0, 13.0)); // along x, where it is least sure: which way is known by the sd square to it
    rlv_disturbance d = summed(up, north);
    cr_assert_eq(d.motion_count, 4);
    cr_expect_eq(d.motion[0].trust, 0.0);
    cr_expect_float_eq(d.motion[1].trust, rlv_circle_trust(2.52), 1e-12);
    cr_expect_float_eq(d.motion[2].trust, rlv_circle_trust(20.0), 1e-12);
    cr_expect_float_eq(d.motion[3].trust, rlv_circle_trust(13.0), 1e-12);
    cr_expect_float_eq(d.motion[3].direction_sd_deg, 1.0 / 13.0 / DEG, 1e-9);
    cr_expect_eq(d.all.level.count, 3);
    rlv_disturbance_free(&d);
}

// Four sure ones north and south cancel; of two that go east and west, the surer has it.
Test(disturbance, the_surer_of_two_motions_weighs_more)
{
    for (size_t i = 0; i < 4; i++)
        carry(i, toward(180.0 * (double)(i % 2), 30.0));
    put_sds(4, 8.0, 8.0, 8.0);
    carry(4, toward(90.0, 30.0));
    carry(5, toward(270.0, 30.0));
    rlv_disturbance d = summed(up, north);
    const double weak = rlv_circle_trust(30.0 / 8.0), strong = rlv_circle_trust(30.0);
    cr_expect_float_eq(d.all.level.trend_deg, 270.0, 1e-9);
    cr_expect_float_eq(d.all.level.resultant_share, (strong - weak) / (5.0 * strong + weak), 1e-12);
    rlv_disturbance_free(&d);
}

Test(disturbance, what_lies_off_its_row_lies_anew_in_its_row_and_in_no_part)
{
    for (size_t i = 0; i < 8; i++)
    {
        c.element[i].state = RLV_UNASSIGNED;
        c.element[i].why = i < 6 ? RLV_OFF_ROW : RLV_WITHOUT_PLACE; // of which it is not said that it has moved
    }
    c.placed[5].element.known = RLV_ELEMENT_LONG;
    rlv_disturbance d = summed(up, north);
    cr_expect_eq(d.all.poles.tensor.count, 5);
    cr_expect_eq(d.all.poles.off_row, 5);
    cr_expect_null(d.all.poles.why);
    cr_expect_eq(d.all.long_axes.tensor.count, 6);
    cr_expect_eq(d.all.motions + d.all.displaced, 0);
    cr_expect_eq(d.row[0].poles.off_row, 3);
    for (size_t k = 0; k < d.part_count; k++)
        cr_expect_eq(d.part[k].poles.tensor.count, 0);
    rlv_disturbance_free(&d);
}

// An sd of 45.92 degrees makes a 95 % interval of 90 to either side.
Test(disturbance, an_axis_that_may_as_well_point_anywhere_is_in_no_tensor)
{
    const double spin[3] = {49.0, 45.9, 46.0};
    for (size_t i = 0; i < 8; i++)
    {
        carry(i, toward(45.0, 30.0));
        for (int k = 0; k < 9; k++)
            c.placed[i].element.attitude_cov_rad2[k] = k % 4 == 0 ? 0.001 : 0.0;
        if (i < 3) // about the pole, which is as sure as before
            c.placed[i].element.attitude_cov_rad2[8] = pow(spin[i] * DEG, 2.0);
    }
    rlv_disturbance d = summed(up, north);
    cr_expect_eq(d.all.long_axes.tensor.count, 6);
    cr_expect_eq(d.all.long_axes.unsure, 2);
    cr_expect_eq(d.all.poles.tensor.count, 8);
    cr_expect_eq(d.all.poles.unsure, 0);
    rlv_disturbance_free(&d);
}

// Six poles along x, three along y, one along z: 0.6, 0.3, 0.1 and Woodcock's shape ln 2 / ln 3 and strength ln 6.
Test(disturbance, poles_and_long_axes_make_a_tensor_each)
{
    for (size_t i = 0; i < 10; i++)
    {
        const double turned[3][9] = {
            {0, 0, 1, 0, 1, 0, -1, 0, 0}, {1, 0, 0, 0, 0, 1, 0, -1, 0}, {1, 0, 0, 0, 1, 0, 0, 0, 1}};
        carry(i, rlv_vec3_of(20.0, 0.0, 0.0));
        memcpy(c.placed[i].element.frame, turned[i < 6 ? 0 : i < 9 ? 1 : 2], sizeof turned[0]);
    }
    c.placed[10].element.known = 0; // carried, but its attitude is not known
    carry(10, rlv_vec3_of(20.0, 0.0, 0.0));
    rlv_disturbance d = summed(up, north);
    const double pole[3] = {0.6, 0.3, 0.1}, axis[3] = {0.6, 0.4, 0.0}; // long axes: six along z, four along x
    cr_expect_eq(d.all.poles.tensor.count, 10);
    for (int k = 0; k < 3; k++)
    {
        cr_expect_float_eq(d.all.poles.tensor.eigenvalue[k], pole[k], 32 * DBL_EPSILON);
        cr_expect_float_eq(d.all.long_axes.tensor.eigenvalue[k], axis[k], 32 * DBL_EPSILON);
    }
    cr_expect_float_eq(d.all.poles.tensor.shape, log(2.0) / log(3.0), 64 * DBL_EPSILON);
    cr_expect_float_eq(d.all.poles.tensor.strength, log(6.0), 64 * DBL_EPSILON);
    rlv_disturbance_free(&d);
}

// --- where -----------------------------------------------------------------------------------------------------------

Test(disturbance, rows_and_parts_have_their_own_and_add_up_to_all)
{
    for (size_t i = 0; i < 10; i++)
        carry(i, toward(45.0, 30.0)); // places 0 to 4, both rows: along 10 to 90 mm
    slide_a_stretch(6.0);             // places 2 to 9 of row 0: three of those are part of it, its middle is at 130 mm
    rlv_disturbance d = summed(up, north);
    size_t motions = 0, displaced = 0, in_parts = 0;
    for (size_t r = 0; r < d.row_count; r++)
        motions += d.row[r].motions, displaced += d.row[r].displaced;
    for (size_t k = 0; k < d.part_count; k++)
        in_parts += d.part[k].motions;
    cr_expect_eq(d.all.motions, 8);
    cr_expect_eq(motions, 8);
    cr_expect_eq(in_parts, 8);
    cr_expect_eq(displaced, d.all.displaced);
    cr_expect_eq(d.row[0].motions, 3);
    cr_expect_str_eq(d.row[0].level.why, "fewer than five");
    cr_expect_eq(d.row[1].motions, 5);
    cr_expect_float_eq(d.row[1].level.trend_deg, 45.0, 1e-9);
    cr_expect_eq(d.part[0].motions, 7);
    cr_expect_eq(d.part[1].motions, 1);
    rlv_disturbance_free(&d);
}

// The body lies doubled: out along +x and back along -x, 30 mm beside. Two elements lie beside each other, one of each
// limb.
Test(disturbance, a_body_that_lies_beside_itself_keeps_its_parts_apart)
{
    c.element[0].life_mm = rlv_vec3_of(40.0, 20.0, 0.0);
    c.element[0].along_mm = 40.0;
    carry(0, rlv_vec3_of(20.0, 0.0, 0.0));
    c.element[1].life_mm = rlv_vec3_of(40.0, 10.0, 0.0);
    c.element[1].along_mm = 360.0;
    c.element[1].body = (rlv_mat3){{-1, 0, 0, 0, -1, 0, 0, 0, 1}};
    carry(1, rlv_vec3_of(20.0, 0.0, 0.0));
    rlv_disturbance d = summed(up, north);
    cr_expect_eq(d.motion[0].part, 0);
    cr_expect_eq(d.motion[1].part, 3);
    rlv_disturbance_free(&d);
}

// --- frames ----------------------------------------------------------------------------------------------------------

static void turn_covariance(double m[9], rlv_mat3 by)
{
    rlv_mat3 full;
    memcpy(full.m, m, sizeof full.m);
    full = rlv_mat3_multiply(rlv_mat3_multiply(by, full), rlv_mat3_transpose(by));
    memcpy(m, full.m, sizeof full.m);
}

static void turn_all(rlv_mat3 by)
{
    for (size_t i = 0; i < POINTS; i++)
    {
        c.at_mm[i] = rlv_mat3_apply(by, c.at_mm[i]);
        c.along[i] = rlv_mat3_apply(by, c.along[i]);
    }
    for (size_t i = 0; i < ELEMENTS; i++)
    {
        double* at = c.placed[i].element.position_mm;
        rlv_mat3 frame;
        memcpy(frame.m, c.placed[i].element.frame, sizeof frame.m);
        frame = rlv_mat3_multiply(by, frame);
        memcpy(c.placed[i].element.frame, frame.m, sizeof frame.m);
        put_place(i, rlv_mat3_apply(by, rlv_vec3_of(at[0], at[1], at[2])));
        c.element[i].life_mm = rlv_mat3_apply(by, c.element[i].life_mm);
        c.element[i].body = rlv_mat3_multiply(by, c.element[i].body);
        turn_covariance(c.placed[i].element.position_cov_mm2, by);
        turn_covariance(c.element[i].life_cov_mm2, by);
    }
}

static void expect_alike(const rlv_disturbed* a, const rlv_disturbed* b, rlv_mat3 by)
{
    // Places of some hundred millimetres less one another lose three of sixteen figures; angles of 360 degrees two
    // more.
    const double rounding = 1e-10;
    cr_expect_eq(a->level.count, b->level.count);
    cr_expect_float_eq(a->level.trend_deg, b->level.trend_deg, rounding);
    cr_expect_float_eq(a->level.half_deg, b->level.half_deg, rounding);
    cr_expect_float_eq(a->level.resultant_share, b->level.resultant_share, rounding);
    cr_expect_float_eq(a->level.kappa, b->level.kappa, rounding);
    cr_expect_float_eq(a->level.uniform_p, b->level.uniform_p, rounding);
    cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(rlv_mat3_apply(by, a->level.mean), b->level.mean)), rounding);
    cr_expect_float_eq(a->space.trend.plunge_deg, b->space.trend.plunge_deg, rounding);
    cr_expect_float_eq(a->space.mean.kappa, b->space.mean.kappa, rounding);
    cr_expect_float_eq(a->space.mean.cone_deg, b->space.mean.cone_deg, rounding);
    for (int k = 0; k < 3; k++)
        cr_expect_float_eq(a->poles.tensor.eigenvalue[k], b->poles.tensor.eigenvalue[k], rounding);
}

Test(disturbance, turning_the_frame_changes_nothing)
{
    scan_random random = {noise_hash(23, 1)};
    for (int trial = 0; trial < 50; trial++)
    {
        set_up();
        slide_a_stretch(7.0);
        for (size_t i = 20; i < 32; i++)
        {
            rlv_mat3 frame = scan_random_rotation(&random);
            memcpy(c.placed[i].element.frame, frame.m, sizeof frame.m);
            put_sds(i, 3.0, 1.0, 2.0);
            carry(i, rlv_vec3_of(5.0 + 9.0 * scan_random_normal(&random), 9.0 * scan_random_normal(&random),
                                 4.0 * scan_random_normal(&random)));
        }
        const rlv_mat3 by = scan_random_rotation(&random);
        rlv_disturbance before = summed(up, north);
        turn_all(by);
        rlv_disturbance after = summed(rlv_mat3_apply(by, up), rlv_mat3_apply(by, north));
        cr_assert_eq(before.motion_count, after.motion_count);
        expect_alike(&before.all, &after.all, by);
        for (size_t k = 0; k < before.part_count; k++)
            cr_expect_eq(before.part[k].motions, after.part[k].motions);
        rlv_disturbance_free(&before);
        rlv_disturbance_free(&after);
    }
}

Test(disturbance, without_north_the_mean_is_told_in_the_frame_and_without_up_in_space_alone)
{
    scan_random random = {noise_hash(24, 1)};
    let_current_run(&random, 200.0);
    rlv_disturbance known = summed(up, north), no_north = summed(up, nothing), no_up = summed(nothing, north);
    cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(known.all.level.mean, no_north.all.level.mean)), 1e-12);
    cr_expect_float_eq(known.all.level.uniform_p, no_north.all.level.uniform_p, 1e-12);
    cr_expect(isnan(no_north.all.level.trend_deg) && isnan(no_north.all.space.trend.plunge_deg));
    cr_expect(isnan(no_north.motion[0].trend_deg) && no_north.motion[0].trust > 0.0);
    cr_expect_str_eq(no_up.all.level.why, "which way was up is not known");
    cr_expect(isnan(no_up.all.level.uniform_p) && isnan(no_up.motion[0].level_mm));
    cr_expect_eq(no_up.all.space.mean.kappa, known.all.space.mean.kappa);
    rlv_disturbance_free(&known);
    rlv_disturbance_free(&no_north);
    rlv_disturbance_free(&no_up);
}

Test(disturbance, bearings_that_are_none_are_refused)
{
    rlv_disturbance d = {0};
    rlv_error error = {0};
    cr_expect_eq(rlv_disturbance_of(&d, &c.told, c.placed, up, up, &error), RLV_BAD_INPUT);
    cr_expect_str_eq(error.what, "north lies along up");
    cr_expect_eq(rlv_disturbance_of(&d, &c.told, c.placed, rlv_vec3_of(0, 0, (double)NAN), nothing, &error),
                 RLV_BAD_INPUT);
    rlv_disturbance_free(&d);
}

// --- an animal that was fitted ---------------------------------------------------------------------------------------

/// Carry six plates of an animal one way within 25 degrees, 12 to 24 of its combined sds.
static void carry_six(skeleton* s, scan_random* random, double azimuth_deg)
{
    for (size_t k = 0; k < 6; k++)
    {
        const size_t i = (2 * k + 1) * s->count / 12;
        const double far = s->combined_mm * (12.0 + 12.0 * scan_random_unit(random));
        const rlv_vec3 by = toward(azimuth_deg + 25.0 * (2.0 * scan_random_unit(random) - 1.0), far);
        double* at = s->element[i].element.position_mm;
        at[0] += by.x, at[1] += by.y;
    }
}

Test(disturbance, a_current_is_found_in_an_animal_that_was_fitted)
{
    int found = 0, inside = 0;
    for (uint64_t seed = 31; seed < 37; seed++)
    {
        scan_random random = {noise_hash(25, seed)};
        const double way = 360.0 * scan_random_unit(&random);
        skeleton_plan plan = skeleton_draw(seed, 20);
        skeleton* s = skeleton_make(&plan);
        rlv_articulation a = {0};
        rlv_disturbance d = {0};
        rlv_error error = {0};
        carry_six(s, &random, way);
        cr_assert_eq(rlv_articulation_fit(&a, s->count, s->element, s->plan.rows, s->row, &error), RLV_DONE, "%s",
                     error.what);
        cr_assert_eq(rlv_disturbance_of(&d, &a, s->element, up, north, &error), RLV_DONE, "%s", error.what);
        found += d.all.level.uniform_p < 0.05;
        inside += fabs(remainder(d.all.level.trend_deg - way, 360.0)) <= d.all.level.half_deg;
        cr_log_info("%zu motions, %zu with a direction, p %g, %g for %g +- %g\n", d.all.motions, d.all.level.count,
                    d.all.level.uniform_p, d.all.level.trend_deg, way, d.all.level.half_deg);
        rlv_disturbance_free(&d);
        rlv_articulation_free(&a);
        free(s);
    }
    cr_expect_eq(found, 6);
    // 95 of 100: three or more of six outside come with a chance of 0.002.
    cr_expect_geq(inside, 4, "%d of 6", inside);
}
