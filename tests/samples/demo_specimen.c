#include "demo_specimen.h"
#include "solid.h"

#include <criterion/criterion.h>
#include <omp.h>
#include <string.h>

/// The specimen takes seconds to make, so each process makes one.
static demo_specimen made;

static void make(void)
{
    cr_assert_eq(specimen_make(&made, 417, NULL), RLV_DONE);
}

static void drop(void)
{
    specimen_free(&made);
}

static rlv_mesh meshed(int stage, size_t triangles, uint64_t seed)
{
    rlv_mesh mesh = {0};
    cr_assert_eq(solid_mesh(&mesh, &made, stage, triangles, seed, NULL), RLV_DONE);
    return mesh;
}

Test(fish, scutes_meet_the_fates_of_the_plan)
{
    const int count[FISH_FATES] = {78, 8, 5, 2, 2, 3, 2}; // in place, slid, carried, inverted, oblique, spoil, absent
    const int row_count[FISH_ROWS] = {12, 34, 35, 10, 9};
    int fate[FISH_FATES] = {0}, row[FISH_ROWS] = {0}, chipped = 0;
    demo_fish fish = fish_make(5);
    for (int i = 0; i < FISH_SCUTES; i++)
    {
        fate[fish.scute[i].fate]++;
        row[fish.scute[i].row]++;
        chipped += fish.scute[i].chipped;
    }
    for (int i = 0; i < FISH_FATES; i++)
        cr_expect_eq(fate[i], count[i]);
    for (int i = 0; i < FISH_ROWS; i++)
        cr_expect_eq(row[i], row_count[i]);
    cr_expect_eq(chipped, 1);
}

Test(fish, scutes_moved_as_far_as_the_plan_says)
{
    for (uint64_t seed = 1; seed < 9; seed++)
    {
        demo_fish fish = fish_make(seed);
        for (int i = 0; i < FISH_SCUTES; i++)
        {
            const fish_scute* s = &fish.scute[i];
            double shift = rlv_vec3_length(rlv_vec3_sub(s->found.at_mm, s->life.at_mm));
            double out = rlv_vec3_dot(s->found.out, s->life.out);
            if (s->fate == FISH_IN_PLACE)
                cr_expect(shift == 0.0 && out > 1.0 - 1e-12);
            if (s->fate == FISH_SLID)
                cr_expect_float_eq(shift, 6.0, 1e-9);
            if (s->fate == FISH_CARRIED)
                cr_expect(shift >= 10.0 && shift <= 40.0, "carried %g mm", shift);
            if (s->fate == FISH_INVERTED)
                cr_expect_lt(out, -0.9);
        }
    }
}

Test(fish, frames_are_square_and_across_goes_to_the_left)
{
    demo_fish fish = fish_make(3);
    for (int i = 0; i < FISH_SCUTES; i++)
    {
        const fish_frame* f = &fish.scute[i].life;
        cr_expect_float_eq(rlv_vec3_dot(f->along, f->out), 0.0, 1e-12);
        cr_expect_float_eq(rlv_vec3_length(rlv_vec3_sub(f->across, rlv_vec3_cross(f->along, f->out))), 0.0, 1e-12);
    }
    fish_section c = fish_section_at(&fish, 200.0);
    cr_expect_gt(rlv_vec3_dot(fish_skin_frame(&fish, 200.0, 0.0).across, c.left), 0.9);
    cr_expect_gt(rlv_vec3_dot(fish_skin_frame(&fish, 200.0, 0.0).out, c.up), 0.9);
}

