#include "mesh.h"

#include "support/shapes.h"

#include <criterion/criterion.h>
#include <float.h>
#include <omp.h>
#include <string.h>

static const rlv_vec3 zero = {0, 0, 0};

/// Numbers from 0 to 1, the same in every run.
static double next_share(uint64_t* state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

static size_t below(uint64_t* state, size_t count)
{
    return (size_t)(next_share(state) * (double)count);
}

static rlv_mesh_health mend(rlv_mesh* mesh)
{
    rlv_mesh_health health;
    rlv_error error = {0};
    cr_assert_eq(rlv_mesh_mend(mesh, &health, &error), RLV_DONE, "%s", error.what);
    return health;
}

static double volume(const rlv_mesh* mesh)
{
    return rlv_mesh_measure(mesh).volume_mm3;
}

// The same triangles in another order or about another reference: sums of n terms of like size err by far less than n
// roundings. 1e-12 stands for 4500 of them, and all meshes that are compared so have some thousand triangles.
#define SAME 1e-12

static void assert_volume(const rlv_mesh* mesh, double expected)
{
    cr_assert_float_eq(volume(mesh), expected, SAME * fabs(expected), "%.17g for %.17g", volume(mesh), expected);
}

static double sphere_volume(double radius, size_t cuts)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, zero, radius, cuts);
    double is = volume(&mesh);
    rlv_mesh_free(&mesh);
    return is;
}

/// Add a triangle over vertices that are there already.
static size_t add_triangle(rlv_mesh* mesh, uint32_t a, uint32_t b, uint32_t c)
{
    size_t t = shape_add(mesh, 0, NULL, 1, (const uint32_t[3]){0});
    memcpy(mesh->corner + 3 * t, (const uint32_t[3]){a, b, c}, 3 * sizeof a);
    return t;
}

/// Give every triangle vertices of its own, as STL does.
static void break_up(rlv_mesh* mesh)
{
    rlv_mesh soup = {.origin_mm = mesh->origin_mm};
    for (size_t t = 0; t < mesh->triangle_count; t++)
    {
        float position[9];
        for (size_t i = 0; i < 3; i++)
            memcpy(position + 3 * i, mesh->position_mm + 3 * (size_t)mesh->corner[3 * t + i], 3 * sizeof *position);
        shape_add(&soup, 3, position, 1, (const uint32_t[]){0, 1, 2});
    }
    rlv_mesh_free(mesh);
    *mesh = soup;
}

// --- copy, free ------------------------------------------------------------------------------------------------------

Test(mesh, free_is_safe_on_a_zeroed_mesh)
{
    rlv_mesh mesh = {0};
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&mesh);
    cr_assert_null(mesh.position_mm);
}

Test(mesh, reserve_refuses_more_than_indices_can_count)
{
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, (size_t)UINT32_MAX, 1, false, false, &error), RLV_BAD_INPUT);
    cr_assert_eq(rlv_mesh_reserve(&mesh, 3, (size_t)1 << 40, false, false, &error), RLV_BAD_INPUT);
    cr_assert_neq(error.mend[0], '\0');
    cr_assert_null(mesh.position_mm);
}

Test(mesh, copy_is_deep_and_whole)
{
    rlv_mesh from = {0}, to = {0};
    cr_assert_eq(rlv_mesh_reserve(&from, 3, 1, true, true, NULL), RLV_DONE);
    from.origin_mm = rlv_vec3_of(1, 2, 3);
    for (size_t i = 0; i < 9; i++)
    {
        from.position_mm[i] = (float)i;
        from.colour[i] = (uint8_t)(100 + i);
    }
    for (uint32_t i = 0; i < 3; i++)
        from.corner[i] = i;
    from.object_count = 2;
    from.object_name = calloc(2, sizeof *from.object_name);
    from.object_name[0] = strdup("scute");
    from.object_name[1] = strdup("matrix");
    from.object[0] = 1;
    cr_assert_eq(rlv_mesh_copy(&to, &from, NULL), RLV_DONE);
    from.position_mm[4] = -1.0f;
    from.object_name[1][0] = 'x';
    cr_assert_eq(to.vertex_count, 3);
    cr_assert_eq(to.triangle_count, 1);
    cr_assert_eq(to.position_mm[4], 4.0f);
    cr_assert_eq(to.colour[8], 108);
    cr_assert_eq(to.corner[2], 2);
    cr_assert_eq(to.object[0], 1);
    cr_assert_eq(to.object_count, 2);
    cr_assert_str_eq(to.object_name[1], "matrix");
    cr_assert_eq(to.origin_mm.z, 3.0);
    rlv_mesh_free(&from);
    cr_assert_str_eq(to.object_name[0], "scute");
    rlv_mesh_free(&to);
}

// --- weld ------------------------------------------------------------------------------------------------------------

Test(mesh, weld_restores_the_vertices_that_a_soup_repeats)
{
    rlv_mesh mesh = {0}, before = {0};
    shape_add_sphere(&mesh, zero, 10.0, 40);
    break_up(&mesh);
    rlv_mesh_copy(&before, &mesh, NULL);
    cr_assert_eq(rlv_mesh_weld(&mesh, NULL), RLV_DONE);
    cr_assert_eq(mesh.vertex_count, 4 * 40 * 40 + 2);
    cr_assert_eq(mesh.triangle_count, before.triangle_count);
    for (size_t i = 0; i < 3 * mesh.triangle_count; i++)
        cr_assert_arr_eq(mesh.position_mm + 3 * mesh.corner[i], before.position_mm + 3 * before.corner[i], 12);
    cr_assert(mend(&mesh).closed);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&before);
}

Test(mesh, weld_keeps_the_order_of_first_appearance)
{
    rlv_mesh mesh = {0};
    const float position[21] = {5, 5, 5, 1, 1, 1, 5, 5, 5, 0, 0, 0, 1, 1, 1, 9, 9, 9, 0, 0, 0};
    shape_add(&mesh, 7, position, 2, (const uint32_t[]){2, 4, 6, 5, 0, 3});
    cr_assert_eq(rlv_mesh_weld(&mesh, NULL), RLV_DONE);
    cr_assert_eq(mesh.vertex_count, 4);
    const float first[4] = {5, 1, 0, 9};
    for (size_t i = 0; i < 4; i++)
        cr_assert_eq(mesh.position_mm[3 * i], first[i]);
    const uint32_t corner[6] = {0, 1, 2, 3, 0, 2};
    cr_assert_arr_eq(mesh.corner, corner, sizeof corner);
    rlv_mesh_free(&mesh);
}

