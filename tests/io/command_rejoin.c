#include "mesh_file.h"
#include "support/expecting.h"
#include "support/program.h"
#include "support/rejoining.h"
#include "support/told.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

TestSuite(command_rejoin, .init = program_enter, .fini = program_leave, .timeout = 1800);

static const size_t triangles = 16000;

static void write_mesh(const rlv_mesh* mesh, const char* path)
{
    rlv_error error = {0};
    cr_assert_eq(rlv_mesh_file_write(mesh, path, &error), RLV_DONE, "%s", error.what);
}

/// Write a break as before.ply, block.ply and piece.ply into a folder ("" or "meshes/").
static breaking write_break(const breaking_plan* plan, const char* folder)
{
    breaking made = breaking_make(plan, false);
    char path[64];
    snprintf(path, sizeof path, "%sbefore.ply", folder);
    write_mesh(&made.before, path);
    snprintf(path, sizeof path, "%sblock.ply", folder);
    write_mesh(&made.block, path);
    snprintf(path, sizeof path, "%spiece.ply", folder);
    write_mesh(&made.piece, path);
    return made;
}

static rlv_pose pose_of(const json_t* list)
{
    double m[16];
    cr_assert_eq(json_array_size(list), 16);
    for (size_t i = 0; i < 16; i++)
        m[i] = json_number_value(json_array_get(list, i));
    rlv_pose pose = rlv_pose_identity();
    for (size_t i = 0; i < 9; i++)
        pose.rotation.m[i] = m[4 * (i / 3) + i % 3];
    pose.translation_mm = rlv_vec3_of(m[3], m[7], m[11]);
    return pose;
}

static rlv_vec3 place_of(const json_t* list)
{
    cr_assert_eq(json_array_size(list), 3);
    return rlv_vec3_of(json_number_value(json_array_get(list, 0)), json_number_value(json_array_get(list, 1)),
                       json_number_value(json_array_get(list, 2)));
}

// --- Two meshes ------------------------------------------------------------------------------------------------------

/// The closed place is the true one, within what 95 % of 200 breaks must stay below (tests/core/rejoin_long.c).
static void expect_place(const json_t* told, const breaking* made)
{
    double mm, deg;
    rlv_pose closed = pose_of(json_object_get(told, "transform"));
    closed.centre_mm = place_of(json_object_get(told, "centre_mm"));
    rejoining_apart(&closed, &made->closed, &mm, &deg);
    cr_expect(mm < 0.25 && deg < 0.35, "%.3f mm, %.3f degrees off", mm, deg);
}

/// rejoined.ply is the piece, moved by the transform.
static void expect_moved(const json_t* told, const breaking* made)
{
    rlv_mesh moved = {0};
    rlv_mesh_source source;
    rlv_error error = {0};
    const rlv_progress progress = {0};
    const rlv_pose closed = pose_of(json_object_get(told, "transform"));
    cr_assert_eq(rlv_mesh_file_read(&moved, &source, "out/rejoined.ply", RLV_UNIT_MM, &progress, &error), RLV_DONE);
    double low[2] = {INFINITY, INFINITY}; // order and count of vertices are the mending's
    for (size_t v = 0; v < moved.vertex_count; v++)
        low[0] = fmin(low[0], rlv_mesh_vertex(&moved, v).x);
    for (size_t v = 0; v < made->piece.vertex_count; v++)
        low[1] = fmin(low[1], rlv_pose_apply(&closed, rlv_mesh_vertex(&made->piece, v)).x);
    cr_expect_float_eq(low[0], low[1], 1e-3); // float32 of some hundreds of mm
    rlv_mesh_free(&moved);
}

