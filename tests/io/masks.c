#include "masks.h"

#include "support/numbered.h"
#include "support/shapes.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

// --- a specimen by hand ----------------------------------------------------------------------------------------------

#define RADIUS 50.0

static int bone_colour[3] = {226, 211, 170};

static rlv_stage_record stage[4] = {{.id = "field"}, {.id = "s1"}, {.id = "s2"}, {.id = "s3"}};
static rlv_piece_record piece[3] = {
    {.id = "flank", .detached = "s2", .joined = "s3"},
    {.id = "chip", .parent = "flank", .detached = "s2"},
    {.id = "counterpart", .joined = "s3"},
};

static void paint(rlv_mesh* mesh, size_t vertex, const int* colour)
{
    for (size_t i = 0; i < 3; i++)
        mesh->colour[3 * vertex + i] = (uint8_t)colour[i];
}

static void name_objects(rlv_mesh* mesh, const char* a, const char* b)
{
    mesh->object_name = calloc(2, sizeof *mesh->object_name);
    cr_assert_not_null(mesh->object_name);
    mesh->object_name[0] = strdup(a);
    mesh->object_name[1] = strdup(b);
    mesh->object_count = 2;
}

/// A round block (object `rock`) in a cradle (object `cradle`, a box below it), mended; its top, above 40 mm, in the
/// colour of bone and all else grey.
static rlv_mesh stage_mesh(void)
{
    static const int grey[3] = {128, 128, 128};
    rlv_mesh mesh = {0};
    const size_t cradle = shape_add_sphere(&mesh, rlv_vec3_of(0, 0, 0), RADIUS, 24);
    const size_t block = mesh.triangle_count;
    cr_assert_eq(cradle, 0);
    shape_add_box(&mesh, rlv_vec3_of(-60, -60, -80), rlv_vec3_of(60, 60, -60));
    mesh.colour = calloc(3 * mesh.vertex_count, 1);
    mesh.object = calloc(mesh.triangle_count, sizeof *mesh.object);
    cr_assert(mesh.colour != NULL && mesh.object != NULL);
    for (size_t v = 0; v < mesh.vertex_count; v++)
        paint(&mesh, v, mesh.position_mm[3 * v + 2] > 40.0f ? bone_colour : grey);
    for (size_t t = block; t < mesh.triangle_count; t++)
        mesh.object[t] = 1;
    name_objects(&mesh, "rock", "cradle");
    rlv_mesh_health health;
    cr_assert_eq(rlv_mesh_mend(&mesh, &health, NULL), RLV_DONE);
    cr_assert_eq(health.shells, 2);
    return mesh;
}

#define RING 12

/// A ring of points on the block, in cm and shuffled as a person may write them: about z at a height, or, where
/// `aside`, about x.
static void draw_ring(rlv_point_record* point, char* stage_id, char* object, double height, bool aside)
{
    static char* const number[RING] = {"1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12"};
    const double across = sqrt(RADIUS * RADIUS - height * height);
    for (size_t i = 0; i < RING; i++)
    {
        const double turn = 2.0 * M_PI * (double)i / RING;
        const double a = across * cos(turn) / 10.0, b = across * sin(turn) / 10.0, c = height / 10.0;
        rlv_point_record* p = &point[5 * i % RING]; // 5 and 12 have no divisor in common
        *p = (rlv_point_record){.stage = stage_id, .mesh = "block", .object = object, .point = number[i]};
        const double at[3] = {aside ? c : a, aside ? a : b, aside ? b : c};
        memcpy(p->at, at, sizeof at);
    }
}

/// How high the sides of such a ring rise: they are arcs of great circles, over the middles of its chords.
static double arc_top(double height)
{
    const double chord = sqrt(RADIUS * RADIUS - height * height) * cos(M_PI / RING);
    return RADIUS * height / hypot(chord, height);
}

