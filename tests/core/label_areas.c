#include "label_areas.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

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

enum
{
    FAN = 20,
};

/// A fan of so many triangles of 1 mm2 each, whose vertices are all of one sample that is its own foot.
typedef struct fan
{
    float at[3 * (2 * FAN + 1)];
    uint32_t corner[3 * FAN], of_vertex[2 * FAN + 1], foot[1];
    uint16_t label[FAN];
    rlv_mesh mesh;
    rlv_sampling sampling;
} fan;

/// `counts[label]` of its triangles have a label; they are told from the first or from the last one on.
static rlv_labelled lay_fan(fan* f, const int counts[6], bool from_last)
{
    size_t put = 0;
    memset(f, 0, sizeof *f);
    for (uint32_t t = 0; t < FAN; t++) // all lie on each other
    {
        const float way[2][2] = {{2.0f, 0.0f}, {0.0f, 1.0f}};
        memcpy(f->at + 3 * (2 * t + 1), way[0], sizeof way[0]);
        memcpy(f->at + 3 * (2 * t + 2), way[1], sizeof way[1]);
        const uint32_t corner[3] = {0, 2 * t + 1, 2 * t + 2};
        memcpy(f->corner + 3 * t, corner, sizeof corner);
    }
    for (uint16_t label = 0; label < 6; label++)
        for (int k = 0; k < counts[label]; k++, put++)
            f->label[from_last ? FAN - 1 - put : put] = label;
    cr_assert_eq(put, FAN);
    f->mesh = (rlv_mesh){.vertex_count = 2 * FAN + 1, .triangle_count = FAN, .position_mm = f->at, .corner = f->corner};
    f->sampling = (rlv_sampling){.count = 1, .of_vertex = f->of_vertex};
    return (rlv_labelled){&f->mesh, &f->sampling, f->label, f->foot};
}

static double of_label(const rlv_label_areas* areas, int label)
{
    uint8_t wanted[6] = {0};
    wanted[label] = 1;
    return rlv_label_areas_sum(areas, wanted);
}

/// Take the areas of two such fans and compare them with what each label should have.
static void cr_covers(const int counts[2][6], bool from_last, const double truth[2][6])
{
    fan f[2];
    const rlv_labelled side[2] = {lay_fan(&f[0], counts[0], from_last), lay_fan(&f[1], counts[1], from_last)};
    rlv_label_areas* areas[2];
    cr_assert_eq(rlv_label_areas_take(areas, side, NULL), RLV_DONE);
    for (int s = 0; s < 2; s++)
        for (int label = 0; label < 6; label++)
            cr_expect_float_eq(of_label(areas[s], label), truth[s][label], ROUNDING * FAN, "side %d label %d: %g", s,
                               label, of_label(areas[s], label));
    free(areas[0]);
    free(areas[1]);
}

/// Of five labels the three with the most area keep it, the least of them with what the others had; in whatever order
/// the triangles come.
Test(label_areas, of_many_labels_the_largest_stay_whatever_comes_first)
{
    const int counts[2][6] = {{1, 2, 4, 8, 5, 0}, {1, 2, 4, 8, 5, 0}};
    const double truth[2][6] = {{0, 0, 7, 8, 5, 0}, {0, 0, 7, 8, 5, 0}};
    cr_covers(counts, false, truth);
    cr_covers(counts, true, truth);
}

/// A sample that has room for one label more gets that which its foot has most of, whatever their numbers; and no more
/// of it than is free.
Test(label_areas, of_two_labels_of_the_foot_that_want_one_place_the_larger_gets_it)
{
    const int counts[2][2][6] = {{{10, 0, 0, 10, 0, 0}, {0, 12, 8, 0, 0, 0}},
                                 {{10, 0, 0, 10, 0, 0}, {0, 8, 12, 0, 0, 0}}};
    const double truth[2][2][6] = {{{0, 10, 0, 10, 0, 0}, {0, 12, 8, 0, 0, 0}},
                                   {{0, 0, 10, 10, 0, 0}, {0, 8, 12, 0, 0, 0}}};
    for (int k = 0; k < 2; k++)
    {
        cr_covers(counts[k], false, truth[k]);
        cr_covers(counts[k], true, truth[k]);
    }
}