Test(command_rejoin, a_piece_goes_back_by_the_mesh_from_before)
{
    static const char* const keys[] = {
        "transform",    "position_sd_mm", "rotation_sd_deg", "covariance", "found",    "closing_mm",  "closing",
        "handling",     "stood_open",     "gap_before",      "gap_after",  "contacts", "relieve_mm3", "joint",
        "surface_step", "approach",       "quantities",      "warnings",   "version",  "inputs",      NULL};
    const breaking_plan plan = breaking_draw(0, triangles);
    breaking made = write_break(&plan, "");
    json_t* told = told_by("rejoin block.ply piece.ply --before before.ply --unit mm --json --out out", 0);
    told_has_keys(told, keys);
    cr_expect_str_eq(told_text(told, "verdict"), "fits");
    expect_place(told, &made);
    expect_moved(told, &made);
    cr_expect_eq(json_array_size(json_object_get(told, "closing_mm")), 3);
    cr_expect_eq(json_array_size(json_object_get(told, "inputs")), 3);
    static const char* const gap[] = {"median_mm",  "median_low_mm",  "p95_mm",   "p95_high_mm", "max_mm",
                                      "volume_mm3", "volume_low_mm3", "area_mm2", "open_mm2",    NULL};
    told_has_keys(json_object_get(told, "gap_before"), gap);
    told_has_keys(json_object_get(told, "gap_after"), gap);
    cr_expect_gt(json_array_size(json_object_get(told, "contacts")), 3);
    const json_t* joint = json_object_get(told, "joint");
    cr_expect_gt(told_number(joint, "touching_limit_mm"), 0.0);
    // The outline holds what both faces share, and that what stands open.
    cr_expect_gt(told_number(joint, "area_mm2"), told_number(json_object_get(told, "gap_after"), "area_mm2"));
    cr_expect_gt(told_number(json_object_get(told, "gap_after"), "area_mm2"),
                 told_number(json_object_get(told, "gap_after"), "open_mm2"));
    expect_in_file("out/rejoin_terms.csv", "\npiece.ply,outline,");
    expect_in_file("out/rejoin_terms.csv", "\npiece.ply,as found,,");
    // What was pressed and slid is all of the closing.
    const json_t* hands = json_object_get(told, "handling");
    cr_expect_float_eq(hypot(told_number(hands, "press_mm"), told_number(hands, "slide_mm")),
                       told_number(json_object_get(told, "closing"), "length_mm"), 1e-9);
    // A film of 0.1 mm over the joint.
    cr_expect_float_eq(told_number(json_object_get(told, "quantities"), "film_mm3"),
                       0.1 * told_number(json_object_get(told, "joint"), "area_mm2"), 1e-9);
    expect_in_file("out/rejoin_gaps.csv", "piece,trial,median_mm,median_low_mm,median_high_mm,p95_mm");
    expect_in_file("out/rejoin_gaps.csv", "\npiece.ply,as found,");
    expect_in_file("out/rejoin_gaps.csv", "\npiece.ply,closed,");
    expect_in_file("out/rejoin_contacts.csv", "\npiece.ply,c1,");
    expect_in_file("out/rejoin.csv", "piece.ply,block.ply,before.ply,fits,");
    expect_in_file("out/meanings.csv", "rejoin_gaps.csv,open_mm2,");
    expect_in_file("out/rejoin.json", "\"gap_after\"");
    size_t size = 0;
    char* bytes = program_read("out/joint.png", &size);
    cr_assert(bytes != NULL && size > 10000 && memcmp(bytes, "\x89PNG", 4) == 0);
    free(bytes);
    bytes = program_read("out/joint.pdf", &size);
    cr_assert(bytes != NULL && memcmp(bytes, "%PDF", 4) == 0);
    free(bytes);
    json_decref(told);
    breaking_free(&made);
}

