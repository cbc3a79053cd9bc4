// Sections: handbook areas of cut solids, loops that close, and cuts through vertices that are no special case.
//
// Areas of plane sections: circle, annulus and rectangle (R. G. Budynas, W. C. Young, Roark's Formulas for Stress and
// Strain, table of properties of sections; from memory).

#include "section.h"

#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

TestSuite(section);

static rlv_lines cut(const rlv_mesh* mesh, rlv_plane plane)
{
    rlv_lines lines;
    rlv_error error = {0};
    cr_assert_eq(rlv_section_cut(&lines, mesh, &plane, NULL, &error), RLV_DONE, "%s", error.what);
    return lines;
}

static void expect_closed(const rlv_lines* lines, size_t count)
{
    cr_expect_eq(lines->line_count, count, "%zu lines", lines->line_count);
    for (size_t i = 0; i < lines->line_count; i++)
        cr_expect(lines->closed[i]);
}

Test(section, a_box_is_cut_in_its_rectangle_even_through_its_own_faces)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(-3, -2, -1), rlv_vec3_of(3, 2, 1));
    const double height[5] = {-1.0, -0.5, 0.0, 0.999, 1.0};
    for (int i = 0; i < 5; i++)
    {
        rlv_lines lines =
            cut(&mesh, rlv_plane_facing(rlv_vec3_of(0, 0, height[i]), rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 1, 0)));
        // What lies on the plane counts as above it: nothing is below the lower face, all is below the upper one.
        expect_closed(&lines, i > 0);
        cr_expect_float_eq(rlv_lines_area(&lines), i > 0 ? 24.0 : 0.0, 1e-12);
        cr_expect_float_eq(rlv_lines_length(&lines), i > 0 ? 20.0 : 0.0, 1e-12);
        rlv_lines_free(&lines);
    }
    rlv_mesh_free(&mesh);
}

Test(section, a_box_cut_along_its_diagonal_has_the_diagonal_rectangle_in_the_stated_frame)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(0, 0, 0), rlv_vec3_of(3, 4, 2));
    mesh.origin_mm = rlv_vec3_of(1e5, -2e5, 3e5);
    rlv_plane plane = rlv_plane_facing(mesh.origin_mm, rlv_vec3_of(4, -3, 0), rlv_vec3_of(0, 0, 1));
    rlv_lines lines = cut(&mesh, plane);
    expect_closed(&lines, 1);
    cr_expect_float_eq(rlv_lines_area(&lines), 10.0, 1e-9);
    double low[2], high[2];
    cr_assert(rlv_lines_box(&lines, low, high));
    // Seen against (4, -3, 0) with z up, the diagonal runs to the right from the corner that is the plane's origin.
    cr_expect_float_eq(low[0], 0.0, 1e-9);
    cr_expect_float_eq(high[0], 5.0, 1e-9);
    cr_expect_float_eq(low[1], 0.0, 1e-9);
    cr_expect_float_eq(high[1], 2.0, 1e-9);
    rlv_lines_free(&lines);
    rlv_mesh_free(&mesh);
}

Test(section, a_sphere_is_cut_in_the_handbook_circle_at_every_height_and_slant)
{
    const double radius = 10.0;
    const size_t cuts = 64;
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(1, 2, 3), radius, cuts);
    // An octahedron's faces have sides of sqrt(2) radius / cuts once cut, and are blown up by sqrt(3) at the most, in
    // the middle of a face. A triangle of that side lies within side^2 / (6 radius) of the sphere, and its section
    // within that over the cosine at which the plane meets it.
    double side = sqrt(6.0) * radius / (double)cuts, sag = side * side / (6.0 * radius);
    const rlv_vec3 way[3] = {{0, 0, 1}, {1, 1, 1}, {0.3, -0.8, 0.1}};
    for (int k = 0; k < 3; k++)
        for (double height = -9.0; height <= 9.0; height += 3.0)
        {
            rlv_vec3 unit = rlv_vec3_unit(way[k]);
            rlv_vec3 at = rlv_vec3_along(rlv_vec3_of(1, 2, 3), height, unit);
            rlv_lines lines = cut(&mesh, rlv_plane_facing(at, unit, rlv_vec3_of(0, 1, 0)));
            expect_closed(&lines, 1);
            double round = sqrt(radius * radius - height * height);
            double area = M_PI * round * round, slack = 2.0 * M_PI * round * sag * radius / round;
            cr_expect_leq(rlv_lines_area(&lines), area + 1e-4);
            cr_expect_geq(rlv_lines_area(&lines), area - slack);
            rlv_lines_free(&lines);
        }
    rlv_mesh_free(&mesh);
}