/// Free with numbered_free where it has points.
static rlv_specimen specimen_of(rlv_mask_record* mask, size_t masks, rlv_point_record* point, size_t points)
{
    rlv_specimen specimen = {
        .stage = stage, .stage_count = 4, .piece = piece, .piece_count = 3, .mask = mask, .mask_count = masks};
    if (points > 0)
        numbered_place(&specimen, points, point);
    return specimen;
}

static rlv_parts find(const rlv_specimen* specimen, const char* at, const rlv_mesh* mesh)
{
    rlv_parts parts = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_parts_find(&parts, specimen, at, mesh, 10.0, NULL, &error), RLV_DONE, "%s: %s", error.where,
                 error.what);
    cr_assert_eq(parts.triangle_count, mesh->triangle_count);
    return parts;
}

static void expect_refusal(const rlv_specimen* specimen, const char* at, const rlv_mesh* mesh, const char* where,
                           const char* what, const char* mend)
{
    rlv_parts parts = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_parts_find(&parts, specimen, at, mesh, 10.0, NULL, &error), RLV_BAD_INPUT);
    cr_assert_str_eq(error.where, where);
    cr_assert_not_null(strstr(error.what, what), "\"%s\" in place of \"%s\"", error.what, what);
    cr_assert_not_null(strstr(error.mend, mend), "\"%s\" in place of \"%s\"", error.mend, mend);
    cr_assert_null(parts.is);
    cr_assert_null(parts.piece);
}

static double centre_along(const rlv_mesh* mesh, size_t triangle, size_t axis)
{
    double sum = 0.0;
    for (size_t i = 0; i < 3; i++)
        sum += (double)mesh->position_mm[3 * (size_t)mesh->corner[3 * triangle + i] + axis];
    return sum / 3.0;
}

/// The longest edge of the sphere that stage_mesh has.
static double longest_edge(const rlv_mesh* mesh)
{
    double most = 0.0;
    for (size_t i = 0; i < 3 * mesh->triangle_count; i++)
    {
        if (mesh->object[i / 3] != 0)
            continue;
        const size_t next = i % 3 == 2 ? i - 2 : i + 1;
        most = fmax(most, rlv_vec3_length(rlv_vec3_sub(rlv_mesh_vertex(mesh, mesh->corner[i]),
                                                       rlv_mesh_vertex(mesh, mesh->corner[next]))));
    }
    return most;
}

// --- three ways to mask ----------------------------------------------------------------------------------------------

Test(masks, no_mask_is_no_part)
{
    rlv_mesh mesh = stage_mesh();
    rlv_mask_record mask = {.stage = "s2", .object = "nothing of the kind"}; // on another stage
    const rlv_specimen specimen = specimen_of(&mask, 1, NULL, 0);
    rlv_parts parts = find(&specimen, "s1", &mesh);
    for (size_t t = 0; t < mesh.triangle_count; t++)
        cr_assert_eq(parts.is[t], 0);
    cr_assert_null(parts.piece);
    cr_assert_eq(parts.support_count + parts.bone_count, 0);
    rlv_parts_free(&parts);
    rlv_mesh_free(&mesh);
}

Test(masks, an_object_is_masked_whole_and_by_its_whole_name)
{
    rlv_mesh mesh = stage_mesh();
    rlv_mask_record mask = {.stage = "s1", .kind = RLV_MASK_SUPPORT, .object = "cradle"};
    const rlv_specimen specimen = specimen_of(&mask, 1, NULL, 0);
    rlv_parts parts = find(&specimen, "s1", &mesh);
    for (size_t t = 0; t < mesh.triangle_count; t++)
        cr_assert_eq(parts.is[t], mesh.object[t] == 1 ? RLV_IS_SUPPORT : 0);
    cr_assert_eq(parts.support_count, 12);
    rlv_parts_free(&parts);
    mask.object = "cradl";
    expect_refusal(&specimen, "s1", &mesh, "specimen.yaml: masks[0].object", "there is no object 'cradl'",
                   "the mesh has objects rock, cradle");
    rlv_mesh_free(&mesh);
}