Test(command_rejoin, people_read_the_motion_the_gap_and_what_is_uncertain)
{
    breaking_plan plan = breaking_draw(3, triangles);
    plan.open_mm = 1.2;
    breaking made = write_break(&plan, "");
    program_run run = program_call("rejoin block.ply piece.ply --before before.ply --unit mm --film 0.2", NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    static const char* const words[] = {"piece.ply on block.ply, as they lay together in before.ply",
                                        "it fits: the two faces repeat",
                                        "the joint stood open in the rock",
                                        "press it home by 1.",
                                        "\n  outline ",
                                        "\n  shared ",
                                        "of what is shared, no more than",
                                        "\n  as found ",
                                        "as found ",
                                        "closed ",
                                        "0.2 mm thick",
                                        "slow warp of a scan",
                                        "No gap fill, adhesive or consolidant is recommended"};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        cr_expect_not_null(strstr(run.out, words[i]), "lacks '%s':\n%s", words[i], run.out);
    program_free(&run);
    breaking_free(&made);
}

Test(command_rejoin, without_a_mesh_from_before_nothing_is_told_of_where_it_was)
{
    const breaking_plan plan = breaking_draw(4, triangles);
    breaking made = write_break(&plan, "");
    json_t* told = told_by("rejoin block.ply piece.ply --unit mm --json", 0);
    cr_expect(json_is_null(json_object_get(told, "closing_mm")));
    cr_expect(json_is_null(json_object_get(told, "gap_before")) && json_is_null(json_object_get(told, "found")));
    cr_expect(json_is_object(json_object_get(told, "gap_after")));
    // Two meshes name no bone that could run over their joint: it is not looked for.
    cr_expect(json_is_null(json_object_get(told, "across")));
    json_decref(told);
    breaking_free(&made);
}

Test(command_rejoin, two_parts_that_do_not_belong_together_are_refused_with_the_figure)
{
    breaking_plan plan = breaking_draw(0, triangles);
    plan.foreign = true;
    breaking made = write_break(&plan, "");
    expect_failure("rejoin block.ply piece.ply --unit mm", 3, "of each other's relief", "outline the faces");
    json_t* told = told_by("rejoin block.ply piece.ply --unit mm --json --out out", 3);
    cr_expect_str_eq(told_text(told, "verdict"), "none");
    cr_expect_not_null(strstr(told_text(told, "reason"), "relief"));
    cr_expect_lt(told_number(told, "fit"), 0.3);
    cr_expect(json_is_null(json_object_get(told, "transform")) && json_is_null(json_object_get(told, "contacts")));
    cr_expect_null(program_read("out/rejoin.json", NULL));
    json_decref(told);
    breaking_free(&made);
}

Test(command_rejoin, a_mesh_from_before_of_another_block_is_refused)
{
    breaking_plan plan = breaking_draw(4, triangles);
    breaking made = write_break(&plan, "");
    plan = breaking_draw(5, triangles);
    breaking other = breaking_make(&plan, false);
    write_mesh(&other.before, "other.ply");
    expect_failure("rejoin block.ply piece.ply --before other.ply --unit mm", 3, "not both found on it",
                   "leave it out");
    breaking_free(&other);
    breaking_free(&made);
}

Test(command_rejoin, a_call_or_a_mesh_that_is_none_is_refused)
{
    const breaking_plan plan = breaking_draw(4, triangles);
    breaking made = write_break(&plan, "");
    program_write("empty.ply", "");
    program_write("none.ply", "ply\nformat ascii 1.0\nelement vertex 0\nproperty float x\nproperty float y\n"
                              "property float z\nelement face 0\nproperty list uchar int vertex_indices\nend_header\n");
    expect_failure("rejoin block.ply piece.ply", 2, "unit", "--unit mm");
    expect_failure("rejoin block.ply empty.ply --unit mm", 2, "empty.ply", "");
    expect_failure("rejoin block.ply none.ply --unit mm", 2, "none.ply", "");
    expect_failure("rejoin block.ply missing.ply --unit mm", 2, "missing.ply", "no such file");
    expect_failure("rejoin block.ply block.ply --unit mm", 2, "the same, byte for byte", "name the mesh of the piece");
    expect_failure("rejoin block.ply piece.ply --before block.ply --unit mm", 2, "the same, byte for byte",
                   "from before");
    rlv_pose large = rlv_pose_identity();
    large.scale = 1000.0;
    rlv_pose_move_mesh(&large, &made.piece);
    write_mesh(&made.piece, "large.ply");
    expect_failure("rejoin block.ply large.ply --unit mm", 2, "not a block and a piece of it", "one unit");
    breaking_free(&made);
}

// --- A piece of a specimen -------------------------------------------------------------------------------------------

/// A specimen of a break: stages `whole` and `broken`, the piece `lid` with a mesh, and a `chip` without.
static breaking write_specimen(uint64_t seed, const char* face, const char* points)
{
    const breaking_plan plan = breaking_draw(seed, triangles);
    cr_assert_eq(mkdir("rock", 0777), 0);
    cr_assert_eq(mkdir("rock/meshes", 0777), 0);
    breaking made = write_break(&plan, "rock/meshes/");
    char yaml[1600];
    snprintf(yaml, sizeof yaml,
             "specimen: LQ-0417\n"
             "densities: [{material: resin, g_cm3: 1.1, sd_g_cm3: 0.01}]\n"
             "stages:\n"
             "  - {id: whole, mesh: meshes/before.ply, mesh_unit: mm}\n"
             "  - {id: broken, mesh: meshes/block.ply, mesh_unit: mm}\n"
             "pieces:\n"
             "  - id: lid\n"
             "    detached: broken\n"
             "    mass: {grams: 321.5, sd_g: 0.5}\n"
             "    meshes: [{stage: broken, mesh: meshes/piece.ply, mesh_unit: mm}]\n%s"
             "  - {id: chip, detached: broken}\n",
             face);
    program_write("rock/specimen.yaml", yaml);
    if (points != NULL)
        program_write("rock/points.csv", points);
    return made;
}

Test(command_rejoin, a_piece_of_a_specimen_goes_back_in_the_blocks_frame)
{
    breaking made = write_specimen(0, "", NULL);
    json_t* told = told_by("rejoin rock lid --json", 0);
    cr_expect_str_eq(told_text(told, "block"), "broken");
    cr_expect_str_eq(told_text(told, "before"), "whole");
    // The block's frame is that of `whole`: the transform leads there.
    rlv_pose closed = pose_of(json_object_get(told, "transform")),
             truly = rlv_pose_compose(&made.from_block, &made.closed);
    double mm, deg;
    closed.centre_mm = place_of(json_object_get(told, "centre_mm"));
    rejoining_apart(&closed, &truly, &mm, &deg);
    cr_expect(mm < 0.25 && deg < 0.35, "%.3f mm, %.3f degrees off", mm, deg);
    cr_expect_float_eq(told_number(json_object_get(told, "quantities"), "piece_g"), 321.5, 1e-12);
    json_decref(told);
    expect_failure("rejoin rock plug", 2, "there is no piece 'plug'", "say one of lid");
    expect_failure("rejoin rock chip", 2, "'chip' has no mesh of its own", "meshes");
    expect_failure("rejoin rock lid --unit mm", 2, "--unit is for meshes", "specimen.yaml");
    expect_failure("rejoin rock lid --before rock/meshes/before.ply", 2, "--before is for meshes", "specimen.yaml");
    breaking_free(&made);
}

/// Points round a place on a mesh, as rows of points.csv: the vertices nearest to a ring of 25 mm.
static void write_ring(FILE* stream, const char* mesh, const char* object, const rlv_mesh* of, rlv_vec3 middle,
                       rlv_vec3 normal)
{
    const rlv_vec3 a = rlv_vec3_across(normal), b = rlv_vec3_cross(normal, a);
    for (int k = 0; k < 12; k++)
    {
        const double angle = 2.0 * M_PI * k / 12;
        const rlv_vec3 at = rlv_vec3_along(rlv_vec3_along(middle, 25.0 * cos(angle), a), 25.0 * sin(angle), b);
        rlv_vec3 best = {0, 0, 0};
        double least = INFINITY;
        for (size_t v = 0; v < of->vertex_count; v++)
        {
            const rlv_vec3 one = rlv_mesh_vertex(of, v);
            if (rlv_vec3_length(rlv_vec3_sub(one, at)) < least)
            {
                least = rlv_vec3_length(rlv_vec3_sub(one, at));
                best = one;
            }
        }
        fprintf(stream, "broken,%s,%s,%d,%.9g,%.9g,%.9g\n", mesh, object, k + 1, best.x, best.y, best.z);
    }
}

Test(command_rejoin, an_outlined_face_is_kept_to_and_its_partner_told)
{
    // Where the joint is, the first run tells; the second has it outlined on both faces.
    breaking made = write_specimen(0, "", NULL);
    json_t* first = told_by("rejoin rock lid --json", 0);
    cr_expect(json_is_null(json_object_get(json_object_get(first, "joint"), "partner_piece")));
    const rlv_pose closed = pose_of(json_object_get(first, "transform")), to_piece = rlv_pose_inverse(&closed),
                   to_block = rlv_pose_inverse(&made.from_block);
    const rlv_vec3 middle = place_of(json_object_get(json_object_get(first, "joint"), "middle_mm")),
                   normal = place_of(json_object_get(json_object_get(first, "joint"), "normal"));
    FILE* stream = fopen("rock/points.csv", "w");
    fputs("stage,mesh,object,point,x,y,z\n", stream);
    write_ring(stream, "lid", "foot", &made.piece, rlv_pose_apply(&to_piece, middle),
               rlv_mat3_apply(to_piece.rotation, normal));
    write_ring(stream, "block", "foot", &made.block, rlv_pose_apply(&to_block, middle),
               rlv_mat3_apply(to_block.rotation, normal));
    fclose(stream);
    program_change("rock/specimen.yaml", "    detached: broken\n", "    detached: broken\n    face: foot\n");
    json_t* second = told_by("rejoin rock lid --json", 0);
    const json_t* joint = json_object_get(second, "joint");
    cr_expect_gt(told_number(joint, "partner_piece"), 0.9);
    cr_expect_gt(told_number(joint, "partner_block"), 0.9);
    // A disc of 25 mm is 1963 mm2; its relief makes it larger, and its partner may reach a spot past its edge.
    cr_expect(told_number(joint, "area_mm2") > 1600.0 && told_number(joint, "area_mm2") < 3200.0, "%.0f mm2",
              told_number(joint, "area_mm2"));
    json_decref(second);
    json_decref(first);
    breaking_free(&made);
}

Test(command_rejoin, a_report_has_a_part_for_it_and_render_its_picture)
{
    breaking made = write_specimen(3, "", NULL);
    json_t* told = told_by("report rock --json", 0);
    const json_t* list = json_object_get(told, "rejoin");
    cr_assert_eq(json_array_size(list), 1);
    cr_expect_str_eq(told_text(json_array_get(list, 0), "piece"), "lid");
    cr_expect_str_eq(told_text(json_array_get(list, 0), "verdict"), "fits");
    cr_expect_eq(json_array_size(json_object_get(json_object_get(told, "tables"), "rejoin_gaps")), 2);
    json_decref(told);
    expect_in_file("rock/out/report.html", "Pieces put back");
    expect_in_file("rock/out/report.html", "lid: not recorded as joined again at any stage; it fits");
    expect_in_file("rock/out/report.html", "pictures/lid-joint.png");
    expect_in_file("rock/out/report.html", "tables/rejoin_gaps.csv");
    expect_in_file("rock/out/report.html", "tables/rejoin_terms.csv");
    expect_in_file("rock/out/tables/rejoin_contacts.csv", "\nlid,c1,");
    expect_in_file("rock/out/tables/meanings.csv", "rejoin.csv,verdict,");
    expect_failure("render rock --picture joint --out out", 2, "needs a piece", "--piece ID");
    expect_failure("render rock --picture history --piece lid --out out", 2, "is of no piece", "leave --piece out");
    expect_failure("render rock --picture joint --piece lid --stage whole --out out", 2, "takes no --stage",
                   "leave it out");
    expect_failure("render rock --picture joint --piece chip --out out", 2, "no mesh of its own", "meshes");
    json_t* drawn = told_by("render rock --picture joint --piece lid --scale 1:2 --format svg --out out --json", 0);
    const json_t* picture = json_object_get(drawn, "picture");
    cr_expect_str_eq(told_text(picture, "path"), "lid-joint.svg");
    cr_expect_float_eq(told_number(picture, "scale"), 0.5, 1e-12);
    expect_in_file("out/lid-joint.svg", "<svg");
    json_decref(drawn);
    breaking_free(&made);
}

Test(command_rejoin, a_report_says_in_one_line_that_no_piece_is_recorded)
{
    breaking made = write_specimen(3, "", NULL);
    program_change("rock/specimen.yaml", "    meshes: [{stage: broken, mesh: meshes/piece.ply, mesh_unit: mm}]\n", "");
    program_run run = program_call("report rock", NULL);
    cr_assert_eq(run.status, 0, "%s", run.err);
    program_free(&run);
    expect_in_file("rock/out/report.html", "Pieces with a mesh of their own: not recorded.");
    breaking_free(&made);
}
