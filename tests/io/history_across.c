/// A broken rock with a broken bone, a row and masked bone over its joint, as a specimen: what the program tells of
/// them is what they were placed as.

#include "mesh_file.h"
#include "support/breaking.h"
#include "support/expecting.h"
#include "support/program.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

TestSuite(history_across, .init = program_enter, .fini = program_leave, .timeout = 1800);

enum
{
    PLACES = 5, ///< of the row, on either part
};

static const char yaml[] = "specimen: LQ-0417\n"
                           "stages:\n"
                           "  - {id: whole, mesh: meshes/before.ply, mesh_unit: mm}\n"
                           "  - {id: broken, mesh: meshes/block.ply, mesh_unit: mm}\n"
                           "rows:\n"
                           "  - {id: LL, side: left, places: [1, 20], places_known: true, kind: scute}\n"
                           "  - {id: DD, side: median, places: [1, 20], kind: scute}\n"
                           "pieces:\n"
                           "  - id: lid\n"
                           "    detached: broken\n"
                           "    meshes: [{stage: broken, mesh: meshes/piece.ply, mesh_unit: mm}]\n";

static void write_mesh(const rlv_mesh* mesh, const char* path)
{
    rlv_error error = {0};
    cr_assert_eq(rlv_mesh_file_write(mesh, path, &error), RLV_DONE, "%s", error.what);
}

/// The rock, and where its joint is: in the frame of `whole`, as the program finds it.
typedef struct broken_rock
{
    breaking made;
    rlv_pose to_block, to_piece; ///< from that frame
    rlv_vec3 middle, normal, side, out;
    FILE* points;
} broken_rock;

static rlv_vec3 vector_of(const json_t* object, const char* key)
{
    const json_t* list = json_object_get(object, key);
    cr_assert_eq(json_array_size(list), 3, "%s", key);
    return rlv_vec3_of(json_number_value(json_array_get(list, 0)), json_number_value(json_array_get(list, 1)),
                       json_number_value(json_array_get(list, 2)));
}

static broken_rock write_rock(void)
{
    const breaking_plan plan = breaking_draw(0, 16000);
    broken_rock broken = {.made = breaking_make(&plan, false)};
    cr_assert_eq(mkdir("rock", 0777), 0);
    cr_assert_eq(mkdir("rock/meshes", 0777), 0);
    write_mesh(&broken.made.before, "rock/meshes/before.ply");
    write_mesh(&broken.made.block, "rock/meshes/block.ply");
    write_mesh(&broken.made.piece, "rock/meshes/piece.ply");
    program_write("rock/specimen.yaml", yaml);
    json_t* told = told_by("rejoin rock lid --json", 0);
    const json_t* joint = json_object_get(told, "joint");
    // Looked for, and none is there.
    cr_expect(json_is_array(json_object_get(told, "across")));
    cr_expect_eq(json_array_size(json_object_get(told, "across")), 0);
    cr_expect(json_is_null(json_object_get(told, "bone_touch")));
    broken.middle = vector_of(joint, "middle_mm");
    broken.normal = vector_of(joint, "normal");
    broken.side = rlv_vec3_across(broken.normal);
    broken.out = rlv_vec3_cross(broken.normal, broken.side);
    json_decref(told);
    const rlv_pose piece_home = rlv_pose_compose(&broken.made.from_block, &broken.made.closed);
    broken.to_block = rlv_pose_inverse(&broken.made.from_block);
    broken.to_piece = rlv_pose_inverse(&piece_home);
    broken.points = fopen("rock/points.csv", "w");
    fputs("stage,mesh,object,point,x,y,z,sd_mm\n", broken.points);
    return broken;
}

/// A point of an object, so far along the joint's normal, to its side and out from its middle, as it truly lies.
static void place(broken_rock* broken, bool piece, const char* object, int number, double along, double side,
                  double out)
{
    const rlv_vec3 at = rlv_vec3_along(
        rlv_vec3_along(rlv_vec3_along(broken->middle, along, broken->normal), side, broken->side), out, broken->out);
    const rlv_vec3 own = rlv_pose_apply(piece ? &broken->to_piece : &broken->to_block, at);
    fprintf(broken->points, "broken,%s,%s,%d,%.9g,%.9g,%.9g,0.2\n", piece ? "lid" : "block", object, number, own.x,
            own.y, own.z);
}

/// An outline of a plate: eight points round a box in the plane of the joint's normal and its side.
static void place_plate(broken_rock* broken, bool piece, const char* object, const double from[2], const double to[2],
                        double out)
{
    static const double ring[8][2] = {{0, 0}, {0.5, 0}, {1, 0}, {1, 0.5}, {1, 1}, {0.5, 1}, {0, 1}, {0, 0.5}};
    for (int k = 0; k < 8; k++)
        place(broken, piece, object, k + 1, from[0] + ring[k][0] * (to[0] - from[0]),
              from[1] + ring[k][1] * (to[1] - from[1]), out);
}