Test(mesh, weld_takes_minus_zero_and_zero_for_one_place)
{
    rlv_mesh mesh = {0};
    const float position[9] = {0.0f, 1, -0.0f, -0.0f, 1, 0.0f, 0, 2, 0};
    shape_add(&mesh, 3, position, 1, (const uint32_t[]){0, 1, 2});
    rlv_mesh_weld(&mesh, NULL);
    cr_assert_eq(mesh.vertex_count, 2);
    rlv_mesh_free(&mesh);
}

Test(mesh, weld_keeps_places_apart_that_differ_in_the_last_bit)
{
    rlv_mesh mesh = {0};
    const float position[9] = {1, 1, 1, 1, 1, 1 + FLT_EPSILON, 1, 1, 1};
    shape_add(&mesh, 3, position, 1, (const uint32_t[]){0, 1, 2});
    rlv_mesh_weld(&mesh, NULL);
    cr_assert_eq(mesh.vertex_count, 2);
    rlv_mesh_free(&mesh);
}

Test(mesh, weld_keeps_colours_apart)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, 4, 1, true, false, NULL), RLV_DONE);
    const uint8_t colour[12] = {1, 2, 3, 1, 2, 4, 1, 2, 3, 0, 0, 0};
    memcpy(mesh.colour, colour, sizeof colour);
    memcpy(mesh.corner, (const uint32_t[]){0, 1, 2}, 12);
    rlv_mesh_weld(&mesh, NULL);
    cr_assert_eq(mesh.vertex_count, 3);
    cr_assert_eq(mesh.corner[2], 0);
    cr_assert_arr_eq(mesh.colour, ((const uint8_t[]){1, 2, 3, 1, 2, 4, 0, 0, 0}), 9);
    rlv_mesh_free(&mesh);
}

Test(mesh, weld_leaves_a_mesh_without_repeats_as_it_is)
{
    // Many vertices beside few triangles: the table starts too small and has to grow.
    rlv_mesh mesh = {0}, before = {0};
    cr_assert_eq(rlv_mesh_reserve(&mesh, 500000, 1, false, false, NULL), RLV_DONE);
    for (size_t i = 0; i < 500000; i++)
    {
        mesh.position_mm[3 * i] = (float)(i % 1000);
        mesh.position_mm[3 * i + 1] = (float)(i / 1000);
    }
    memcpy(mesh.corner, (const uint32_t[]){7, 499999, 123456}, 12);
    rlv_mesh_copy(&before, &mesh, NULL);
    cr_assert_eq(rlv_mesh_weld(&mesh, NULL), RLV_DONE);
    cr_assert_eq(mesh.vertex_count, 500000);
    cr_assert_arr_eq(mesh.position_mm, before.position_mm, 12 * 500000);
    cr_assert_arr_eq(mesh.corner, before.corner, 12);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&before);
}

Test(mesh, weld_of_nothing_is_nothing)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(rlv_mesh_weld(&mesh, NULL), RLV_DONE);
    cr_assert_eq(mesh.vertex_count, 0);
    rlv_mesh_free(&mesh);
}

Test(mesh, weld_and_mend_give_the_same_bytes_for_any_thread_count)
{
    rlv_mesh first = {0};
    for (int threads = 1; threads <= 5; threads += 2)
    {
        omp_set_num_threads(threads);
        rlv_mesh mesh = {0};
        shape_add_sphere(&mesh, zero, 10.0, 60);
        size_t inner = shape_add_sphere(&mesh, zero, 5.0, 40);
        shape_turn(&mesh, inner, mesh.triangle_count);
        uint64_t state = 1;
        for (int i = 0; i < 2000; i++)
        {
            size_t t = below(&state, mesh.triangle_count);
            shape_turn(&mesh, t, t + 1);
        }
        break_up(&mesh);
        cr_assert_eq(rlv_mesh_weld(&mesh, NULL), RLV_DONE);
        mend(&mesh);
        if (threads == 1)
            first = mesh;
        else
        {
            cr_assert_eq(mesh.vertex_count, first.vertex_count);
            cr_assert_arr_eq(mesh.position_mm, first.position_mm, 12 * first.vertex_count);
            cr_assert_arr_eq(mesh.corner, first.corner, 12 * first.triangle_count);
            rlv_mesh_measures a = rlv_mesh_measure(&mesh);
            omp_set_num_threads(1);
            rlv_mesh_measures b = rlv_mesh_measure(&first);
            cr_assert_eq(memcmp(&a, &b, sizeof a), 0);
            rlv_mesh_free(&mesh);
        }
    }
    rlv_mesh_free(&first);
}

// --- measure ---------------------------------------------------------------------------------------------------------

Test(mesh, measures_of_a_box_are_exact)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(1, 2, 3), rlv_vec3_of(3, 6, 11));
    rlv_mesh_measures is = rlv_mesh_measure(&mesh);
    cr_assert_float_eq(is.volume_mm3, 64.0, 64.0 * SAME);
    cr_assert_float_eq(is.area_mm2, 2 * (2 * 4 + 4 * 8 + 8 * 2), 112.0 * SAME);
    cr_assert_float_eq(is.centroid_mm.x, 2.0, 2.0 * SAME);
    cr_assert_float_eq(is.centroid_mm.y, 4.0, 4.0 * SAME);
    cr_assert_float_eq(is.centroid_mm.z, 7.0, 7.0 * SAME);
    cr_assert_float_eq(is.surface_centroid_mm.x, 2.0, 2.0 * SAME);
    // A box's second moment along a side of length l is volume * l^2 / 12.
    const double moment[9] = {64.0 * 4 / 12, 0, 0, 0, 64.0 * 16 / 12, 0, 0, 0, 64.0 * 64 / 12};
    for (int i = 0; i < 9; i++)
        cr_assert_float_eq(is.moment_mm5.m[i], moment[i],
                           342.0 * 16 * SAME); // about the corner they are up to 16 times these
    cr_assert(is.low_mm.x == 1 && is.low_mm.y == 2 && is.low_mm.z == 3);
    cr_assert(is.high_mm.x == 3 && is.high_mm.y == 6 && is.high_mm.z == 11);
    rlv_mesh_free(&mesh);
}