Test(masks, a_colour_is_masked_where_two_vertices_have_it)
{
    rlv_mesh mesh = stage_mesh();
    rlv_mask_record mask = {.stage = "s1", .kind = RLV_MASK_BONE, .colour_count = 3, .colour = bone_colour};
    const rlv_specimen specimen = specimen_of(&mask, 1, NULL, 0);
    rlv_parts parts = find(&specimen, "s1", &mesh);
    size_t bone = 0;
    for (size_t t = 0; t < mesh.triangle_count; t++)
    {
        int of_three = 0;
        for (size_t i = 0; i < 3; i++)
            of_three += mesh.position_mm[3 * (size_t)mesh.corner[3 * t + i] + 2] > 40.0f;
        cr_assert_eq(parts.is[t], of_three >= 2 ? RLV_IS_BONE : 0);
        bone += of_three >= 2;
    }
    cr_assert_gt(bone, 100);
    cr_assert_eq(parts.bone_count, bone);
    rlv_parts_free(&parts);
    rlv_mesh_free(&mesh);
}

Test(masks, an_outline_is_masked_from_points_in_the_files_unit)
{
    rlv_mesh mesh = stage_mesh();
    rlv_point_record point[2 * RING];
    draw_ring(point, "s1", "skull", 30.0, false);
    draw_ring(point + RING, "s2", "skull", 10.0, false); // the same name on another stage
    rlv_mask_record mask = {.stage = "s1", .kind = RLV_MASK_BONE, .outline = "skull"};
    rlv_specimen specimen = specimen_of(&mask, 1, point, 2 * RING);
    rlv_parts parts = find(&specimen, "s1", &mesh);
    // A border keeps within an edge of its arcs.
    const double edge = longest_edge(&mesh);
    for (size_t t = 0; t < mesh.triangle_count; t++)
    {
        const double z = centre_along(&mesh, t, 2);
        if (z > arc_top(30.0) + edge || z < 30.0 - edge)
            cr_assert_eq(parts.is[t], z > 30.0 ? RLV_IS_BONE : 0, "at %g", z);
    }
    cr_assert_gt(parts.bone_count, 100);
    rlv_parts_free(&parts);
    numbered_free(&specimen);
    rlv_mesh_free(&mesh);
}

Test(masks, a_surface_of_the_callers_own_gives_the_same)
{
    rlv_mesh mesh = stage_mesh();
    rlv_point_record point[RING];
    draw_ring(point, "s1", "skull", 30.0, true);
    rlv_mask_record mask = {.stage = "s1", .kind = RLV_MASK_BONE, .outline = "skull"};
    rlv_specimen specimen = specimen_of(&mask, 1, point, RING);
    rlv_parts parts = find(&specimen, "s1", &mesh), other = {0};
    rlv_surface* surface = NULL;
    cr_assert_eq(rlv_surface_prepare(&surface, &mesh, NULL, NULL), RLV_DONE);
    cr_assert_eq(rlv_parts_find(&other, &specimen, "s1", &mesh, 10.0, surface, NULL), RLV_DONE);
    cr_assert_eq(memcmp(parts.is, other.is, mesh.triangle_count), 0);
    rlv_surface_free(surface);
    rlv_parts_free(&parts);
    rlv_parts_free(&other);
    numbered_free(&specimen);
    rlv_mesh_free(&mesh);
}

// --- what wins -------------------------------------------------------------------------------------------------------