/// A bone that lies 2 mm off on the piece, 12 mm wide; a row that goes on as it was, of a pitch of 11 mm; and one that
/// has a single element on the piece.
static void place_runs(broken_rock* broken)
{
    FILE* elements = fopen("rock/elements.csv", "w");
    fputs("id,kind,row,place,side,stage,part,bag\nfemur,bone,,,,broken,,\n", elements);
    place_plate(broken, false, "femur", (double[]){-40, -6}, (double[]){-0.5, 6}, 0);
    place_plate(broken, true, "femur", (double[]){0.5, -4}, (double[]){40, 8}, 0);
    for (int k = 0; k < 2; k++)
        for (int i = 0; i < PLACES; i++)
        {
            char id[16];
            const double at = (k == 0 ? -1.0 : 1.0) * (5.5 + 11.0 * i), off = 0.2 * (i % 2),
                         out = 10.0 - 0.2 * (i / 2 % 2);
            snprintf(id, sizeof id, "L%d", k == 0 ? 10 - i : 11 + i);
            fprintf(elements, "%s,scute,LL,%d,left,broken,,\n", id, k == 0 ? 10 - i : 11 + i);
            place_plate(broken, k == 1, id, (double[]){at - 4, 20 + off - 3}, (double[]){at + 4, 20 + off + 3}, out);
            snprintf(id, sizeof id, "D%d", k == 0 ? 10 - i : 11 + i);
            if (k == 1 && i > 0)
                continue;
            fprintf(elements, "%s,scute,DD,%d,median,broken,,\n", id, k == 0 ? 10 - i : 11 + i);
            place_plate(broken, k == 1, id, (double[]){at - 4, -23}, (double[]){at + 4, -17}, out);
        }
    fclose(elements);
}

static void expect_holds(const json_t* row, const char* name, const char* unit, double truly)
{
    char key[3][64];
    snprintf(key[0], sizeof key[0], "%s_%s", name, unit);
    snprintf(key[1], sizeof key[1], "%s_low_%s", name, unit);
    snprintf(key[2], sizeof key[2], "%s_high_%s", name, unit);
    cr_expect(told_number(row, key[1]) <= truly && truly <= told_number(row, key[2]),
              "%s: %.3f (%.3f to %.3f), truly %.3f", key[0], told_number(row, key[0]), told_number(row, key[1]),
              told_number(row, key[2]), truly);
}