Test(mesh, measures_do_not_lose_figures_at_a_far_origin)
{
    rlv_mesh near = {0}, far = {0};
    shape_add_sphere(&near, zero, 10.0, 20);
    rlv_mesh_copy(&far, &near, NULL);
    far.origin_mm = rlv_vec3_of(4.5e8, 5.2e9, -3e5);
    rlv_mesh_measures a = rlv_mesh_measure(&near), b = rlv_mesh_measure(&far);
    cr_assert_eq(a.volume_mm3, b.volume_mm3);
    cr_assert_eq(memcmp(&a.moment_mm5, &b.moment_mm5, sizeof a.moment_mm5), 0);
    cr_assert_float_eq(b.centroid_mm.y, 5.2e9, 4 * DBL_EPSILON * 5.2e9);
    rlv_mesh_free(&near);
    rlv_mesh_free(&far);
}

Test(mesh, measures_do_not_lose_figures_at_large_local_coordinates)
{
    // Whole numbers, so that the shift is exact in float: about the local zero the terms would be 2e5 times the volume.
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(4e6, 4e6, 4e6), rlv_vec3_of(4e6 + 2, 4e6 + 3, 4e6 + 4));
    rlv_mesh_measures is = rlv_mesh_measure(&mesh);
    cr_assert_float_eq(is.volume_mm3, 24.0, 24.0 * SAME);
    cr_assert_float_eq(is.moment_mm5.m[0], 24.0 * 4 / 12, 24.0 * 16 * SAME);
    rlv_mesh_free(&mesh);
}

Test(mesh, measures_leave_unused_vertices_out_of_the_box)
{
    rlv_mesh mesh = {0};
    shape_add(&mesh, 1, (const float[]){1000, -1000, 1000}, 0, NULL);
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 1, 1));
    rlv_mesh_measures is = rlv_mesh_measure(&mesh);
    cr_assert(is.high_mm.x == 1 && is.low_mm.y == 0 && is.high_mm.z == 1);
    rlv_mesh_free(&mesh);
}

Test(mesh, measures_of_an_empty_mesh_are_nought)
{
    rlv_mesh mesh = {0};
    rlv_mesh_measures is = rlv_mesh_measure(&mesh);
    cr_assert(is.area_mm2 == 0.0 && is.volume_mm3 == 0.0 && is.high_mm.x == 0.0 && is.moment_mm5.m[0] == 0.0);
}

// --- mend: single shells ---------------------------------------------------------------------------------------------

Test(mesh, mend_leaves_a_sound_mesh_as_it_is)
{
    rlv_mesh mesh = {0}, before = {0};
    shape_add_sphere(&mesh, zero, 10.0, 20);
    rlv_mesh_copy(&before, &mesh, NULL);
    rlv_mesh_health health = mend(&mesh), sound = {.shells = 1, .closed = true};
    cr_assert_eq(memcmp(&health, &sound, sizeof health), 0);
    cr_assert_eq(mesh.triangle_count, before.triangle_count);
    cr_assert_arr_eq(mesh.corner, before.corner, 12 * before.triangle_count);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&before);
}

Test(mesh, mend_refuses_a_mesh_without_triangles)
{
    rlv_mesh mesh = {0};
    rlv_mesh_health health;
    rlv_error error = {0};
    shape_add(&mesh, 3, (const float[9]){0, 0, 0, 1, 0, 0, 0, 1, 0}, 0, NULL);
    cr_assert_eq(rlv_mesh_mend(&mesh, &health, &error), RLV_BAD_INPUT);
    cr_assert_neq(error.what[0], '\0');
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_refuses_a_mesh_whose_triangles_all_lack_area)
{
    rlv_mesh mesh = {0};
    rlv_mesh_health health;
    rlv_error error = {0};
    shape_add(&mesh, 3, (const float[9]){0, 0, 0, 1, 1, 1, 3, 3, 3}, 2, (const uint32_t[6]){0, 1, 2, 0, 0, 1});
    cr_assert_eq(rlv_mesh_mend(&mesh, &health, &error), RLV_BAD_INPUT);
    cr_assert_eq(health.zero_area, 2);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_drops_triangles_with_a_corner_twice)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 2, 3));
    add_triangle(&mesh, 3, 5, 3);
    add_triangle(&mesh, 2, 2, 2);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.zero_area, 2);
    cr_assert_eq(mesh.triangle_count, 12);
    cr_assert(health.closed);
    assert_volume(&mesh, 6.0);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_knows_a_line_from_a_sliver_to_the_bit)
{
    // Points at 1, 3 and 7 steps along a line of exact floats; in the second triangle one coordinate is the next float
    // up: its doubled area is about 1e-9 mm2, less than the rounding of a product of its coordinates in float.
    const float step[3] = {0.0078125f, 0.015625f, 0.00390625f};
    for (int off = 0; off < 2; off++)
    {
        rlv_mesh mesh = {0};
        float position[9];
        for (int i = 0; i < 3; i++)
            for (int k = 0; k < 3; k++)
                position[3 * k + i] = 0.5f + (float)((2 << k) - 1) * step[i];
        if (off)
            position[8] = nextafterf(position[8], 1.0f);
        shape_add(&mesh, 3, position, 1, (const uint32_t[3]){0, 1, 2});
        shape_add_box(&mesh, rlv_vec3_of(3, 3, 3), rlv_vec3_of(4, 4, 4));
        rlv_mesh_health health = mend(&mesh);
        cr_assert_eq(health.zero_area, off ? 0 : 1);
        rlv_mesh_free(&mesh);
    }
}