// A torus about z: distance of the tube's middle, its radius.
static void add_torus(rlv_mesh* mesh, double middle, double tube, size_t steps)
{
    double(*rz)[2] = malloc(steps * sizeof *rz);
    for (size_t i = 0; i < steps; i++)
    {
        rz[i][0] = middle + tube * cos(2.0 * M_PI * (double)i / (double)steps);
        rz[i][1] = tube * sin(2.0 * M_PI * (double)i / (double)steps);
    }
    shape_add_turned(mesh, steps, (const double(*)[2])rz, 2 * steps, true);
    free(rz);
}

Test(section, a_torus_is_cut_in_two_circles_or_in_a_ring)
{
    const double middle = 20.0, tube = 6.0;
    const size_t steps = 240;
    rlv_mesh mesh = {0};
    add_torus(&mesh, middle, tube, steps);
    // A polygon of n corners lacks (2 pi / n)^2 / 6 of its circle; twice as many turns lack a quarter of that.
    double lack = 2.0 * pow(2.0 * M_PI / (double)steps, 2.0) / 6.0;
    // Through the axis: two circles of the tube, straight through vertices.
    rlv_lines two = cut(&mesh, rlv_plane_facing(rlv_vec3_of(0, 0, 0), rlv_vec3_of(0, 1, 0), rlv_vec3_of(0, 0, 1)));
    expect_closed(&two, 2);
    double area = 2.0 * M_PI * tube * tube;
    cr_expect_leq(fabs(rlv_lines_area(&two) - area), area * lack);
    // Across it, h over the equator: a ring of pi ((R + c)^2 - (R - c)^2) = 4 pi R c, c = sqrt(r^2 - h^2), whose inner
    // line runs clockwise.
    for (double h = -4.0; h <= 4.0; h += 2.0)
    {
        rlv_lines ring = cut(&mesh, rlv_plane_facing(rlv_vec3_of(0, 0, h), rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 1, 0)));
        expect_closed(&ring, 2);
        double c = sqrt(tube * tube - h * h), ring_area = 4.0 * M_PI * middle * c;
        // Chords of the tube sag by r (2 pi / n)^2 / 8, which is more across a slope by r / c.
        double sag = tube * pow(2.0 * M_PI / (double)steps, 2.0) / 8.0 * tube / c;
        cr_expect_leq(fabs(rlv_lines_area(&ring) - ring_area), ring_area * lack + 4.0 * M_PI * middle * sag);
        cr_expect_lt(fmin(rlv_line_area(&ring, 0), rlv_line_area(&ring, 1)), 0.0);
        rlv_lines_free(&ring);
    }
    rlv_lines_free(&two);
    rlv_mesh_free(&mesh);
}

Test(section, a_hollow_takes_its_area_away)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(-5, -5, -5), rlv_vec3_of(5, 5, 5));
    size_t first = shape_add_box(&mesh, rlv_vec3_of(-2, -2, -2), rlv_vec3_of(2, 2, 2));
    shape_turn(&mesh, first, mesh.triangle_count);
    rlv_lines lines = cut(&mesh, rlv_plane_facing(rlv_vec3_of(0, 0.25, 0), rlv_vec3_of(0, 1, 0), rlv_vec3_of(0, 0, 1)));
    expect_closed(&lines, 2);
    cr_expect_float_eq(rlv_lines_area(&lines), 100.0 - 16.0, 1e-12);
    rlv_lines_free(&lines);
    rlv_mesh_free(&mesh);
}