Test(masks, support_wins_over_bone_and_pieces_in_either_order)
{
    rlv_mesh mesh = stage_mesh();
    rlv_point_record point[2 * RING];
    draw_ring(point, "s1", "jacket", 20.0, false);
    draw_ring(point + RING, "s1", "flank", 10.0, false);
    rlv_mask_record mask[3] = {
        {.stage = "s1", .kind = RLV_MASK_SUPPORT, .outline = "jacket"},
        {.stage = "s1", .kind = RLV_MASK_BONE, .colour_count = 3, .colour = bone_colour},
        {.stage = "s1", .kind = RLV_MASK_PIECE, .piece = "flank", .outline = "flank"},
    };
    for (int order = 0; order < 2; order++)
    {
        rlv_specimen specimen = specimen_of(mask, 3, point, 2 * RING);
        rlv_parts parts = find(&specimen, "s1", &mesh);
        size_t support = 0, flank = 0;
        for (size_t t = 0; t < mesh.triangle_count; t++)
        {
            if (parts.is[t] == RLV_IS_SUPPORT)
                cr_assert_eq(parts.piece[t], 0);
            support += parts.is[t] == RLV_IS_SUPPORT;
            flank += parts.piece[t] == 1;
            cr_assert_neq(parts.is[t], RLV_IS_SUPPORT | RLV_IS_BONE);
        }
        cr_assert_gt(flank, 50); // the belt between the two rings
        cr_assert_eq(parts.support_count, support);
        cr_assert_eq(parts.bone_count, 0); // all of the bone lies in the jacket
        rlv_parts_free(&parts);
        numbered_free(&specimen);
        const rlv_mask_record first = mask[0];
        mask[0] = mask[2];
        mask[2] = first;
    }
    rlv_mesh_free(&mesh);
}

Test(masks, a_piece_may_carry_bone)
{
    rlv_mesh mesh = stage_mesh();
    rlv_point_record point[RING];
    draw_ring(point, "s1", "flank", 10.0, false);
    rlv_mask_record mask[2] = {
        {.stage = "s1", .kind = RLV_MASK_BONE, .colour_count = 3, .colour = bone_colour},
        {.stage = "s1", .kind = RLV_MASK_PIECE, .piece = "flank", .outline = "flank"},
    };
    rlv_specimen specimen = specimen_of(mask, 2, point, RING);
    rlv_parts parts = find(&specimen, "s1", &mesh);
    size_t both = 0;
    for (size_t t = 0; t < mesh.triangle_count; t++)
        both += parts.is[t] == RLV_IS_BONE && parts.piece[t] == 1;
    cr_assert_eq(both, parts.bone_count);
    cr_assert_gt(both, 100);
    rlv_parts_free(&parts);
    numbered_free(&specimen);
    rlv_mesh_free(&mesh);
}

Test(masks, bone_of_a_piece_is_on_its_own_mesh_alone)
{
    rlv_mesh mesh = stage_mesh();
    rlv_mask_record mask[2] = {
        {.stage = "s1", .kind = RLV_MASK_BONE, .piece = "flank", .object = "rock"},
        {.stage = "s1", .kind = RLV_MASK_BONE, .object = "cradle"},
    };
    const rlv_specimen specimen = specimen_of(mask, 2, NULL, 0);
    rlv_parts block = find(&specimen, "s1", &mesh), flank = {0}, chip = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_parts_find_on_piece(&flank, &specimen, "s1", "flank", &mesh, 1.0, &error), RLV_DONE, "%s",
                 error.what);
    cr_assert_eq(rlv_parts_find_on_piece(&chip, &specimen, "s1", "chip", &mesh, 1.0, &error), RLV_DONE);
    for (size_t t = 0; t < mesh.triangle_count; t++)
    {
        cr_assert_eq(block.is[t], mesh.object[t] == 1 ? RLV_IS_BONE : 0);
        cr_assert_eq(flank.is[t], mesh.object[t] == 0 ? RLV_IS_BONE : 0);
    }
    cr_expect_eq(chip.bone_count, 0);
    cr_expect_str_eq(rlv_mask_mesh(&mask[0]), "flank");
    cr_expect_str_eq(rlv_mask_mesh(&mask[1]), "block");
    rlv_parts_free(&chip);
    rlv_parts_free(&flank);
    rlv_parts_free(&block);
    rlv_mesh_free(&mesh);
}

