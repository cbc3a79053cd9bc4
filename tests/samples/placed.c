#include "placed.h"

#include "outline.h"
#include "solid.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TRIANGLES 100000

static demo_specimen made;
static placed_points placed;

/// Everything in the true frame: scans that lie where they truly are.
static void make(void)
{
    rlv_pose stay[SPECIMEN_STAGES];
    for (int k = 0; k < SPECIMEN_STAGES; k++)
        stay[k] = rlv_pose_identity();
    cr_assert_eq(specimen_make(&made, 417, NULL), RLV_DONE);
    cr_assert_eq(placed_make(&placed, &made, stay, 417, NULL), RLV_DONE);
}

static void drop(void)
{
    placed_free(&placed);
    specimen_free(&made);
}

/// A stage's true mesh, and which of its triangles an outline encloses.
typedef struct enclosed
{
    rlv_mesh mesh;
    uint8_t* in;      ///< one a triangle
    double length_mm; ///< of the border
} enclosed;

static enclosed enclose(int stage, const char* object)
{
    enclosed e = {0};
    rlv_mesh_health health;
    rlv_surface* surface = NULL;
    rlv_outline outline = {0};
    rlv_error error = {0};
    cr_assert_eq(solid_mesh(&e.mesh, &made, stage, TRIANGLES, 7 + (uint64_t)stage, NULL), RLV_DONE);
    cr_assert_eq(rlv_mesh_mend(&e.mesh, &health, NULL), RLV_DONE);
    rlv_vec3* ring = calloc(placed.count, sizeof *ring);
    size_t points = 0;
    for (size_t i = 0; i < placed.count; i++)
        if (strcmp(placed.point[i].stage, specimen_stage_id(stage)) == 0 && strcmp(placed.point[i].object, object) == 0)
            ring[points++] = placed.point[i].at_mm;
    cr_assert_eq(rlv_surface_prepare(&surface, &e.mesh, NULL, NULL), RLV_DONE);
    cr_assert_eq(rlv_outline_find(&outline, surface, points, ring, &error), RLV_DONE, "%s at %s: %s", object,
                 specimen_stage_id(stage), error.what);
    e.in = calloc(e.mesh.triangle_count, 1);
    e.length_mm = outline.length_mm;
    for (size_t t = 0; t < outline.triangle_count; t++)
        e.in[outline.triangle[t]] = 1;
    free(ring);
    rlv_outline_free(&outline);
    rlv_surface_free(surface);
    return e;
}

static void drop_enclosed(enclosed* e)
{
    free(e->in);
    rlv_mesh_free(&e->mesh);
}

static bool slab_at(int stage, double x, double y)
{
    double upper, lower;
    return stage == SPECIMEN_SLAB_BACK ? slab_back_at(&made.slab, x, y, &upper, &lower)
                                       : slab_thickness_mm(&made.slab, x, y) > 0.0;
}

/// Whether a corner of a triangle is the slab's: over its plan, and not on the block's base below.
static bool slab_corner(const enclosed* e, int stage, size_t triangle, size_t corner)
{
    rlv_vec3 p = rlv_mesh_vertex(&e->mesh, e->mesh.corner[3 * triangle + corner]);
    return slab_near(&made.slab, p.x, p.y) && p.z > relief_at(&made.slab.face, p.x, p.y) - 1.0 &&
           slab_at(stage, p.x, p.y);
}

/// Plan distance of a triangle's nearest corner from where the slab begins or ends; looked for up to `most`.
static double from_edge_mm(const enclosed* e, int stage, size_t triangle, double most)
{
    for (double r = 0.0; r < most; r += 0.05)
        for (size_t k = 0; k < 3; k++)
        {
            rlv_vec3 p = rlv_mesh_vertex(&e->mesh, e->mesh.corner[3 * triangle + k]);
            for (int way = 0; way < 64; way++)
                if (slab_at(stage, p.x + r * cos(way * M_PI / 32), p.y + r * sin(way * M_PI / 32)) !=
                    slab_at(stage, p.x, p.y))
                    return r;
        }
    return most;
}

static double longest_edge_mm(const rlv_mesh* mesh, size_t triangle)
{
    double longest = 0.0;
    for (size_t k = 0; k < 3; k++)
    {
        rlv_vec3 a = rlv_mesh_vertex(mesh, mesh->corner[3 * triangle + k]),
                 b = rlv_mesh_vertex(mesh, mesh->corner[3 * triangle + (k + 1) % 3]);
        longest = fmax(longest, rlv_vec3_length(rlv_vec3_sub(b, a)));
    }
    return longest;
}