Test(mesh, mend_flips_a_triangle_on_a_line_so_that_the_mesh_stays_closed)
{
    // A box whose edge from corner 0 to corner 1 has a vertex in its middle on one side only; a triangle on the line
    // fills the slit.
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(4, 2, 3));
    shape_add(&mesh, 1, (const float[3]){1, 0, 0}, 0, NULL);
    for (size_t t = 0; t < 12; t++)
    {
        uint32_t* c = mesh.corner + 3 * t;
        if (memcmp(c, (const uint32_t[3]){0, 1, 5}, 12) != 0)
            continue;
        memcpy(c, (const uint32_t[3]){8, 1, 5}, 12);
    }
    add_triangle(&mesh, 0, 8, 5);
    add_triangle(&mesh, 0, 1, 8);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.zero_area, 1);
    cr_assert_eq(health.open_edges, 0);
    cr_assert(health.closed);
    cr_assert_eq(mesh.triangle_count, 14);
    assert_volume(&mesh, 24.0);
    cr_assert_eq(mend(&mesh).zero_area, 0);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_flips_whole_fans_of_triangles_on_a_line)
{
    // A tetrahedron whose edge 0-1 is cut by points on one side, and flat triangles fan from corner 1 over them: each
    // of them but the last has another flat one over its long side.
    enum
    {
        POINTS = 9
    };
    rlv_mesh mesh = {0};
    shape_add(&mesh, 4, (const float[12]){0, 0, 0, 16, 0, 0, 0, 16, 0, 0, 0, 16}, 3,
              (const uint32_t[9]){0, 2, 1, 1, 2, 3, 0, 3, 2});
    uint32_t last = 0;
    for (uint32_t i = 0; i < POINTS; i++)
    {
        shape_add(&mesh, 1, (const float[3]){(float)(i + 1), 0, 0}, 0, NULL);
        add_triangle(&mesh, last, 4 + i, 3);
        add_triangle(&mesh, last, 1, 4 + i);
        last = 4 + i;
    }
    add_triangle(&mesh, last, 1, 3);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.zero_area, POINTS);
    cr_assert(health.closed);
    cr_assert_eq(health.shells, 1);
    assert_volume(&mesh, 16.0 * 16 * 16 / 6);
    cr_assert_eq(mend(&mesh).zero_area, 0);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_drops_a_triangle_on_a_line_at_a_border)
{
    rlv_mesh mesh = {0};
    shape_add(&mesh, 4, (const float[12]){0, 0, 0, 2, 0, 0, 4, 0, 0, 1, 3, 0}, 2,
              (const uint32_t[6]){0, 1, 3, 0, 2, 1});
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.zero_area, 1);
    cr_assert_eq(mesh.triangle_count, 1);
    cr_assert_eq(health.open_edges, 3);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_tells_a_slit_at_a_vertex_on_a_line_as_a_border)
{
    // The same box without the filling triangle: the surface is whole, the mesh is not.
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(4, 2, 3));
    shape_add(&mesh, 1, (const float[3]){1, 0, 0}, 0, NULL);
    for (size_t t = 0; t < 12; t++)
        if (memcmp(mesh.corner + 3 * t, (const uint32_t[3]){0, 1, 5}, 12) == 0)
            mesh.corner[3 * t] = 8;
    add_triangle(&mesh, 0, 8, 5);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.open_edges, 3);
    cr_assert_eq(health.border_loops, 1);
    cr_assert_not(health.closed);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_drops_repeated_triangles_whatever_their_winding)
{
    rlv_mesh mesh = {0}, before = {0};
    shape_add_sphere(&mesh, zero, 10.0, 12);
    rlv_mesh_copy(&before, &mesh, NULL);
    size_t n = mesh.triangle_count;
    for (size_t copies = 0; copies < 3; copies++)
        for (size_t i = 0; i < n; i++)
        {
            const uint32_t* c = before.corner + 3 * i;
            size_t t = add_triangle(&mesh, c[1], c[2], c[0]);
            shape_turn(&mesh, t, t + (i + copies) % 2);
        }
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.duplicate, 3 * n);
    cr_assert_eq(mesh.triangle_count, n);
    cr_assert_arr_eq(mesh.corner, before.corner, 12 * n);
    cr_assert_eq(health.branching_edges, 0);
    cr_assert(health.closed);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&before);
}

Test(mesh, mend_drops_the_back_of_a_lone_triangle)
{
    rlv_mesh mesh = {0};
    shape_add(&mesh, 3, (const float[9]){0, 0, 0, 1, 0, 0, 0, 1, 0}, 2, (const uint32_t[6]){0, 1, 2, 0, 2, 1});
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.duplicate, 1);
    cr_assert_eq(health.open_edges, 3);
    cr_assert_not(health.closed);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_keeps_objects_beside_their_triangles)
{
    rlv_mesh mesh = {0}, box = {0};
    shape_add_box(&box, zero, rlv_vec3_of(1, 1, 1));
    cr_assert_eq(rlv_mesh_reserve(&mesh, 8, 14, false, true, NULL), RLV_DONE);
    memcpy(mesh.position_mm, box.position_mm, 96);
    memcpy(mesh.corner + 3, box.corner, 144);
    memcpy(mesh.corner + 39, box.corner, 12); // the first triangle, without area, and the last, a repeat, go
    for (uint32_t t = 0; t < 14; t++)
        mesh.object[t] = t;
    mend(&mesh);
    cr_assert_eq(mesh.triangle_count, 12);
    for (uint32_t t = 0; t < 12; t++)
        cr_assert_eq(mesh.object[t], t + 1);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&box);
}

Test(mesh, mend_counts_unused_vertices_and_keeps_them)
{
    rlv_mesh mesh = {0};
    shape_add(&mesh, 2, (const float[6]){9, 9, 9, 8, 8, 8}, 0, NULL);
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 1, 1));
    shape_add(&mesh, 1, (const float[3]){7, 7, 7}, 0, NULL);
    cr_assert_eq(mend(&mesh).unused_vertices, 3);
    cr_assert_eq(mesh.vertex_count, 11);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_turns_triangles_that_disagree_with_most_of_their_shell)
{
    rlv_mesh mesh = {0}, before = {0};
    shape_add_sphere(&mesh, zero, 10.0, 20);
    rlv_mesh_copy(&before, &mesh, NULL);
    uint64_t state = 5;
    size_t turned = 0;
    for (size_t t = 0; t < mesh.triangle_count; t++)
        if (next_share(&state) < 0.4)
        {
            shape_turn(&mesh, t, t + 1);
            turned++;
        }
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.mixed_winding, turned);
    cr_assert_eq(health.inside_out, 0);
    cr_assert(health.closed);
    cr_assert_arr_eq(mesh.corner, before.corner, 12 * before.triangle_count);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&before);
}