Test(masks, a_sub_piece_wins_over_its_parent_and_else_the_first_mask)
{
    rlv_mesh mesh = stage_mesh();
    rlv_point_record point[3 * RING];
    draw_ring(point, "s1", "flank", 10.0, false);
    draw_ring(point + RING, "s1", "chip", 30.0, false);
    draw_ring(point + 2 * RING, "s3", "lid", 10.0, false);
    rlv_mask_record mask[4] = {
        {.stage = "s1", .kind = RLV_MASK_PIECE, .piece = "flank", .outline = "flank"},
        {.stage = "s1", .kind = RLV_MASK_PIECE, .piece = "chip", .outline = "chip"},
        {.stage = "s3", .kind = RLV_MASK_PIECE, .piece = "counterpart", .outline = "lid"},
        {.stage = "s3", .kind = RLV_MASK_PIECE, .piece = "flank", .object = "rock"},
    };
    for (int order = 0; order < 2; order++)
    {
        rlv_specimen specimen = specimen_of(mask, 4, point, 3 * RING);
        rlv_parts parts = find(&specimen, "s1", &mesh);
        size_t flank = 0, chip = 0;
        for (size_t t = 0; t < mesh.triangle_count; t++)
        {
            flank += parts.piece[t] == 1;
            chip += parts.piece[t] == 2;
            if (centre_along(&mesh, t, 2) > arc_top(30.0) + longest_edge(&mesh))
                cr_assert_eq(parts.piece[t], 2);
        }
        cr_assert(flank > 100 && chip > 100);
        rlv_parts_free(&parts);
        numbered_free(&specimen);
        const rlv_mask_record first = mask[0];
        mask[0] = mask[1];
        mask[1] = first;
    }
    rlv_specimen specimen = specimen_of(mask, 4, point, 3 * RING);
    rlv_parts parts = find(&specimen, "s3", &mesh);
    for (size_t t = 0; t < mesh.triangle_count; t++)
        if (centre_along(&mesh, t, 2) > arc_top(10.0) + longest_edge(&mesh))
            cr_assert_eq(parts.piece[t], 3);
        else if (centre_along(&mesh, t, 2) < 10.0 - longest_edge(&mesh))
            cr_assert_eq(parts.piece[t], mesh.object[t] == 0 ? 1 : 0);
    rlv_parts_free(&parts);
    numbered_free(&specimen);
    rlv_mesh_free(&mesh);
}

// --- support dropped -------------------------------------------------------------------------------------------------

Test(masks, without_its_support_the_mesh_is_mended_and_keeps_its_parts)
{
    rlv_mesh mesh = stage_mesh();
    rlv_point_record point[2 * RING];
    draw_ring(point, "s1", "sandbag", -30.0, false);
    draw_ring(point + RING, "s1", "flank", 10.0, true);
    rlv_mask_record mask[4] = {
        {.stage = "s1", .kind = RLV_MASK_SUPPORT, .object = "cradle"},
        {.stage = "s1", .kind = RLV_MASK_SUPPORT, .outline = "sandbag"},
        {.stage = "s1", .kind = RLV_MASK_BONE, .colour_count = 3, .colour = bone_colour},
        {.stage = "s1", .kind = RLV_MASK_PIECE, .piece = "flank", .outline = "flank"},
    };
    rlv_specimen specimen = specimen_of(mask, 4, point, 2 * RING);
    rlv_parts parts = find(&specimen, "s1", &mesh);
    const size_t all = mesh.triangle_count, support = parts.support_count, bone = parts.bone_count;
    cr_assert_gt(support, 12 + 100);
    double flank = 0.0, flank_after = 0.0;
    for (size_t t = 0; t < mesh.triangle_count; t++)
        flank += parts.piece[t] == 1 ? centre_along(&mesh, t, 0) : 0.0;
    cr_assert_eq(rlv_parts_drop_support(&parts, &mesh, NULL), RLV_DONE);
    cr_assert_eq(mesh.triangle_count, all - support);
    cr_assert_eq(parts.triangle_count, mesh.triangle_count);
    cr_assert_eq(parts.support_count, 0);
    cr_assert_eq(parts.bone_count, bone);
    size_t left = 0;
    for (size_t t = 0; t < mesh.triangle_count; t++)
    {
        cr_assert_eq(mesh.object[t], 0);
        int of_three = 0;
        for (size_t i = 0; i < 3; i++)
            of_three += memcmp(mesh.colour + 3 * (size_t)mesh.corner[3 * t + i], (uint8_t[3]){226, 211, 170}, 3) == 0;
        cr_assert_eq(parts.is[t], of_three >= 2 ? RLV_IS_BONE : 0);
        left += parts.is[t] == RLV_IS_BONE;
        flank_after += parts.piece[t] == 1 ? centre_along(&mesh, t, 0) : 0.0;
    }
    cr_assert_eq(left, bone);
    cr_assert_eq(flank, flank_after); // the same terms in the same order
    cr_assert_gt(flank, 0.0);
    rlv_mesh_health health;
    cr_assert_eq(rlv_mesh_mend(&mesh, &health, NULL), RLV_DONE);
    cr_assert_eq(health.shells, 1);
    cr_assert_eq(health.border_loops, 1); // where the sandbag was
    cr_assert_eq(health.mixed_winding + health.zero_area + health.duplicate + health.unused_vertices, 0);
    rlv_parts_free(&parts);
    numbered_free(&specimen);
    rlv_mesh_free(&mesh);
}