/// The slab's outline on a stage encloses the slab's triangles and no others; `wall_mm2` is the area of those that hang
/// steeply from it, and how much of that is enclosed.
static void expect_the_slab(int stage, double wall_mm2[2])
{
    enclosed e = enclose(stage, "slab");
    double wrong = 0.0;
    for (size_t t = 0; t < e.mesh.triangle_count; t++)
    {
        const rlv_vec3 twice = rlv_mesh_twice_area(&e.mesh, t);
        const double area = 0.5 * rlv_vec3_length(twice);
        int corners = 0;
        for (size_t k = 0; k < 3; k++)
            corners += slab_corner(&e, stage, t, k);
        if (corners % 3 != 0 && 0.5 * twice.z < 0.5 * area)
        {
            wall_mm2[0] += area;
            wall_mm2[1] += e.in[t] ? area : 0.0;
        }
        if (corners % 3 != 0 || (corners == 3) == e.in[t])
            continue;
        wrong += area;
        // A border runs along edges; its points stray by up to five sd of what they were placed with.
        const double most = longest_edge_mm(&e.mesh, t) + 5.0 * 0.3;
        cr_expect_lt(from_edge_mm(&e, stage, t, most + 0.1), most, "%s", specimen_stage_id(stage));
    }
    // Points stray to one side by 0.3 mm sqrt(2 / pi) on the mean, as wide a strip as the edge is long.
    cr_expect_lt(wrong, 0.3 * sqrt(2.0 / M_PI) * e.length_mm, "%s: %g mm2", specimen_stage_id(stage), wrong);
    drop_enclosed(&e);
}

Test(placed, outlines_of_the_slab_enclose_its_top_and_its_side_and_nothing_else, .init = make, .fini = drop,
     .timeout = 600)
{
    double wall[SPECIMEN_STAGES][2] = {{0}};
    expect_the_slab(SPECIMEN_SLAB_OFF - 1, wall[SPECIMEN_SLAB_OFF - 1]);
    expect_the_slab(SPECIMEN_SLAB_BACK, wall[SPECIMEN_SLAB_BACK]);
    const double* back = wall[SPECIMEN_SLAB_BACK];
    cr_expect_gt(back[0], 500.0); // millimetres high, along its whole edge
    // A point is placed 0.4 mm beyond the edge; one in eleven strays back onto it (0.4 mm at an sd of 0.3), and the
    // wall may be lost as far as both of its neighbours.
    cr_expect_gt(back[1], (1.0 - 2.0 / 11.0) * back[0], "%g of %g mm2", back[1], back[0]);
}

/// The upper edge of the sides, and with it the sides, are the field's at every stage.
static void expect_sides_as_they_were(void)
{
    for (int k = 0; k < 3600; k++)
    {
        const double bearing = k * M_PI / 1800, radius = block_radius_mm(&made.block, bearing);
        const double x = radius * cos(bearing), y = radius * sin(bearing);
        for (int stage = 1; stage < SPECIMEN_STAGES; stage++)
            cr_assert_eq(relief_at(&made.surface[stage], x, y), relief_at(&made.surface[0], x, y));
        cr_assert_not(slab_at(SPECIMEN_SLAB_OFF - 1, x, y) || slab_at(SPECIMEN_SLAB_BACK, x, y));
    }
}

static void expect_nothing_of_the_sides(int stage, const char* object)
{
    enclosed e = enclose(stage, object);
    for (size_t t = 0; t < e.mesh.triangle_count; t++)
        for (size_t k = 0; e.in[t] && k < 3; k++)
        {
            rlv_vec3 p = rlv_mesh_vertex(&e.mesh, e.mesh.corner[3 * t + k]);
            // Vertices of the upper surface lie on it but for the rounding of floats; those of a side lie lower.
            cr_assert(block_inside_mm(&made.block, p.x, p.y) > 0.0 &&
                          fabs(p.z - relief_at(&made.surface[stage], p.x, p.y)) < 0.01,
                      "%s at %s", object, specimen_stage_id(stage));
        }
    drop_enclosed(&e);
}

Test(placed, nothing_was_done_to_the_sides_and_no_outline_reaches_down_them, .init = make, .fini = drop, .timeout = 600)
{
    expect_sides_as_they_were();
    expect_nothing_of_the_sides(SPECIMEN_SLAB_OFF - 1, "slab");
    expect_nothing_of_the_sides(SPECIMEN_SLAB_BACK, "slab");
    for (int area = 0; area < SPECIMEN_AREAS; area++)
        if (made.area[area].stage >= 2 && made.area[area].kind == SPECIMEN_MATRIX_REMOVED)
            expect_nothing_of_the_sides(made.area[area].stage - 1, made.area[area].name);
}