Test(mesh, mend_turns_a_closed_shell_out_however_its_triangles_were_wound)
{
    for (uint64_t seed = 0; seed < 20; seed++)
    {
        rlv_mesh mesh = {0};
        shape_add_sphere(&mesh, zero, 10.0, 6);
        double before = volume(&mesh);
        uint64_t state = seed;
        double share = next_share(&state);
        for (size_t t = 0; t < mesh.triangle_count; t++)
            if (next_share(&state) < share)
                shape_turn(&mesh, t, t + 1);
        cr_assert(mend(&mesh).closed);
        assert_volume(&mesh, before);
        rlv_mesh_free(&mesh);
    }
}

Test(mesh, mend_turns_an_inside_out_solid)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 2, 3));
    shape_turn(&mesh, 0, 12);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.inside_out, 1);
    cr_assert_eq(health.mixed_winding, 0);
    assert_volume(&mesh, 6.0);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_winds_an_open_shell_as_most_of_its_triangles)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, zero, 10.0, 10);
    mesh.triangle_count -= 30; // part of the last octant goes
    shape_turn(&mesh, 0, mesh.triangle_count);
    shape_turn(&mesh, 5, 25);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.mixed_winding, 20);
    cr_assert_eq(health.inside_out, 0);
    cr_assert_lt(volume(&mesh), 0.0); // seen from inside, as it came
    cr_assert_not(health.closed);
    rlv_mesh_free(&mesh);
}

/// A band of `steps` squares once round, closed with a half turn where `twisted`.
static void add_band(rlv_mesh* mesh, size_t steps, bool twisted)
{
    size_t v = mesh->vertex_count;
    for (size_t i = 0; i < steps; i++)
    {
        double along = 2 * M_PI * (double)i / (double)steps, across = twisted ? along / 2 : 0.0;
        for (int side = -1; side <= 1; side += 2)
        {
            double r = 10 + side * 2 * cos(across);
            shape_add(
                mesh, 1,
                (const float[3]){(float)(r * cos(along)), (float)(r * sin(along)), (float)(side * 2 * sin(across))}, 0,
                NULL);
        }
    }
    for (size_t i = 0; i < steps; i++)
    {
        bool crossed = twisted && i == steps - 1;
        uint32_t a = (uint32_t)(v + 2 * i), b = a + 1, c = (uint32_t)(v + 2 * ((i + 1) % steps)), d = c + 1;
        add_triangle(mesh, a, b, crossed ? d : c);
        add_triangle(mesh, b, crossed ? c : d, crossed ? d : c);
    }
}

Test(mesh, mend_leaves_a_moebius_band_as_it_was_and_says_so)
{
    rlv_mesh mesh = {0}, before = {0};
    add_band(&mesh, 30, true);
    rlv_mesh_copy(&before, &mesh, NULL);
    rlv_mesh_health health = mend(&mesh);
    cr_assert(health.one_sided);
    cr_assert_eq(health.mixed_winding, 0);
    cr_assert_eq(health.shells, 1);
    cr_assert_eq(health.open_edges, 60);
    cr_assert_eq(health.border_loops, 1); // a Moebius band has a single border
    cr_assert_arr_eq(mesh.corner, before.corner, 12 * before.triangle_count);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&before);
}

Test(mesh, mend_takes_an_untwisted_band_for_two_sided)
{
    rlv_mesh mesh = {0};
    add_band(&mesh, 30, false);
    shape_turn(&mesh, 3, 9);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_not(health.one_sided);
    cr_assert_eq(health.mixed_winding, 6);
    cr_assert_eq(health.border_loops, 2);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_mends_the_other_shells_beside_a_one_sided_one)
{
    rlv_mesh mesh = {0};
    add_band(&mesh, 30, true);
    size_t box = shape_add_box(&mesh, rlv_vec3_of(20, 20, 20), rlv_vec3_of(21, 22, 23));
    shape_turn(&mesh, box, box + 12);
    rlv_mesh_health health = mend(&mesh);
    cr_assert(health.one_sided);
    cr_assert_eq(health.inside_out, 1);
    rlv_mesh_free(&mesh);
}

// --- mend: several shells --------------------------------------------------------------------------------------------

Test(mesh, mend_keeps_a_cavity)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, zero, 10.0, 20);
    size_t inner = shape_add_sphere(&mesh, rlv_vec3_of(1, 2, 3), 4.0, 12);
    shape_turn(&mesh, inner, mesh.triangle_count);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.inside_out, 0);
    cr_assert_eq(health.shells, 2);
    cr_assert_lt(volume(&mesh), sphere_volume(10.0, 20));
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_keeps_a_solid_inside_a_solid)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, zero, 10.0, 20);
    shape_add_sphere(&mesh, zero, 4.0, 20);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.inside_out, 0);
    assert_volume(&mesh, sphere_volume(10.0, 20) + sphere_volume(4.0, 20));
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_turns_a_file_that_is_inside_out_as_a_whole)
{
    // A solid with a cavity in which a solid lies, and another solid beside them; all turned, in any order of shells.
    for (int order = 0; order < 2; order++)
    {
        rlv_mesh mesh = {0};
        size_t inner;
        if (order == 0)
            shape_add_sphere(&mesh, zero, 10.0, 20);
        shape_add_sphere(&mesh, zero, 3.0, 20);
        shape_add_sphere(&mesh, rlv_vec3_of(30, 0, 0), 2.0, 20);
        inner = shape_add_sphere(&mesh, zero, 6.0, 20);
        shape_turn(&mesh, inner, mesh.triangle_count);
        if (order == 1)
            shape_add_sphere(&mesh, zero, 10.0, 20);
        double truth = volume(&mesh);
        shape_turn(&mesh, 0, mesh.triangle_count);
        cr_assert_eq(mend(&mesh).inside_out, 4);
        assert_volume(&mesh, truth);
        cr_assert_eq(mend(&mesh).inside_out, 0);
        rlv_mesh_free(&mesh);
    }
}