Test(masks, without_support_there_is_nothing_to_drop)
{
    rlv_mesh mesh = stage_mesh();
    const rlv_specimen specimen = specimen_of(NULL, 0, NULL, 0);
    rlv_parts parts = find(&specimen, "s1", &mesh);
    const size_t all = mesh.triangle_count;
    cr_assert_eq(rlv_parts_drop_support(&parts, &mesh, NULL), RLV_DONE);
    cr_assert_eq(mesh.triangle_count, all);
    cr_assert_eq(parts.triangle_count, all);
    rlv_parts_free(&parts);
    rlv_mesh_free(&mesh);
}

// --- what is refused -------------------------------------------------------------------------------------------------

Test(masks, an_object_is_refused_where_there_are_none_or_it_is_empty)
{
    rlv_mesh mesh = stage_mesh();
    rlv_mask_record mask[2] = {{.stage = "s2", .object = "x"}, {.stage = "s1", .object = "cradle"}};
    const rlv_specimen specimen = specimen_of(mask, 2, NULL, 0);
    memset(mesh.object, 0, mesh.triangle_count * sizeof *mesh.object);
    expect_refusal(&specimen, "s1", &mesh, "specimen.yaml: masks[1].object",
                   "'cradle' of the mesh at 's1' has no faces", "the mesh has objects rock, cradle");
    free(mesh.object);
    mesh.object = NULL;
    expect_refusal(&specimen, "s1", &mesh, "specimen.yaml: masks[1].object", "there is no object 'cradle'",
                   "no named objects");
    rlv_mesh_free(&mesh);
}

Test(masks, many_objects_are_listed_as_far_as_a_line_goes)
{
    rlv_mesh mesh = stage_mesh();
    for (size_t i = 0; i < 2; i++)
        free(mesh.object_name[i]);
    mesh.object_name = realloc(mesh.object_name, 100 * sizeof *mesh.object_name);
    mesh.object_count = 100;
    for (size_t i = 0; i < 100; i++)
        cr_assert_gt(asprintf(&mesh.object_name[i], "鱗板-%zu", i), 0);
    rlv_mask_record mask = {.stage = "s1", .object = "scute"};
    const rlv_specimen specimen = specimen_of(&mask, 1, NULL, 0);
    expect_refusal(&specimen, "s1", &mesh, "specimen.yaml: masks[0].object", "there is no object 'scute'",
                   "鱗板-0, 鱗板-1, 鱗板-2");
    expect_refusal(&specimen, "s1", &mesh, "specimen.yaml: masks[0].object", "there is no object 'scute'", " more");
    rlv_mesh_free(&mesh);
}