static void expect_words(const char* line, const char* const* words)
{
    program_run run = program_call(line, NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    for (size_t i = 0; words[i] != NULL; i++)
        cr_expect_not_null(strstr(run.out, words[i]), "lacks '%s':\n%s", words[i], run.out);
    program_free(&run);
}

Test(history_across, broken_bones_and_rows_are_told_as_they_lie)
{
    broken_rock broken = write_rock();
    place_runs(&broken);
    fclose(broken.points);
    json_t* told = told_by("rejoin rock lid --json --out out", 0);
    const json_t* list = json_object_get(told, "across");
    cr_assert_eq(json_array_size(list), 3);
    const json_t *bone = told_row(list, "run", "femur"), *row = told_row(list, "run", "LL"),
                 *short_row = told_row(list, "run", "DD");
    cr_expect_str_eq(told_text(bone, "is"), "bone");
    cr_expect_str_eq(told_text(bone, "stage"), "broken");
    cr_expect(json_is_false(json_object_get(bone, "straight")) && told_number(bone, "p") < 1e-4);
    expect_holds(bone, "offset", "mm", 2.0);
    expect_holds(bone, "bend", "deg", 0.0);
    expect_holds(bone, "gap", "mm", 1.0);
    expect_holds(bone, "twist", "deg", 0.0);
    cr_expect_float_eq(fabs(rlv_vec3_dot(vector_of(bone, "along"), broken.normal)), 1.0, 0.01);
    // Across the bone, in its plate: 2 mm along the joint's side, either way about.
    const double across = told_number(bone, "offset_across_mm") * rlv_vec3_dot(vector_of(bone, "across"), broken.side);
    cr_expect_float_eq(across, 2.0, 0.4); // points of 0.2 mm, carried on by less than their own length
    cr_expect_str_eq(told_text(row, "is"), "row");
    cr_expect(json_is_true(json_object_get(row, "straight")));
    expect_holds(row, "offset", "mm", 0.0);
    expect_holds(row, "spacing", "mm", 11.0);
    expect_holds(row, "pitch", "mm", 11.0);
    cr_expect_eq((int)told_number(row, "places"), 1);
    cr_expect_not_null(strstr(told_text(short_row, "why"), "the piece has 1 element of it, and 3 are needed"));
    cr_expect(json_is_null(json_object_get(short_row, "p")) || json_object_get(short_row, "p") == NULL);
    expect_in_file("out/rejoin_across.csv", "\nlid,femur,bone,broken,8,8,");
    expect_in_file("out/rejoin_across.csv", "\nlid,LL,row,broken,5,5,");
    expect_in_file("out/rejoin.json", "\"across\"");
    json_decref(told);
    expect_words("rejoin rock lid",
                 (const char* const[]){"what runs over the joint", "femur, broken: it does not go straight on",
                                       "row LL: it goes straight on, as far as can be told",
                                       "row DD: not told: the piece has 1 element", "none is masked on either part",
                                       NULL});
    json_t* report = told_by("report rock --json", 0);
    const json_t* of_lid = json_array_get(json_object_get(report, "rejoin"), 0);
    cr_expect_eq(json_array_size(json_object_get(of_lid, "across")), 3);
    json_decref(report);
    expect_in_file("rock/out/report.html", "What runs over the joint of lid");
    expect_in_file("rock/out/report.html", "it does not go straight on");
    expect_in_file("rock/out/tables/rejoin_across.csv", "\nlid,femur,bone,");
    breaking_free(&broken.made);
}

// --- Bone on the joint -----------------------------------------------------------------------------------------------

/// An outline on the joint's face, through the vertices nearest to a ring.
static void place_ring(broken_rock* broken, bool piece, const char* object, double radius_mm)
{
    const rlv_mesh* mesh = piece ? &broken->made.piece : &broken->made.block;
    const rlv_pose* to = piece ? &broken->to_piece : &broken->to_block;
    for (int k = 0; k < 12; k++)
    {
        const double angle = 2.0 * M_PI * k / 12;
        const rlv_vec3 at =
            rlv_pose_apply(to, rlv_vec3_along(rlv_vec3_along(broken->middle, radius_mm * cos(angle), broken->side),
                                              radius_mm * sin(angle), broken->out));
        rlv_vec3 best = {0, 0, 0};
        double least = INFINITY;
        for (size_t v = 0; v < mesh->vertex_count; v++)
        {
            const rlv_vec3 one = rlv_mesh_vertex(mesh, v);
            const double apart = rlv_vec3_length(rlv_vec3_sub(one, at));
            if (apart < least)
                least = apart, best = one;
        }
        fprintf(broken->points, "broken,%s,%s,%d,%.9g,%.9g,%.9g,\n", piece ? "lid" : "block", object, k + 1, best.x,
                best.y, best.z);
    }
}

static void write_masks(const char* masks)
{
    char text[2048];
    snprintf(text, sizeof text, "%s%s", yaml, masks);
    program_write("rock/specimen.yaml", text);
}

static void expect_refused(const char* masks, const char* what)
{
    write_masks(masks);
    program_run run = program_call("rejoin rock lid", NULL);
    cr_expect_eq(run.status, 2, "%s", masks);
    cr_expect_not_null(strstr(run.err, what), "%s", run.err);
    program_free(&run);
}

Test(history_across, bone_on_the_joint_is_told_with_its_least_width_and_place)
{
    broken_rock broken = write_rock();
    place_ring(&broken, false, "plate", 12.0);
    place_ring(&broken, true, "plate", 12.0);
    fclose(broken.points);
    write_masks("masks:\n"
                "  - {stage: broken, is: bone, outline: plate}\n"
                "  - {stage: broken, is: bone, piece: lid, outline: plate}\n");
    json_t* told = told_by("rejoin rock lid --json --out out", 0);
    const json_t *gap = json_object_get(told, "gap_after"), *bone = json_object_get(gap, "bone");
    cr_assert(json_is_object(bone));
    cr_expect_not_null(told_text(told, "bone_touch"));
    cr_expect_str_neq(told_text(told, "bone_touch"), "none");
    // In the ring, whose relief lengthens it; a disc of 12 mm on both faces is 905 mm2.
    cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(vector_of(bone, "at_mm"), broken.middle)), 20.0);
    cr_expect(told_number(bone, "area_mm2") > 600.0 && told_number(bone, "area_mm2") < 1800.0, "%.0f mm2",
              told_number(bone, "area_mm2"));
    cr_expect_gt(told_number(bone, "rim_mm"), 5.0);
    cr_expect(told_number(bone, "width_low_mm") < told_number(bone, "width_high_mm"));
    // Contacts on it say so, and no other does.
    const json_t* contacts = json_object_get(told, "contacts");
    for (size_t k = 0; k < json_array_size(contacts); k++)
    {
        const json_t* one = json_array_get(contacts, k);
        if (!json_is_null(json_object_get(one, "bone")))
            cr_expect_lt(rlv_vec3_length(rlv_vec3_sub(vector_of(one, "at_mm"), broken.middle)), 30.0);
    }
    expect_in_file("out/rejoin_gaps.csv", "bone_of,bone_mm,bone_low_mm,bone_high_mm");
    expect_in_file("out/rejoin.csv", "bone_touch");
    json_decref(told);
    expect_words("rejoin rock lid",
                 (const char* const[]){"the nearest on the joint’s face, the ", "from the rim", NULL});
    // Rock is not masked as bone far from the joint: none lies on it.
    write_masks("");
    expect_refused("masks:\n  - {stage: whole, is: bone, piece: lid, outline: plate}\n", "it has none at 'whole'");
    expect_refused("masks:\n  - {stage: broken, is: support, piece: lid, outline: plate}\n", "the mask is of support");
    expect_refused("masks:\n  - {stage: broken, is: bone, piece: lid, outline: nothing}\n", "piece's own mesh");
    expect_refused("masks:\n  - {stage: broken, is: bone, piece: lid, object: bone}\n", "named objects");
    breaking_free(&broken.made);
}