static void expect_areas_to_add_up(void)
{
    for (int stage = 1; stage < SPECIMEN_STAGES; stage++)
    {
        double removed, added, areas_removed = 0.0, areas_added = 0.0;
        specimen_change(&made, stage - 1, stage, &removed, &added);
        for (int i = 0; i < SPECIMEN_AREAS; i++)
        {
            areas_removed += made.area[i].stage == stage ? made.area[i].removed_mm3 : 0.0;
            areas_added += made.area[i].stage == stage ? made.area[i].added_mm3 : 0.0;
        }
        // The same numbers in another order: rounding of some millions of terms.
        cr_expect_float_eq(areas_removed, removed, 1e-9 * removed);
        cr_expect_float_eq(areas_added, added, 1e-9 * removed);
    }
    for (int i = 0; i < SPECIMEN_AREAS; i++)
        cr_expect_gt(made.area[i].plan_area_mm2, 0.0, "%s", made.area[i].name);
}

static void expect_additions_where_planned(void)
{
    for (int stage = 1; stage < SPECIMEN_STAGES; stage++)
    {
        double removed, added;
        specimen_change(&made, stage - 1, stage, &removed, &added);
        cr_expect_eq(added > 0.0, stage == 3 || stage == SPECIMEN_SLAB_BACK);
    }
    for (int i = 0; i < SPECIMEN_AREAS; i++)
        if (made.area[i].kind == SPECIMEN_MATERIAL_ADDED)
            cr_expect_eq(made.area[i].removed_mm3, 0.0);
}

static void expect_scutes_to_come_to_light(void)
{
    static double shown[FISH_SCUTES][SPECIMEN_STAGES], all[FISH_SCUTES];
    specimen_shown_mm2(&made, shown, all);
    int in_field = 0, in_the_end = 0;
    for (int i = 0; i < FISH_SCUTES; i++)
    {
        const fish_scute* s = &made.fish.scute[i];
        if (s->fate == FISH_ABSENT || s->fate == FISH_IN_SPOIL)
            cr_expect_eq(all[i], 0.0);
        for (int k = 1; k < SPECIMEN_STAGES && !s->chipped; k++)
            cr_expect(shown[i][k] >= shown[i][k - 1]);
        in_field += shown[i][0] > 0.0;
        in_the_end += shown[i][SPECIMEN_STAGES - 1] > 0.0;
        if (s->row == FISH_DORSAL)
            cr_expect_gt(shown[i][SPECIMEN_STAGES - 1], 0.9 * all[i]);
    }
    cr_expect(in_field > 0 && in_field < 10);      // the find shows a few,
    cr_expect(in_the_end > 50 && in_the_end < 95); // and the belly stays in the rock
}

Test(specimen, areas_add_up_and_scutes_come_to_light_and_stay, .init = make, .fini = drop)
{
    expect_areas_to_add_up();
    expect_additions_where_planned();
    expect_scutes_to_come_to_light();
}

static void expect_closed_shells(void)
{
    for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
    {
        rlv_mesh mesh = meshed(stage, SOLID_LEAST, 7);
        const size_t triangles = mesh.triangle_count;
        cr_expect_eq(mesh.vertex_count, triangles / 2 + 2); // Euler: a sphere
        cr_expect(triangles > SOLID_LEAST * 9 / 10 && triangles < SOLID_LEAST * 11 / 10);
        rlv_mesh_health health;
        cr_assert_eq(rlv_mesh_mend(&mesh, &health, NULL), RLV_DONE);
        cr_expect(health.closed);
        cr_expect_eq(health.shells, 1);
        cr_expect_eq(health.unused_vertices + health.mixed_winding + health.inside_out, 0);
        cr_expect_eq(mesh.triangle_count, triangles);
        rlv_mesh_free(&mesh);
    }
}

/// Area of a stage's steep walls (over 60 degrees), as seen from the side.
static double wall_area_mm2(int stage)
{
    const demo_relief* map = &made.surface[stage];
    double area = 0.0;
    for (size_t i = map->size[0] + 1; i + map->size[0] + 1 < map->size[0] * map->size[1]; i++)
    {
        const float* at = map->height_mm + i;
        double x = (double)(at[1] - at[-1]) / (2.0 * map->pitch_mm);
        double y = (double)(at[map->size[0]] - *(at - map->size[0])) / (2.0 * map->pitch_mm), slope = hypot(x, y);
        bool inside = block_inside_mm(&made.block, relief_x(map, i), relief_y(map, i)) > 1.0;
        area += inside && slope > 1.7 ? slope * map->pitch_mm * map->pitch_mm : 0.0;
    }
    return area;
}