Test(masks, a_colour_that_no_face_has_is_refused_with_the_nearest)
{
    rlv_mesh mesh = stage_mesh();
    int shifted[3] = {226, 210, 170};
    rlv_mask_record mask = {.stage = "s1", .kind = RLV_MASK_BONE, .colour_count = 3, .colour = shifted};
    const rlv_specimen specimen = specimen_of(&mask, 1, NULL, 0);
    expect_refusal(&specimen, "s1", &mesh, "specimen.yaml: masks[0].colour", "[226, 210, 170]", "[226, 211, 170]");
    free(mesh.colour);
    mesh.colour = NULL;
    expect_refusal(&specimen, "s1", &mesh, "specimen.yaml: masks[0].colour", "no vertex colours", "by object");
    rlv_mesh_free(&mesh);
}

/// A refusal of what is masked on a piece's own mesh: by the mask's key, and in words of that mesh.
static void expect_piece_refusal(rlv_mask_record* mask, const rlv_mesh* mesh, const char* where, const char* what)
{
    rlv_piece_mesh_record at = {.stage = "s2", .mesh = {.mesh = "meshes/flank.ply"}};
    rlv_piece_record own = {.id = "flank", .detached = "s2", .mesh_count = 1, .mesh = &at};
    rlv_specimen specimen = specimen_of(mask, 1, NULL, 0);
    specimen.piece = &own;
    specimen.piece_count = 1;
    rlv_parts parts = {0};
    rlv_error error = {0};
    cr_assert_eq(rlv_parts_find_on_piece(&parts, &specimen, "s2", "flank", mesh, 1.0, &error), RLV_BAD_INPUT);
    cr_expect_str_eq(error.where, where);
    cr_expect_not_null(strstr(error.what, what), "\"%s\" in place of \"%s\"", error.what, what);
}

Test(masks, a_mask_of_a_pieces_mesh_is_refused_in_that_meshs_name)
{
    rlv_mesh mesh = stage_mesh();
    int shifted[3] = {226, 210, 170};
    rlv_mask_record object = {.stage = "s2", .kind = RLV_MASK_BONE, .piece = "flank", .object = "x"},
                    colour = {
                        .stage = "s2", .kind = RLV_MASK_BONE, .piece = "flank", .colour_count = 3, .colour = shifted};
    expect_piece_refusal(&object, &mesh, "specimen.yaml: masks[0].object",
                         "there is no object 'x' in the mesh of 'flank' at 's2' (meshes/flank.ply)");
    expect_piece_refusal(&colour, &mesh, "specimen.yaml: masks[0].colour",
                         "no face of the mesh of 'flank' at 's2' (meshes/flank.ply) has [226, 210, 170]");
    free(mesh.colour);
    mesh.colour = NULL;
    expect_piece_refusal(&colour, &mesh, "specimen.yaml: masks[0].colour",
                         "the mesh of 'flank' at 's2' (meshes/flank.ply) has no vertex colours");
    rlv_mesh_free(&mesh);
}

Test(masks, a_colour_on_one_vertex_of_a_face_is_none)
{
    rlv_mesh mesh = stage_mesh();
    int dot[3] = {255, 0, 255};
    paint(&mesh, 100, dot);
    rlv_mask_record mask = {.stage = "s1", .kind = RLV_MASK_BONE, .colour_count = 3, .colour = dot};
    const rlv_specimen specimen = specimen_of(&mask, 1, NULL, 0);
    expect_refusal(&specimen, "s1", &mesh, "specimen.yaml: masks[0].colour", "no face", "nearest colour");
    rlv_mesh_free(&mesh);
}

