#include "label_areas.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

enum
{
    CUTS = 12, // of each face of a sphere's octahedron
};

/// A sphere whose triangles have label 1 above a height, and whose samples are their own feet on a twin.
typedef struct ball
{
    rlv_mesh mesh;
    rlv_sampling sampling;
    uint16_t* label;
    uint32_t* foot;
} ball;

static ball make_ball(double above_mm)
{
    ball b = {0};
    shape_add_sphere(&b.mesh, rlv_vec3_of(0, 0, 0), 50.0, CUTS);
    cr_assert_eq(rlv_sampling_take(&b.sampling, &b.mesh, NULL, 100000, NULL), RLV_DONE);
    b.label = calloc(b.mesh.triangle_count, sizeof *b.label);
    b.foot = calloc(b.sampling.count, sizeof *b.foot);
    cr_assert(b.label != NULL && b.foot != NULL);
    for (size_t t = 0; t < b.mesh.triangle_count; t++)
    {
        double z = 0.0;
        for (size_t k = 0; k < 3; k++)
            z += rlv_mesh_vertex(&b.mesh, b.mesh.corner[3 * t + k]).z / 3.0;
        b.label[t] = z > above_mm;
    }
    for (size_t i = 0; i < b.sampling.count; i++)
        b.foot[i] = (uint32_t)i;
    return b;
}

static void free_ball(ball* b)
{
    rlv_mesh_free(&b->mesh);
    rlv_sampling_free(&b->sampling);
    free(b->label);
    free(b->foot);
}

static double labelled_mm2(const ball* b, uint16_t label)
{
    double area = 0.0;
    for (size_t t = 0; t < b->mesh.triangle_count; t++)
        area += b->label[t] == label ? 0.5 * rlv_vec3_length(rlv_mesh_twice_area(&b->mesh, t)) : 0.0;
    return area;
}

static double sum_mm2(const ball* b, const rlv_label_areas* areas, uint16_t label)
{
    const uint8_t wanted[2] = {label == 0, label == 1};
    double area = 0.0;
    for (size_t i = 0; i < b->sampling.count; i++)
        area += rlv_label_areas_sum(areas + i, wanted);
    return area;
}

static void take(rlv_label_areas* areas[2], const ball* first, const ball* second)
{
    const rlv_labelled side[2] = {{&first->mesh, &first->sampling, first->label, first->foot},
                                  {&second->mesh, &second->sampling, second->label, second->foot}};
    cr_assert_eq(rlv_label_areas_take(areas, side, NULL), RLV_DONE);
}

/// Areas are floats, of relative precision 6e-8, summed over a few at a sample: a part in a million is left.
static const double ROUNDING = 1e-6;

Test(label_areas, labels_cover_their_triangles_to_the_last)
{
    ball b = make_ball(20.0);
    rlv_label_areas* areas[2];
    take(areas, &b, &b);
    for (uint16_t label = 0; label < 2; label++)
    {
        const double truth = labelled_mm2(&b, label);
        cr_expect_float_eq(sum_mm2(&b, areas[0], label), truth, ROUNDING * truth);
        cr_expect_float_eq(sum_mm2(&b, areas[1], label), truth, ROUNDING * truth);
    }
    free(areas[0]);
    free(areas[1]);
    free_ball(&b);
}

/// A column between a label and none belongs to the label: so on both stages it covers what it covers on either.
Test(label_areas, a_label_covers_on_both_stages_what_it_covers_on_either)
{
    ball narrow = make_ball(20.0), wide = make_ball(5.0);
    const double truth = labelled_mm2(&wide, 1), whole = truth + labelled_mm2(&wide, 0);
    cr_assert_gt(truth, 1.2 * labelled_mm2(&narrow, 1));
    for (int turn = 0; turn < 2; turn++)
    {
        rlv_label_areas* areas[2];
        take(areas, turn == 0 ? &narrow : &wide, turn == 0 ? &wide : &narrow);
        for (int s = 0; s < 2; s++)
        {
            cr_expect_float_eq(sum_mm2(&wide, areas[s], 1), truth, ROUNDING * truth, "turn %d side %d: %g for %g", turn,
                               s, sum_mm2(&wide, areas[s], 1), truth);
            cr_expect_float_eq(sum_mm2(&wide, areas[s], 0), whole - truth, ROUNDING * whole);
        }
        free(areas[0]);
        free(areas[1]);
    }
    free_ball(&narrow);
    free_ball(&wide);
}