Test(mesh, mend_turns_a_solid_in_a_cavity_that_is_inside_out)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, zero, 10.0, 20);
    size_t cavity = shape_add_sphere(&mesh, zero, 6.0, 20);
    shape_add_sphere(&mesh, zero, 3.0, 20);
    shape_turn(&mesh, cavity, mesh.triangle_count); // the cavity as it should be, the solid in it not
    cr_assert_eq(mend(&mesh).inside_out, 1);
    assert_volume(&mesh, sphere_volume(10.0, 20) - sphere_volume(6.0, 20) + sphere_volume(3.0, 20));
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_keeps_alternating_shells_to_any_depth)
{
    rlv_mesh mesh = {0};
    double truth = 0.0;
    for (int depth = 0; depth < 9; depth++)
    {
        size_t first = shape_add_sphere(&mesh, zero, 10.0 - depth, 12);
        if (depth % 2)
            shape_turn(&mesh, first, mesh.triangle_count);
        truth += (depth % 2 ? -1 : 1) * sphere_volume(10.0 - depth, 12);
    }
    cr_assert_eq(mend(&mesh).inside_out, 0);
    assert_volume(&mesh, truth);
    shape_turn(&mesh, 0, 8 * 12 * 12); // the outermost alone: what lies in it goes with it, and all are turned
    cr_assert_eq(mend(&mesh).inside_out, 9);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_is_not_deceived_by_a_box_inside_a_box)
{
    // The small shell's box lies inside the ring's, in its hole: it is in no solid, and so cannot be a cavity.
    rlv_mesh mesh = {0};
    const double ring[4][2] = {{8, -1}, {10, -1}, {10, 1}, {8, 1}};
    shape_add_turned(&mesh, 4, ring, 64, true);
    size_t inner = shape_add_sphere(&mesh, zero, 0.5, 10);
    double truth = volume(&mesh);
    shape_turn(&mesh, inner, mesh.triangle_count);
    cr_assert_eq(mend(&mesh).inside_out, 1);
    assert_volume(&mesh, truth);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_sees_through_rays_that_meet_vertices_and_edges)
{
    // Coordinates on a coarse lattice: rays from the inner boxes' faces run through edges and vertices of the outer
    // shell.
    rlv_mesh mesh = {0};
    shape_add(&mesh, 6, (const float[18]){8, 0, 0, -8, 0, 0, 0, 8, 0, 0, -8, 0, 0, 0, 8, 0, 0, -8}, 8,
              (const uint32_t[24]){0, 2, 4, 2, 1, 4, 1, 3, 4, 3, 0, 4, 2, 0, 5, 1, 2, 5, 3, 1, 5, 0, 3, 5});
    double solid = volume(&mesh), boxes = 0.0;
    for (int x = -2; x <= 1; x++)
        for (int y = -2; y <= 1; y++)
        {
            size_t first = shape_add_box(&mesh, rlv_vec3_of(x, y, 0), rlv_vec3_of(x + 0.75, y + 0.75, 0.75));
            shape_turn(&mesh, first, mesh.triangle_count);
            boxes += 0.75 * 0.75 * 0.75;
        }
    cr_assert_eq(mend(&mesh).inside_out, 0);
    assert_volume(&mesh, solid - boxes);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_takes_solids_that_share_an_edge_for_two_that_close)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 1, 1));
    size_t second = shape_add_box(&mesh, rlv_vec3_of(1, 1, 0), rlv_vec3_of(2, 2, 1));
    shape_turn(&mesh, second, mesh.triangle_count);
    cr_assert_eq(rlv_mesh_weld(&mesh, NULL), RLV_DONE);
    cr_assert_eq(mesh.vertex_count, 14);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.branching_edges, 1);
    cr_assert_eq(health.shells, 2);
    cr_assert_eq(health.inside_out, 1);
    cr_assert_eq(health.open_edges, 0);
    cr_assert(health.closed);
    assert_volume(&mesh, 2.0);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_takes_solids_that_share_a_vertex_for_two_that_close)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 1, 1));
    size_t second = shape_add_box(&mesh, rlv_vec3_of(1, 1, 1), rlv_vec3_of(2, 2, 2));
    shape_turn(&mesh, second, mesh.triangle_count);
    rlv_mesh_weld(&mesh, NULL);
    cr_assert_eq(mesh.vertex_count, 15);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.branching_edges, 0);
    cr_assert_eq(health.shells, 2);
    cr_assert_eq(health.inside_out, 1);
    cr_assert(health.closed);
    assert_volume(&mesh, 2.0);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_keeps_a_cavity_that_touches_the_outer_shell)
{
    // The cavity's corner is one of the outer box's, its faces lie in the outer faces' planes or not at all.
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(4, 4, 4));
    size_t inner = shape_add(&mesh, 4, (const float[12]){0, 0, 0, 2, 1, 1, 1, 2, 1, 1, 1, 2}, 4,
                             (const uint32_t[12]){0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3});
    double whole = 64.0, hole = volume(&mesh) - whole;
    cr_assert_gt(hole, 0.5);
    shape_turn(&mesh, inner, mesh.triangle_count);
    rlv_mesh_weld(&mesh, NULL);
    cr_assert_eq(mesh.vertex_count, 11);
    cr_assert_eq(mend(&mesh).inside_out, 0);
    assert_volume(&mesh, whole - hole);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_says_that_a_wall_inside_a_solid_leaves_it_not_closed)
{
    // Two boxes that share a face of two triangles: the repeat is dropped, and three sheets meet at the face's edges.
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 1, 1));
    shape_add_box(&mesh, rlv_vec3_of(1, 0, 0), rlv_vec3_of(2, 1, 1));
    rlv_mesh_weld(&mesh, NULL);
    cr_assert_eq(mesh.vertex_count, 12);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.branching_edges, health.duplicate == 2 ? 4 : 5);
    cr_assert_eq(health.open_edges, 0);
    cr_assert_eq(health.closed, health.duplicate == 0);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_says_that_a_fin_on_a_solid_leaves_it_not_closed)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 1, 1));
    shape_add(&mesh, 1, (const float[3]){2, 2, 0}, 0, NULL);
    add_triangle(&mesh, 3, 7, 8);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.branching_edges, 1);
    cr_assert_eq(health.open_edges, 2);
    cr_assert_not(health.closed);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_counts_islands_by_area)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(10, 10, 10));                         // 600 mm2
    shape_add_box(&mesh, rlv_vec3_of(20, 0, 0), rlv_vec3_of(20.25, 0.25, 0.25)); // 0.375 mm2
    shape_add_box(&mesh, rlv_vec3_of(30, 0, 0), rlv_vec3_of(30.5, 0.5, 0.5));    // 1.5 mm2
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.shells, 3);
    cr_assert_eq(health.islands, 1);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_sorts_out_thousands_of_specks)
{
    // A ball with bubbles and with specks around it, half of the specks inside out. All are tetrahedra on a lattice.
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, zero, 10.0, 40);
    double truth = volume(&mesh);
    const float corner[12] = {0, 0, 0, 0.25f, 0, 0, 0, 0.25f, 0, 0, 0, 0.25f};
    const double speck = 0.25 * 0.25 * 0.25 / 6;
    size_t wrong = 0;
    for (int x = -14; x <= 14; x++)
        for (int y = -14; y <= 14; y++)
            for (int z = -14; z <= 14; z++)
            {
                double distance = sqrt((double)(x * x + y * y + z * z));
                if (distance > 9.0 && distance < 10.5)
                    continue;
                size_t v = mesh.vertex_count,
                       t = shape_add(&mesh, 4, corner, 4, (const uint32_t[12]){0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3});
                shape_shift(&mesh, v, rlv_vec3_of(x, y, z));
                bool bubble = distance < 10.0, turn = bubble || (x + y + z) % 2 == 0;
                if (turn)
                    shape_turn(&mesh, t, t + 4);
                wrong += turn && !bubble;
                truth += bubble ? -speck : speck;
            }
    rlv_mesh_health health = mend(&mesh);
    cr_assert_gt(health.shells, 20000);
    cr_assert_eq(health.islands, health.shells - 1);
    cr_assert_eq(health.inside_out, wrong);
    cr_assert(health.closed);
    cr_assert_float_eq(volume(&mesh), truth, 1e-10 * truth); // 100,000 triangles
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_does_not_take_an_open_shell_for_a_container)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(10, 10, 10));
    mesh.triangle_count = 10;
    size_t inner = shape_add_box(&mesh, rlv_vec3_of(4, 4, 4), rlv_vec3_of(5, 5, 5));
    shape_turn(&mesh, inner, mesh.triangle_count);
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.inside_out, 1);
    cr_assert_eq(health.open_edges, 4);
    rlv_mesh_free(&mesh);
}

