#include "element.h"

#include "scan.h"

#include <criterion/criterion.h>
#include <stdio.h>

enum
{
    RING = 16,
    PLATES = 600,
};

static const double SD_MM = 0.3;

/// A keeled plate: its ridge along x stands `high_mm` over its rim at its sides.
typedef struct plate
{
    double length_mm, width_mm, high_mm;
} plate;

static double height(const plate* p, double y)
{
    return p->high_mm * (1.0 - fabs(y) / (0.5 * p->width_mm));
}

/// Its outline where all of it shows but what lies beyond `cut_mm` along the direction `way`: points round it, those on
/// the cut on the plate's surface, each with error.
static size_t draw(rlv_placed_point* point, const plate* p, double way, double cut_mm, scan_random* random)
{
    for (size_t i = 0; i < RING; i++)
    {
        const double turn = 2.0 * M_PI * (double)i / RING;
        double x = 0.5 * p->length_mm * cos(turn), y = 0.5 * p->width_mm * sin(turn);
        const double over = x * cos(way) + y * sin(way) - cut_mm;
        if (over > 0.0)
            x -= over * cos(way), y -= over * sin(way);
        point[i] =
            (rlv_placed_point){.at_mm = {x + SD_MM * scan_random_normal(random), y + SD_MM * scan_random_normal(random),
                                         height(p, y) + SD_MM * scan_random_normal(random)},
                               .sd_mm = SD_MM};
    }
    return RING;
}

static rlv_element measured(const plate* p, double way, double cut_mm, scan_random* random)
{
    rlv_placed_point point[RING];
    const rlv_placed_point anterior = {.at_mm = {0.5 * p->length_mm, 0.0, height(p, 0.0)}, .sd_mm = SD_MM};
    rlv_element_seen seen = {.outline = point, .outward = {0.0, 0.0, 1.0}};
    seen.landmark[RLV_LANDMARK_ANTERIOR] = &anterior;
    rlv_element element;
    rlv_error error = {0};
    seen.outline_count = draw(point, p, way, cut_mm, random);
    cr_assert_eq(rlv_element_measure(&element, &seen, &error), RLV_DONE, "%s", error.what);
    return element;
}

/// Shares of what is told of plates that holds the truth.
typedef struct shares
{
    double place, pole, spin, partial;
} shares;

static double own_variance(const double covariance[9], const rlv_element* e, int k)
{
    double sum = 0.0;
    for (int i = 0; i < 9; i++)
        sum += e->frame[i / 3 * 3 + k] * covariance[i] * e->frame[i % 3 * 3 + k];
    return sum;
}

/// Cover plates from a side of the width, or from any, up to `most` of it, and hold them against four whole ones.
static shares try_plates(double most, bool any_side, bool widened)
{
    scan_random random = {any_side ? 11 : 12};
    shares s = {0};
    for (int n = 0; n < PLATES; n++)
    {
        const plate p = {12.0 + 4.0 * scan_random_unit(&random), 16.0 + 4.0 * scan_random_unit(&random),
                         3.5 * scan_random_unit(&random)};
        rlv_element other[4];
        const rlv_element* alike[4];
        for (int k = 0; k < 4; k++)
        {
            plate q = p;
            q.length_mm *= exp(0.04 * scan_random_normal(&random)),
                q.width_mm *= exp(0.04 * scan_random_normal(&random));
            other[k] = measured(&q, 0.0, INFINITY, &random);
            alike[k] = &other[k];
        }
        const double side = scan_random_unit(&random) < 0.5 ? -1.0 : 1.0,
                     way = side * 0.5 * M_PI + (any_side ? (2.0 * scan_random_unit(&random) - 1.0) * 0.6 : 0.0),
                     share = most * (0.7 + 0.3 * scan_random_unit(&random));
        rlv_element e = measured(&p, way, p.width_mm * (0.5 - share), &random);
        const rlv_element_covered covered = rlv_element_covered_of(&e, 4, alike);
        s.partial += covered.partial / (double)PLATES;
        if (widened)
            rlv_element_widen(&e, &covered);
        // In the plane of the plate; and about its own axes.
        double place = 0.0;
        for (int k = 0; k < 2; k++)
        {
            const double off = e.position_mm[0] * e.frame[k] + e.position_mm[1] * e.frame[3 + k];
            place += off * off / own_variance(e.position_cov_mm2, &e, k);
        }
        const double across = asin(e.frame[5]) / sqrt(own_variance(e.attitude_cov_rad2, &e, 0)),
                     along = asin(e.frame[2]) / sqrt(own_variance(e.attitude_cov_rad2, &e, 1)),
                     spin = atan2(e.frame[3], e.frame[0]) / sqrt(own_variance(e.attitude_cov_rad2, &e, 2));
        s.place += (place < 5.99) / (double)PLATES;
        s.pole += (across * across + along * along < 5.99) / (double)PLATES;
        s.spin += (fabs(spin) < 1.96) / (double)PLATES;
    }
    printf("%.0f %% covered at most, %s, %s: partial %.3f place %.3f pole %.3f spin %.3f\n", 100.0 * most,
           any_side ? "any side" : "one side", widened ? "widened" : "as measured", s.partial, s.place, s.pole, s.spin);
    return s;
}