Test(section, areas_of_sections_add_up_to_the_volume)
{
    rlv_mesh mesh = {0};
    shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), 10.0, 24);
    double volume = rlv_mesh_measure(&mesh).volume_mm3, sum = 0.0, step = 0.05;
    rlv_vec3 way = rlv_vec3_unit(rlv_vec3_of(1, 2, 2));
    for (double h = -10.0 + 0.5 * step; h < 10.0; h += step)
    {
        rlv_lines lines = cut(&mesh, rlv_plane_facing(rlv_vec3_scale(way, h), way, rlv_vec3_of(0, 0, 1)));
        sum += step * rlv_lines_area(&lines);
        rlv_lines_free(&lines);
    }
    // The midpoint rule on A(h), whose second derivative is 2 pi at the most: step^2 / 24 * 2 pi * 20.
    cr_expect_float_eq(sum, volume, step * step / 24.0 * 2.0 * M_PI * 20.0 * 1.5);
    rlv_mesh_free(&mesh);
}

Test(section, an_open_mesh_ends_at_its_border)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(-1, -1, -1), rlv_vec3_of(1, 1, 1));
    // Without its lower face (the first two triangles).
    mesh.triangle_count -= 2;
    memmove(mesh.corner, mesh.corner + 6, 3 * mesh.triangle_count * sizeof *mesh.corner);
    rlv_lines lines = cut(&mesh, rlv_plane_facing(rlv_vec3_of(0, 0.25, 0), rlv_vec3_of(0, 1, 0), rlv_vec3_of(0, 0, 1)));
    cr_assert_eq(lines.line_count, 1);
    cr_expect_not(lines.closed[0]);
    cr_expect_float_eq(rlv_lines_length(&lines), 6.0, 1e-12);
    rlv_lines_free(&lines);
    rlv_mesh_free(&mesh);
}

Test(section, only_the_triangles_asked_for_are_cut)
{
    rlv_mesh mesh = {0};
    size_t first = shape_add_box(&mesh, rlv_vec3_of(-1, -1, -1), rlv_vec3_of(1, 1, 1));
    size_t second = shape_add_box(&mesh, rlv_vec3_of(4, -1, -1), rlv_vec3_of(5, 1, 1));
    uint8_t only[24] = {0};
    for (size_t t = second; t < mesh.triangle_count; t++)
        only[t] = 1;
    cr_assert_eq(first, 0);
    rlv_plane plane = rlv_plane_facing(rlv_vec3_of(0, 0, 0), rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 1, 0));
    rlv_lines lines;
    cr_assert_eq(rlv_section_cut(&lines, &mesh, &plane, only, NULL), RLV_DONE);
    expect_closed(&lines, 1);
    cr_expect_float_eq(rlv_lines_area(&lines), 2.0, 1e-12);
    rlv_lines_free(&lines);
    rlv_mesh_free(&mesh);
}

Test(section, a_plane_that_is_not_finite_is_refused)
{
    rlv_mesh mesh = {0};
    shape_add_box(&mesh, rlv_vec3_of(-1, -1, -1), rlv_vec3_of(1, 1, 1));
    rlv_plane plane = rlv_plane_facing(rlv_vec3_of(0, NAN, 0), rlv_vec3_of(0, 0, 1), rlv_vec3_of(0, 1, 0));
    rlv_lines lines;
    cr_expect_eq(rlv_section_cut(&lines, &mesh, &plane, NULL, NULL), RLV_BAD_INPUT);
    rlv_mesh_free(&mesh);
}