Test(mesh, mend_survives_a_fan_of_a_hundred_thousand_triangles_on_one_edge)
{
    rlv_mesh mesh = {0};
    enum
    {
        LEAVES = 100000
    };
    cr_assert_eq(rlv_mesh_reserve(&mesh, LEAVES + 2, LEAVES, false, false, NULL), RLV_DONE);
    mesh.position_mm[5] = 1.0f;
    for (uint32_t i = 0; i < LEAVES; i++)
    {
        double angle = 2 * M_PI * i / LEAVES;
        mesh.position_mm[3 * (i + 2)] = (float)cos(angle);
        mesh.position_mm[3 * (i + 2) + 1] = (float)sin(angle);
        memcpy(mesh.corner + 3 * (size_t)i, (const uint32_t[3]){0, 1, i + 2}, 12);
    }
    rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.branching_edges, 1);
    cr_assert_eq(health.open_edges, 2 * LEAVES);
    cr_assert_eq(health.shells, LEAVES);
    memcpy(mesh.corner + 3 * (LEAVES - 1), (const uint32_t[3]){1, 0, 7}, 12); // the sixth leaf once more
    cr_assert_eq(mend(&mesh).duplicate, 1);
    cr_assert_eq(mesh.triangle_count, LEAVES - 1);
    rlv_mesh_free(&mesh);
}

// --- borders ---------------------------------------------------------------------------------------------------------

Test(mesh, a_closed_mesh_has_no_borders)
{
    rlv_mesh mesh = {0};
    rlv_mesh_borders borders = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 1, 1));
    cr_assert_eq(rlv_mesh_borders_find(&borders, &mesh, NULL), RLV_DONE);
    cr_assert_eq(borders.loop_count, 0);
    rlv_mesh_borders_free(&borders);
    rlv_mesh_borders_free(&borders);
    rlv_mesh_free(&mesh);
}

/// Whether some triangle runs along the edge from a to b.
static bool runs_along(const rlv_mesh* mesh, uint32_t a, uint32_t b)
{
    for (size_t t = 0; t < mesh->triangle_count; t++)
        for (size_t i = 0; i < 3; i++)
            if (mesh->corner[3 * t + i] == a && mesh->corner[3 * t + (i + 1) % 3] == b)
                return true;
    return false;
}

Test(mesh, borders_run_along_their_triangles)
{
    rlv_mesh mesh = {0};
    rlv_mesh_borders borders = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 1, 1));
    mesh.triangle_count = 10;
    cr_assert_eq(rlv_mesh_borders_find(&borders, &mesh, NULL), RLV_DONE);
    cr_assert_eq(borders.loop_count, 1);
    cr_assert_eq(borders.start[1], 4);
    for (size_t i = 0; i < 4; i++)
    {
        uint32_t a = borders.vertex[i], b = borders.vertex[(i + 1) % 4];
        cr_assert(runs_along(&mesh, a, b));
        cr_assert_not(runs_along(&mesh, b, a));
    }
    rlv_mesh_borders_free(&borders);
    rlv_mesh_free(&mesh);
}

Test(mesh, borders_that_touch_at_a_vertex_are_split_there)
{
    // A square of 4 x 4 cells with two holes of one cell each that meet at the middle vertex.
    rlv_mesh mesh = {0};
    rlv_mesh_borders borders = {0};
    for (int y = 0; y <= 4; y++)
        for (int x = 0; x <= 4; x++)
            shape_add(&mesh, 1, (const float[3]){(float)x, (float)y, 0}, 0, NULL);
    for (uint32_t y = 0; y < 4; y++)
        for (uint32_t x = 0; x < 4; x++)
        {
            if ((x == 1 && y == 1) || (x == 2 && y == 2))
                continue;
            uint32_t a = 5 * y + x;
            add_triangle(&mesh, a, a + 1, a + 6);
            add_triangle(&mesh, a, a + 6, a + 5);
        }
    cr_assert_eq(mend(&mesh).border_loops, 3);
    cr_assert_eq(rlv_mesh_borders_find(&borders, &mesh, NULL), RLV_DONE);
    cr_assert_eq(borders.loop_count, 3);
    cr_assert_eq(borders.start[3], 16 + 4 + 4);
    for (size_t loop = 0; loop < 3; loop++)
        for (size_t i = borders.start[loop]; i < borders.start[loop + 1]; i++)
            for (size_t j = borders.start[loop]; j < i; j++)
                cr_assert_neq(borders.vertex[i], borders.vertex[j]);
    rlv_mesh_borders_free(&borders);
    rlv_mesh_free(&mesh);
}