/// How far the change of volume between meshes of two stages is from the truth.
static double change_off_mm3(int from, int to, size_t triangles)
{
    double removed, added;
    specimen_change(&made, from, to, &removed, &added);
    rlv_mesh before = meshed(from, triangles, 11), after = meshed(to, triangles, 12);
    double change = rlv_mesh_measure(&before).volume_mm3 - rlv_mesh_measure(&after).volume_mm3;
    rlv_mesh_free(&before);
    rlv_mesh_free(&after);
    return fabs(change - (removed - added));
}

static void expect_volumes_to_converge(void)
{
    // Relief without bone: an error of second order in the triangles' size. Sixteen times as many are a fourth of it,
    // so that the error falls to a sixteenth; to a fourth at least, since relief of the finest wavelengths is first met
    // then.
    double coarse = change_off_mm3(0, 1, 60000), fine = change_off_mm3(0, 1, 960000);
    cr_expect_lt(fine, 0.25 * coarse, "%g %g", coarse, fine);
    // With bones in relief, a wall stands up to half a cell from where it should: at most walls x half a cell. The
    // upper surface has about two thirds of the triangles, two a cell, and cells are largest away from bone.
    double walls = wall_area_mm2(0) + wall_area_mm2(5);
    for (size_t triangles = 60000; triangles <= 960000; triangles *= 4)
    {
        double cell = sqrt(4.0 * made.block.half_mm[0] * made.block.half_mm[1] / ((double)triangles / 3.0));
        double off = change_off_mm3(0, 5, triangles);
        cr_expect_lt(off, 0.5 * cell * walls, "%g of %g", off, 0.5 * cell * walls);
        cr_log_info("%zu: %g of %g\n", triangles, off, 0.5 * cell * walls);
    }
    cr_log_info("%g %g\n", coarse, fine);
}

/// How far a mesh of a stage is from what the stage's solid holds, by a sum over columns and sides that knows no mesh.
static double content_off_mm3(int stage, size_t triangles)
{
    rlv_mesh mesh = meshed(stage, triangles, 13);
    double volume = rlv_mesh_measure(&mesh).volume_mm3;
    rlv_mesh_free(&mesh);
    return volume - made.content[stage].solid_mm3;
}

static void expect_contents(void)
{
    // The base and the lower sides are meshed with a quarter of the columns: their chords cut most, and by the square
    // of their size. Sixteen times the triangles leave a sixteenth; a fourth at least, since ledges are first met then.
    double coarse = content_off_mm3(0, 60000), fine = content_off_mm3(0, 960000);
    cr_expect_lt(fabs(fine), 0.25 * fabs(coarse), "%g %g", coarse, fine);
    for (int stage = 0; stage < SPECIMEN_STAGES; stage++)
    {
        const specimen_content *now = &made.content[stage], *last = stage > 0 ? now - 1 : now;
        double sum = now->matrix_mm3 + now->bone_mm3 + now->added_mm3 + now->gap_mm3;
        cr_expect_float_eq(sum, now->solid_mm3, 8 * 0x1p-53 * now->solid_mm3); // four terms of that size
        double removed = 0.0, added = 0.0, c[SPECIMEN_CLASSES];
        if (stage > 0)
            specimen_change(&made, stage - 1, stage, &removed, &added);
        specimen_classes(&made, stage, c);
        cr_expect_float_eq(last->solid_mm3 - now->solid_mm3, removed - added, 1e-9 * now->solid_mm3);
        double unseen = stage == 1 ? made.spoil_bone_mm3 : 0.0;
        double matrix = c[SPECIMEN_MATRIX_REMOVED] - unseen + c[SPECIMEN_PIECE_DETACHED] - c[SPECIMEN_PIECE_JOINED];
        cr_expect_float_eq(last->matrix_mm3 - now->matrix_mm3, matrix, 1e-9 * now->solid_mm3);
        cr_expect_float_eq(last->bone_mm3 - now->bone_mm3, c[SPECIMEN_BONE_LOST] + unseen, 1e-9 * now->solid_mm3);
    }
}