Test(element_covered, what_is_half_covered_is_told_so_unsurely_that_it_holds_the_truth)
{
    const shares plain = try_plates(0.55, false, false), half = try_plates(0.55, false, true),
                 any = try_plates(0.55, true, true), whole = try_plates(0.0, false, true);
    // Two standard errors of 600 below 0.95.
    const double least = 0.95 - 2.0 * sqrt(0.05 * 0.95 / PLATES);
    cr_expect_lt(plain.place, 0.2, "without it few hold it");
    cr_expect_geq(half.place, least);
    cr_expect_geq(half.pole, least);
    cr_expect_geq(half.spin, least);
    cr_expect_geq(any.place, least);
    cr_expect_geq(any.pole, least);
    cr_expect_geq(any.spin, least);
    cr_expect_gt(half.partial, 0.95);
    // Of four with a scatter of 4 % the greatest is a fifth larger than one in fewer than one in a thousand.
    cr_expect_lt(whole.partial, 0.01);
}

Test(element_covered, a_whole_element_and_one_without_others_stay_as_they_are)
{
    scan_random random = {5};
    const plate p = {14.0, 18.0, 2.0};
    rlv_element e = measured(&p, 0.0, INFINITY, &random), other = measured(&p, 0.0, INFINITY, &random);
    const rlv_element before = e, *alike[1] = {&other};
    rlv_element_covered covered = rlv_element_covered_of(&e, 0, NULL);
    rlv_element_widen(&e, &covered);
    cr_expect_not(covered.partial);
    cr_expect_arr_eq(e.position_cov_mm2, before.position_cov_mm2, sizeof e.position_cov_mm2);
    covered = rlv_element_covered_of(&e, 1, alike);
    rlv_element_widen(&e, &covered);
    cr_expect_not(covered.partial);
    cr_expect_arr_eq(e.attitude_cov_rad2, before.attitude_cov_rad2, sizeof e.attitude_cov_rad2);
}

/// An element in the plane z = 0, its long axis along x.
static rlv_element lying(double length_mm, double width_mm, bool by_centre)
{
    return (rlv_element){.frame = {1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0},
                         .length_mm = {length_mm, length_mm, length_mm},
                         .width_mm = {width_mm, width_mm, width_mm},
                         .by_centre = by_centre};
}

Test(element_covered, of_a_size_that_none_has_nothing_is_missing)
{
    // Two landmarks tell a length alone.
    const rlv_element other = lying(20.0, NAN, false), *alike[1] = {&other};
    rlv_element e = lying(10.0, NAN, false);
    const rlv_element_covered covered = rlv_element_covered_of(&e, 1, alike);
    cr_assert(covered.partial);
    rlv_element_widen(&e, &covered);
    cr_expect_float_eq(e.position_cov_mm2[0], 25.0, 1e-9, "half of what is missing");
    cr_expect_eq(e.position_cov_mm2[4], 0.0);
    cr_expect_gt(e.attitude_cov_rad2[4], 0.0, "tilted along what is missing");
    cr_expect_eq(e.attitude_cov_rad2[0], 0.0);
}

Test(element_covered, one_as_large_as_its_row_but_turned_misses_nothing_in_it)
{
    const rlv_element other = lying(10.0, 8.0, true), *alike[1] = {&other};
    rlv_element e = lying(20.0, 6.0, true); // narrower by a quarter, and half as large again
    const rlv_element_covered covered = rlv_element_covered_of(&e, 1, alike);
    cr_assert(covered.partial);
    rlv_element_widen_in_row(&e, &covered);
    cr_expect_eq(e.position_cov_mm2[0], 0.0);
    cr_expect_eq(e.position_cov_mm2[4], 0.0);
}