Test(mesh, borders_of_many_loose_triangles_are_loops_of_three)
{
    rlv_mesh mesh = {0};
    rlv_mesh_borders borders = {0};
    for (int i = 0; i < 5000; i++)
        shape_add(&mesh, 3, (const float[9]){(float)i, 0, 0, (float)i + 0.5f, 0, 0, (float)i, 1, 0}, 1,
                  (const uint32_t[3]){0, 1, 2});
    cr_assert_eq(rlv_mesh_borders_find(&borders, &mesh, NULL), RLV_DONE);
    cr_assert_eq(borders.loop_count, 5000);
    for (size_t i = 0; i <= 5000; i++)
        cr_assert_eq(borders.start[i], 3 * i);
    rlv_mesh_borders_free(&borders);
    rlv_mesh_free(&mesh);
}

// --- drop ------------------------------------------------------------------------------------------------------------

/// A vertex whose place and colour tell which it was.
static void mark_vertices(rlv_mesh* mesh)
{
    mesh->colour = calloc(3 * mesh->vertex_count, 1);
    cr_assert_not_null(mesh->colour);
    for (size_t v = 0; v < mesh->vertex_count; v++)
        mesh->colour[3 * v] = (uint8_t)(v % 251);
}

Test(mesh, drop_leaves_the_others_in_their_order_with_their_colours_and_objects)
{
    rlv_mesh mesh = {0}, was = {0};
    shape_add_sphere(&mesh, zero, 10.0, 20);
    mark_vertices(&mesh);
    mesh.object = calloc(mesh.triangle_count, sizeof *mesh.object);
    mesh.object_name = calloc(2, sizeof *mesh.object_name);
    mesh.object_name[0] = strdup("cradle");
    mesh.object_name[1] = strdup("block");
    mesh.object_count = 2;
    uint8_t* drop = calloc(mesh.triangle_count, 1);
    uint64_t state = 8;
    for (size_t t = 0; t < mesh.triangle_count; t++)
    {
        mesh.object[t] = (uint32_t)(t % 2);
        drop[t] = next_share(&state) < 0.8 ? 7 : 0;
    }
    cr_assert_eq(rlv_mesh_copy(&was, &mesh, NULL), RLV_DONE);
    cr_assert_eq(rlv_mesh_drop(&mesh, drop, NULL), RLV_DONE);
    size_t kept = 0;
    uint8_t* used = calloc(was.vertex_count, 1);
    for (size_t t = 0; t < was.triangle_count; t++)
    {
        if (drop[t])
            continue;
        cr_assert_eq(mesh.object[kept], was.object[t]);
        for (size_t i = 0; i < 3; i++)
        {
            const uint32_t now = mesh.corner[3 * kept + i], then = was.corner[3 * t + i];
            used[then] = 1;
            cr_assert_lt(now, mesh.vertex_count);
            cr_assert_eq(memcmp(mesh.position_mm + 3 * now, was.position_mm + 3 * then, 3 * sizeof(float)), 0);
        }
        kept++;
    }
    cr_assert_eq(mesh.triangle_count, kept);
    size_t vertices = 0;
    for (size_t v = 0; v < was.vertex_count; v++)
    {
        if (!used[v])
            continue;
        cr_assert_eq(memcmp(mesh.position_mm + 3 * vertices, was.position_mm + 3 * v, 3 * sizeof(float)), 0);
        cr_assert_eq(memcmp(mesh.colour + 3 * vertices, was.colour + 3 * v, 3), 0);
        vertices++;
    }
    cr_assert_eq(mesh.vertex_count, vertices);
    cr_assert_lt(vertices, was.vertex_count);
    cr_assert_eq(mesh.object_count, 2);
    cr_assert_str_eq(mesh.object_name[0], "cradle");
    free(drop);
    free(used);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&was);
}

Test(mesh, drop_makes_the_cut_an_open_border_of_a_mended_mesh)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, zero, 10.0, 20);
    cr_assert(mend(&mesh).closed);
    // The upper half: the equator is 4 * 20 edges.
    uint8_t* drop = calloc(mesh.triangle_count, 1);
    for (size_t i = 0; i < 3 * mesh.triangle_count; i++)
        drop[i / 3] |= mesh.position_mm[3 * (size_t)mesh.corner[i] + 2] > 0.0f;
    const size_t half = mesh.triangle_count / 2;
    cr_assert_eq(rlv_mesh_drop(&mesh, drop, NULL), RLV_DONE);
    cr_assert_eq(mesh.triangle_count, half);
    rlv_mesh_borders borders = {0};
    cr_assert_eq(rlv_mesh_borders_find(&borders, &mesh, NULL), RLV_DONE);
    cr_assert_eq(borders.loop_count, 1);
    cr_assert_eq(borders.start[1], 80);
    rlv_mesh before = {0};
    cr_assert_eq(rlv_mesh_copy(&before, &mesh, NULL), RLV_DONE);
    const rlv_mesh_health health = mend(&mesh);
    cr_assert_eq(health.shells, 1);
    cr_assert_eq(health.open_edges, 80);
    cr_assert_eq(health.mixed_winding + health.zero_area + health.duplicate + health.unused_vertices, 0);
    cr_assert_eq(memcmp(mesh.corner, before.corner, 3 * half * sizeof *mesh.corner), 0);
    free(drop);
    rlv_mesh_borders_free(&borders);
    rlv_mesh_free(&mesh);
    rlv_mesh_free(&before);
}

Test(mesh, drop_of_nothing_or_of_all_is_sound)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, zero, rlv_vec3_of(1, 2, 3));
    uint8_t drop[12] = {0};
    cr_assert_eq(rlv_mesh_drop(&mesh, drop, NULL), RLV_DONE);
    cr_assert_eq(mesh.triangle_count, 12);
    cr_assert_eq(mesh.vertex_count, 8);
    assert_volume(&mesh, 6.0);
    memset(drop, 1, sizeof drop);
    cr_assert_eq(rlv_mesh_drop(&mesh, drop, NULL), RLV_DONE);
    cr_assert_eq(mesh.triangle_count, 0);
    cr_assert_eq(mesh.vertex_count, 0);
    cr_assert_eq(rlv_mesh_drop(&mesh, drop, NULL), RLV_DONE);
    rlv_mesh_free(&mesh);
}