Test(masks, an_outline_is_refused_by_its_key_and_in_its_own_words)
{
    rlv_mesh mesh = stage_mesh();
    rlv_point_record point[RING];
    draw_ring(point, "s1", "skull", 30.0, false);
    rlv_mask_record mask[2] = {{.stage = "s1", .kind = RLV_MASK_BONE, .object = "rock"},
                               {.stage = "s1", .kind = RLV_MASK_BONE, .outline = "skull"}};
    rlv_point_record pair[2] = {point[0], point[5]}; // 1 and 2
    rlv_specimen specimen = specimen_of(mask, 2, pair, 2);
    const char* where = "specimen.yaml: masks[1].outline";
    expect_refusal(&specimen, "s1", &mesh, where, "'skull': an outline of 2 points encloses nothing", "three points");
    numbered_free(&specimen);
    // Two of its numbers exchanged.
    char* third = point[5 * 2 % RING].point;
    point[5 * 2 % RING].point = point[5 * 8 % RING].point;
    point[5 * 8 % RING].point = third;
    numbered_place(&specimen, RING, point);
    expect_refusal(&specimen, "s1", &mesh, where, "'skull': it crosses itself", "in their order");
    for (size_t i = 0; i < RING; i++)
        for (size_t k = 0; k < 3; k++)
            point[i].at[k] *= 10.0; // in mm, where the file is in cm
    expect_refusal(&specimen, "s1", &mesh, where, "'skull': point 1 of 12 lies", "unit");
    mask[1].outline = "skul";
    expect_refusal(&specimen, "s1", &mesh, where, "'skul': points.csv has no points of that name on 'block' at 's1'",
                   "points.csv");
    numbered_free(&specimen);
    rlv_mesh_free(&mesh);
}

Test(masks, a_piece_is_masked_on_the_last_stage_before_it_comes_off_and_where_it_is_back)
{
    rlv_mesh mesh = stage_mesh();
    rlv_mask_record mask = {.kind = RLV_MASK_PIECE, .piece = "flank", .object = "rock"};
    const rlv_specimen specimen = specimen_of(&mask, 1, NULL, 0);
    const bool allowed[3][4] = {{false, true, false, true}, {false, true, false, false}, {false, false, false, true}};
    const char* words[3] = {"mask it at 's1', the last stage before it comes off, or at 's3', where it is back",
                            "mask it at 's1', the last stage before it comes off", "mask it at 's3', where it is back"};
    for (size_t p = 0; p < 3; p++)
        for (size_t s = 0; s < 4; s++)
        {
            mask.piece = piece[p].id;
            mask.stage = stage[s].id;
            if (!allowed[p][s])
            {
                expect_refusal(&specimen, stage[s].id, &mesh, "specimen.yaml: masks[0].stage", piece[p].id, words[p]);
                continue;
            }
            rlv_parts parts = find(&specimen, stage[s].id, &mesh);
            cr_assert_eq(parts.piece[0], p + 1);
            rlv_parts_free(&parts);
        }
    rlv_mesh_free(&mesh);
}

Test(masks, a_piece_that_never_was_on_the_block_is_not_masked)
{
    rlv_mesh mesh = stage_mesh();
    rlv_piece_record loose[2] = {{.id = "loose"}, {.id = "first", .detached = "field"}};
    rlv_mask_record mask = {.stage = "field", .kind = RLV_MASK_PIECE, .piece = "loose", .object = "rock"};
    rlv_specimen specimen = specimen_of(&mask, 1, NULL, 0);
    specimen.piece = loose;
    specimen.piece_count = 2;
    expect_refusal(&specimen, "field", &mesh, "specimen.yaml: masks[0].stage", "'loose'", "leave the mask out");
    mask.piece = "first"; // off at the first stage: there is none before
    expect_refusal(&specimen, "field", &mesh, "specimen.yaml: masks[0].stage", "'first'", "leave the mask out");
    mask.piece = "no such";
    expect_refusal(&specimen, "field", &mesh, "specimen.yaml: masks[0].piece", "there is no piece 'no such'",
                   "by its id");
    rlv_mesh_free(&mesh);
}

Test(masks, a_mesh_that_is_all_support_is_refused)
{
    rlv_mesh mesh = stage_mesh();
    rlv_mask_record mask[2] = {{.stage = "s1", .object = "rock"}, {.stage = "s1", .object = "cradle"}};
    const rlv_specimen specimen = specimen_of(mask, 2, NULL, 0);
    expect_refusal(&specimen, "s1", &mesh, "specimen.yaml: masks", "all of the mesh at 's1' is support",
                   "not of the block");
    rlv_mesh_free(&mesh);
}

Test(masks, free_is_safe_on_nothing)
{
    rlv_parts parts = {0};
    rlv_parts_free(&parts);
    cr_assert_null(parts.is);
}