Test(solid, meshes_hold_what_the_content_of_a_stage_says, .init = make, .fini = drop)
{
    expect_contents();
}

/// Corners of a mesh in the exact colour of the painted scutes, and those of dorsal scutes that show.
Test(solid, one_stage_is_painted_on_the_dorsal_scutes_and_nowhere_else, .init = make, .fini = drop)
{
    static const uint8_t paint[3] = {SPECIMEN_PAINT_RED, SPECIMEN_PAINT_GREEN, SPECIMEN_PAINT_BLUE};
    for (int stage = SPECIMEN_PAINTED_STAGE - 1; stage <= SPECIMEN_PAINTED_STAGE; stage++)
    {
        rlv_mesh mesh = meshed(stage, SOLID_LEAST, 7);
        size_t painted = 0, strayed = 0;
        for (size_t i = 0; i < mesh.vertex_count; i++)
            if (memcmp(mesh.colour + 3 * i, paint, 3) == 0)
            {
                rlv_vec3 at = rlv_mesh_vertex(&mesh, i);
                uint16_t owner = made.owner[relief_nearest(&made.surface[0], at.x, at.y)];
                painted++;
                strayed += owner < BONES_SCUTE || owner >= BONES_SKULL ||
                           made.fish.scute[owner - BONES_SCUTE].row != FISH_DORSAL;
            }
        cr_expect_eq(painted > 100, stage == SPECIMEN_PAINTED_STAGE, "%zu", painted);
        cr_expect_eq(strayed, 0);
        rlv_mesh_free(&mesh);
    }
}

Test(solid, stages_are_closed_shells_and_their_volumes_go_to_the_truth, .init = make, .fini = drop)
{
    expect_closed_shells();
    expect_volumes_to_converge();
    rlv_mesh mesh = {0};
    rlv_error error = {0};
    cr_expect_eq(solid_mesh(&mesh, &made, 0, SOLID_LEAST - 1, 1, &error), RLV_BAD_INPUT);
    cr_expect_eq(solid_mesh(&mesh, &made, 0, SOLID_MOST + 1, 1, &error), RLV_BAD_INPUT);
    cr_expect(mesh.position_mm == NULL);
}

Test(solid, seeds_give_the_same_bytes_on_any_number_of_threads, .init = make, .fini = drop)
{
    rlv_mesh many = meshed(4, SOLID_LEAST, 3), other = meshed(4, SOLID_LEAST, 4);
    omp_set_num_threads(1);
    demo_specimen again = {0};
    cr_assert_eq(specimen_make(&again, 417, NULL), RLV_DONE);
    const size_t points = made.surface[0].size[0] * made.surface[0].size[1];
    for (int k = 0; k < SPECIMEN_STAGES; k++)
        cr_expect(memcmp(made.surface[k].height_mm, again.surface[k].height_mm, points * sizeof(float)) == 0);
    for (int i = 0; i < SPECIMEN_AREAS; i++)
        cr_expect(made.area[i].removed_mm3 == again.area[i].removed_mm3);
    specimen_free(&again);
    rlv_mesh one = meshed(4, SOLID_LEAST, 3);
    cr_expect(memcmp(many.position_mm, one.position_mm, 3 * one.vertex_count * sizeof(float)) == 0);
    cr_expect(memcmp(many.corner, one.corner, 3 * one.triangle_count * sizeof(uint32_t)) == 0);
    cr_expect(memcmp(many.colour, one.colour, 3 * one.vertex_count) == 0);
    cr_expect(memcmp(other.position_mm, one.position_mm, 3 * one.vertex_count * sizeof(float)) != 0);
    rlv_mesh_free(&many);
    rlv_mesh_free(&other);
    rlv_mesh_free(&one);
}
